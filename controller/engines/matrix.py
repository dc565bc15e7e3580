"""The cause-and-effect table: every line of the interlocks as people write it down."""

import re
from collections.abc import Container, Iterable
from typing import NamedTuple

from controller.sequence.definition import EFFECTS, Interlock
from controller.sequence.logic import Logic


class Line(NamedTuple):
    """One line of the table, as text."""

    interlock: str
    cause: str
    looked_at_in: str
    delay: str
    effect: str


HEADING = Line("interlock", "cause", "looked at in", "after", "effect")


def matrix(logic: Logic) -> list[Line]:
    """The lines in the order of the table: of two in one scan the upper is named as the first out."""
    return [_line(logic, i) for i in logic.definition.interlocks]


def as_markdown(logic: Logic) -> str:
    """The table in Markdown."""
    rows = [HEADING, Line(*["---"] * len(HEADING)), *matrix(logic)]
    return "".join("| " + " | ".join(c.replace("|", "\\|") for c in row) + " |\n" for row in rows)


def steps_text(logic: Logic, steps: Iterable[int], among: Container[int] | None = None) -> str:
    """A set of steps in few words: states by their names, "always" for all; `among` are those there are."""
    there = [k for k in logic.steps if among is None or k in among]
    left = {*steps}.intersection(there)
    if left == {*there}:
        return "always"
    if len(left) > len(there) // 2:
        return "all but " + steps_text(logic, {*there} - left, among)
    words = []
    for state, whole in logic.definition.states.items():
        of_state = {*whole}.intersection(there)
        if of_state and left >= of_state:
            words.append(state)
            left -= of_state
    return ", ".join([*words, *(k.name for k in logic.steps if k in left)])


def _line(logic: Logic, i: Interlock) -> Line:
    name = i.cause.name
    delay = "at once" if i.delay is None else i.delay.removeprefix("s.")
    effect = i.effect if i.effect in EFFECTS else f"{i.effect}: {' or '.join(i.allowed)}"
    words = re.sub(r"\bs\.", "", logic.source_of(name))
    return Line(i.name, f"{name}: {words}", steps_text(logic, i.steps), delay, effect)
