"""
The word of a person that the area is clear, before something may move on I/O that may be real.

One rule for all who hold or force: a person at a terminal says so and then gives his name; a script must
bring the name. Whatever else is typed moves nothing.
"""

from collections.abc import Callable
from typing import NamedTuple

CLEAR = "clear"
"""To be typed in full: a yes may be the answer of habit."""
NO_NAME = {
    CLEAR, "yes", "ja", "ok", "true", "no", "nein", "not", "none", "nobody", "nothing", "false",
    "good", "bad", "hold", "force", "release", "manual", "automatic", "stop", "acknowledge", "next", "end",
}  # fmt: skip
"""Answers to another question, and the words of the check-out: none of them begins a name."""


class Area(NamedTuple):
    """How the word is had."""

    ask: Callable[[str], str]  # a question; raises EOFError when nobody answers
    tell: Callable[[str], object]
    at_hand: bool  # a terminal: a person answers, no script
    given: str | None = None  # with the option --area-is-clear

    def clear_by(self, station: str, what: str, *, real: bool) -> str:
        """Who says that the area is clear before `what` moves it; empty: nobody does, and why was told."""
        if self.given is None and real and not self.at_hand:
            self.tell(
                "  on I/O that may be real a person at a terminal gives the area as clear; "
                "a script must say who does: --area-is-clear NAME"
            )
            return ""
        said = self.given
        if said is None:
            question = f"  Are people, hands and tools clear of {station}? {what} may move it. "
            if self.ask(f"{question}Type clear if they are: ").strip().lower() != CLEAR:
                self.tell("  the area is not given as clear; nothing was done")
                return ""
            said = self.ask("  Your name: ")
        said = said.strip()
        if not is_a_name(said):
            self.tell("  a name is asked for, of 2 to 60 characters; nothing was done")
            return ""
        return said


def is_a_name(said: str) -> bool:
    """
    Whether it can be that of a person; only what can be shown in one line is.

    >>> is_a_name("A. Miller"), is_a_name("yes"), is_a_name("Not yet"), is_a_name("y")
    (True, False, False, False)
    """
    words = said.lower().replace(",", " ").split()
    return 2 <= len(said) <= 60 and said.isprintable() and bool(words) and words[0].strip(".!") not in NO_NAME
