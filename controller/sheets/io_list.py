"""
The I/O list: every wired point of a station, and what the tables make of it.

Nothing here is kept by hand: uses are found by following the facts of one scan from the point, and end at
memory and at the step, from where everything hangs together.
"""

import csv
import io
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass
from functools import cache

from controller.engines.fixed import Fixed, fixed_at
from controller.engines.matrix import steps_text
from controller.image import Inputs
from controller.points import FROM_SHELL, Point
from controller.sequence.definition import EFFECTS, Interlock, Output
from controller.sequence.expressions import Read
from controller.sequence.logic import Logic
from controller.sequence.phrases import phrase
from controller.sequence.presets import Presets
from controller.settings import Station, keys
from controller.station_keys import typed
from controller.units import shown

NOBODY_BY_HAND = {"jog": 0, "manual_request": 0}
"""The inputs of manual mode, held off: outputs are shown as the steps drive them."""

SIGNALS = {"contact": "digital input", "4-20 mA": "analog input, 4-20 mA", "output": "digital output"}
"""The signal of each kind of point."""

NEEDS: dict[str, Callable[[Presets], bool]] = {
    "still_covered": lambda p: p.receiver_full_fitted,
    "no_dips": lambda p: p.pulse_dip_pa > 0,
}
"""Causes that need an option, where constants alone do not tell: the cause hangs on two facts that agree."""


@dataclass(frozen=True)
class Entry:
    """One point as the list says it; what does not apply is empty."""

    tag: str
    name: str
    description: str
    kind: str
    signal: str  # what the wire carries, for who builds the cabinet
    terminal: str  # empty: for the hand of who wires it
    unit: str
    range: str
    sense: str
    filter: str  # of an input: the delays that look at the wire itself, with this station's values
    safe_value: str  # of an output
    broken_wire: str
    facts: tuple[str, ...]  # of an input: those that read it
    interlocks: tuple[str, ...]  # of an input: ids that can act here, with a cause that it decides
    rows: tuple[str, ...]  # of an input: guards that it decides in the same scan, interlocks apart
    steps: str  # of an output: where it may be energised, and when; manual mode apart
    last_word: tuple[str, ...]  # of an output: facts that keep it off whatever the step says


def io_list(logic: Logic, station: Station) -> list[Entry]:
    """The wired points of `station` in the order of the process image."""
    values = station_values(station)
    held = not_wired(station) | NOBODY_BY_HAND
    automatic = fixed_at(logic, station.receiver.presets._asdict(), held)
    fixed = fixed_here(logic, station)
    acting = [i for i in logic.definition.interlocks if can_act(i, fixed, station.receiver.presets)]
    return [_entry(logic, point, values, automatic, acting) for point in station.points.points]


def fixed_here(logic: Logic, station: Station) -> Fixed:
    """What never changes at `station`, manual mode included."""
    return fixed_at(logic, station.receiver.presets._asdict(), not_wired(station))


def can_act(line: Interlock, fixed: Fixed, presets: Presets) -> bool:
    """Whether a line of the interlocks can ever act at the station."""
    return fixed.acts(line) and NEEDS.get(line.cause.name, bool)(presets)


def station_values(station: Station) -> dict[str, str]:
    """Every preset as the station file says it: value, unit, and the key in brackets."""
    presets = station.receiver.presets
    return {
        item.name: f"{_said(typed(item, getattr(presets, item.name)))} {item.unit}".rstrip()
        + f" ({item.loc[-1]})"
        for item in keys()
    }


def not_wired(station: Station) -> dict[str, int]:
    """The inputs that this station has no wire for; they keep their first value."""
    wired = {point.name for point in station.points.points} | set(FROM_SHELL)
    return {name: int(value) for name, value in Inputs()._asdict().items() if name not in wired}


def as_csv(entries: Iterable[Entry]) -> str:
    """The list as comma-separated values with a heading; several in one cell are parted by blanks."""
    rows = [_flat(entry) for entry in entries]
    text = io.StringIO()
    writer = csv.DictWriter(text, Entry.__dataclass_fields__, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def as_json(station: Station, entries: Iterable[Entry]) -> str:
    """The list as one JSON document."""
    points = [asdict(entry) for entry in entries]
    return json.dumps({"station": station.receiver.name, "points": points}, indent=2)


def _flat(entry: Entry) -> dict[str, str]:
    return {k: " ".join(v) if isinstance(v, tuple) else v for k, v in asdict(entry).items()}


def _said(value: bool | int | float | str) -> str:
    return shown(value) if isinstance(value, float) else str(value).lower()


def _entry(
    logic: Logic, point: Point, values: Mapping[str, str], automatic: Fixed, acting: Iterable[Interlock]
) -> Entry:
    is_output = point.kind == "output"
    read = Read("now", point.name)
    facts = () if is_output else tuple(n for n in logic.facts if read in logic.reads(n))
    decided = frozenset() if is_output else _decided(logic, facts)
    analog = point.kind == "4-20 mA"
    lines = [o for o in logic.definition.output_lines if is_output and o.name == point.name]
    lines = [o for o in lines if not (o.when and automatic.facts.get(o.when.name) == 0)]
    return Entry(
        point.tag, point.name, point.description, point.kind, SIGNALS[point.kind], "", point.unit,
        range=f"{shown(point.range[0])} to {shown(point.range[1])}" if analog else "off, on",
        sense=point.sense,
        filter=", ".join(values[name] for name in _delays(logic, facts)),
        safe_value="" if point.safe_value is None else "on" if point.safe_value else "off",
        broken_wire=point.broken_wire,
        facts=_once(n.removesuffix("_seen") for n in facts),
        interlocks=_once(i.name for i in acting if i.cause.name in decided),
        rows=_once(row.guard.name for row in logic.rows if row.guard.name in decided),
        steps=_energised(logic, lines, automatic),
        last_word=_once(line.unless.name for line in lines if line.unless),
    )  # fmt: skip


def _delays(logic: Logic, facts: Iterable[str]) -> tuple[str, ...]:
    """The presets of the delays whose cause looks at the wire; where none does, at what was read from it."""
    wire = set(facts)
    delays = [n for n in logic.facts if f"{n}_seen" in logic.facts]
    looks = [n for n in delays if f"{n}_seen" in wire]
    looks = looks or [n for n in delays if wire & _same_scan(logic, f"{n}_seen")]
    return _once(r.name for n in looks for r in logic.reads(n) if r.group == "set")


def _decided(logic: Logic, facts: Iterable[str]) -> frozenset[str]:
    """`facts`, and what follows from them in the same scan without the step and without an interlock."""
    found = set(facts)
    ends = {"step", *EFFECTS, *(f"{name.lower()}_acts" for name in logic.interlock_names)}
    for name in logic.facts:  # in working order
        if name not in ends and found & _same_scan(logic, name):
            found.add(name)
    return frozenset(found)


@cache
def _same_scan(logic: Logic, name: str) -> frozenset[str]:
    return frozenset(r.name for r in logic.reads(name) if r.group == "this")


def _energised(logic: Logic, lines: Iterable[Output], fixed: Fixed) -> str:
    def when(line: Output) -> str:
        return f", when {phrase(line.when.name)}" if line.when and line.when.name not in fixed.facts else ""

    return "; ".join(steps_text(logic, line.steps) + when(line) for line in lines)


def _once(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))
