"""Small words of a scenario file: ranges, points with their value, the table line that it guards."""

import re
from collections.abc import Callable
from typing import NamedTuple

from controller.image import FIELD_INPUTS, JOG, Inputs
from controller.problems import did_you_mean
from controller.sequence.logic import Logic
from controller.sequence.steps import STATES, Step

NEVER = 10**12
"""More than anything that is counted: the end of a range that has none."""
SET_BY_HAND = tuple(
    name for name in Inputs._fields if name not in FIELD_INPUTS and not name.endswith("_request")
)
"""Points that no instrument drives: panel, quality, control, the state of the I/O."""


def span(text: str, unit: Callable[[str], float]) -> tuple[float, float]:
    """
    A range as it is typed.

    Raises:
        ValueError: It is none, or it is empty.

    >>> span("2 to 4", float), span("at least 2", float), span("3", float)
    ((2.0, 4.0), (2.0, 1000000000000), (3.0, 3.0))
    """
    found = re.fullmatch(r"(?:at (least|most) )?(.+?)(?: to (.+))?", text.strip())
    if not found or (found[1] and found[3]):
        msg = f"{text!r} is no range: write 2 to 4, at least 2, at most 4 or 3"
        raise ValueError(msg)
    try:
        low = unit(found[2])
        high = unit(found[3]) if found[3] else low
    except ValueError:
        msg = f"{text!r} is no range of this kind: numbers, or times as 3.5s"
        raise ValueError(msg) from None
    if low > high:
        msg = f"{text!r} is empty: the smaller value first"
        raise ValueError(msg)
    return (low, NEVER) if found[1] == "least" else (0.0, high) if found[1] == "most" else (low, high)


def point_and_value(text: str) -> tuple[str, float]:
    """
    A point that no instrument drives, and its value.

    Raises:
        ValueError: There is no such point, or it takes no such value.

    >>> point_and_value("plant_enable off"), point_and_value("jog flap_open_cmd")
    (('plant_enable', 0), ('jog', 3))
    """
    name, _, value = text.strip().partition(" ")
    if name in FIELD_INPUTS:
        msg = f"{name} is driven by its instrument: write `fail` with one of its failure modes"
        raise ValueError(msg)
    if name not in SET_BY_HAND:
        msg = f"{name!r} is no point that can be set{did_you_mean(name, SET_BY_HAND)}"
        raise ValueError(msg)
    if name == "jog" and (value in JOG[1:] or value == "none"):
        return name, JOG.index(value) if value != "none" else 0
    if isinstance(Inputs._field_defaults[name], bool):
        if value in ("on", "off"):
            return name, int(value == "on")
    elif value.replace("_", "").isdecimal() and name != "jog" and int(value) < NEVER:
        return name, int(value)
    kind = (
        "on or off" if isinstance(Inputs._field_defaults[name], bool) else f"a whole number under {NEVER:_}"
    )
    msg = f"{text!r}: {name} takes {'none or an output that can be jogged' if name == 'jog' else kind}"
    raise ValueError(msg)


def steps_named(name: str) -> tuple[int, ...]:
    """
    The steps of a step or a state, in capitals or not.

    Raises:
        ValueError: It is neither.

    >>> steps_named("drain") == (Step.DRAIN,)
    True
    """
    known = {step.name: (step.value,) for step in Step} | {n: tuple(found) for n, found in STATES.items()}
    if name.upper() in known:
        return known[name.upper()]
    msg = f"{name!r} is neither a step nor a state{did_you_mean(name.lower(), map(str.lower, known))}"
    raise ValueError(msg)


class Guarded(NamedTuple):
    """A line of a table, by what is written in `guards`."""

    table: str  # row, interlock, output, last word, refusal
    name: str
    more: str = ""  # of a refusal: its fact


def guarded(logic: Logic, text: str) -> Guarded:
    """
    The table line that a scenario guards.

    Raises:
        ValueError: There is no such line.
    """
    table = next(
        (t for t in ("row", "interlock", "output", "last word", "refusal") if text.startswith(f"{t} ")), ""
    )
    name, _, more = text.removeprefix(table).strip().partition(" ")
    d = logic.definition
    known = {
        "row": [row.guard.name for row in d.rows],
        "interlock": list(logic.interlock_names),
        "output": [o.name for o in d.output_lines],
        "last word": [o.name for o in d.output_lines if o.unless],
        "refusal": [r.command for r in d.refusals],
    }
    if not table:
        msg = f"{text!r}: write `row`, `interlock`, `output`, `last word` or `refusal`, and its name"
        raise ValueError(msg)
    if name not in known[table]:
        msg = f"no {table} {name!r}{did_you_mean(name, known[table])}"
        raise ValueError(msg)
    facts = [r.fact.name for r in d.refusals if r.command == name]
    if table == "refusal" and more not in facts:
        msg = f"{text!r}: {name} is refused by {', '.join(facts)}"
        raise ValueError(msg)
    return Guarded(table, name, more)
