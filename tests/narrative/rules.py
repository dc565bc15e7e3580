"""
The rules of the control narrative of this project: one table a section, kept by hand.

Each rule says in its own words what must be; `does` names what of the definition does it, `shown` the
claims, tests and runs that show it. What is not there yet is said in `missing`, with the reason.
"""

from typing import NamedTuple

NO_RUN = "No run shows it yet."
"""The reason of a rule that is in the tables and was not yet run or proved by itself."""


class Rule(NamedTuple):
    words: str
    does: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    missing: str = ""


class Section(NamedTuple):
    number: str
    title: str
    rules: tuple[Rule, ...]


def R(words: str, *does: str, shown: tuple[str, ...] = (), missing: str = "") -> Rule:  # noqa: N802, a row
    """
    One rule.

    Args:
        words: The rule.
        does: Names of `narrative.names`: "row stopped", "fact run", "interlock NO_VACUUM".
        shown: "flap::closed_lost_in_vent_is_not_looked_at" is that test of test_flap.py; other words are a claim.
        missing: What is not there yet.
    """
    return Rule(words, does, tuple(f"test {n}" if "::" in n else f"claim {n}" for n in shown), missing)
