"""What the sequence must do, by section of its narrative, and the claims that show it."""

import json
from functools import cache
from importlib.resources import files
from typing import NamedTuple


class Section(NamedTuple):
    """A section of the narrative."""

    number: str
    title: str
    rules: int
    claims: tuple[str, ...]  # by name


@cache
def sections() -> tuple[Section, ...]:
    """All of them, in order."""
    text = (files("controller.campaign.report") / "requirements.json").read_text(encoding="utf-8")
    return tuple(
        Section(row["section"], row["title"], row["rules"], tuple(row["claims"])) for row in json.loads(text)
    )


def within(number: str, section: str) -> bool:
    """
    Whether a section is of this number: itself, or one of a chapter.

    >>> within("5", "5.2"), within("5.2", "5.2"), within("5", "6"), within("5.2", "5")
    (True, True, False, False)
    """
    return section == number or section.startswith(f"{number}.")
