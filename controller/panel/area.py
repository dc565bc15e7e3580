"""
The word of a person that the area is clear, before something may move on I/O that may be real.

One rule for all who hold or force: a person at a terminal is asked by name; a script must bring the name.
"""

from collections.abc import Callable
from typing import NamedTuple

NO_NAME = ("yes", "ja", "ok", "true")


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
        said = self.given if self.given is not None else self.ask(
            f"  Are people, hands and tools clear of {station}? {what} may move it. "
            "Your name says yes, nothing says no: "
        )
        said = said.strip()
        if (said or self.given is not None) and not is_a_name(said):
            self.tell("  a name is asked for, of 2 to 60 characters; nothing was done")
            return ""
        return said


def is_a_name(said: str) -> bool:
    """
    Whether it can be that of a person.

    >>> is_a_name("A. Miller"), is_a_name("yes"), is_a_name("y")
    (True, False, False)
    """
    return 2 <= len(said) <= 60 and said.lower() not in NO_NAME
