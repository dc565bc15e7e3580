"""
The alarms of a station as a list: every interlock that can act here, with what the operator needs to know.

Where it is looked at, after what delay and with what effect comes from the tables and the station's presets;
words, priority and the attributes that IEC 62682 asks for come from the event dictionary.
"""

import csv
import io
import json
from collections.abc import Container, Sequence
from dataclasses import asdict, dataclass

from controller.engines.matrix import steps_text
from controller.events import EVENTS, EventDef, text_at
from controller.sequence.logic import Logic
from controller.settings import Station
from controller.sheets.cause_effect import Effect, cause_effect
from controller.sheets.fitted import fitted
from controller.sheets.io_list import fixed_here


@dataclass(frozen=True)
class Acts:
    """One way in which it acts: in these steps, after this, with this effect."""

    looked_at_in: str
    after: str  # "at once", the preset with the station's value, or "when" and the times within the cause
    limits: str  # the other comparisons with a preset within the cause, with the station's values
    effect: str


@dataclass(frozen=True)
class Entry:
    """One interlock of the station."""

    id: str
    priority: str
    text: str
    acts: tuple[Acts, ...]
    cause: str  # what it usually comes from, the commonest first
    action: str
    alarm_class: str
    consequence: str
    respond_min: int  # 0: nobody is needed
    latches: str  # until acknowledged and reset, or not
    on_delay_ms: int  # of the alarm, over the delay of the interlock
    off_delay_ms: int
    calls_again_ms: int  # acknowledged and standing; 0: never
    shelf_max_ms: int  # 0: never shelved
    suppressed_in: tuple[str, ...]  # states of the sequence
    followers: tuple[str, ...]  # ids of this station that follow it, as first-out or root


@dataclass(frozen=True)
class AlarmSheet:
    """The list, and the ids that can never act at this station."""

    entries: tuple[Entry, ...]
    never: tuple[str, ...]


def alarm_sheet(logic: Logic, station: Station) -> AlarmSheet:
    """The interlocks of the station: the most urgent first, then in the order of the dictionary."""
    effects = [line for line in cause_effect(logic, station) if line.acts]
    here = [name for name in EVENTS if any(line.interlock == name for line in effects)]
    reached = fixed_here(logic, station).steps
    parts = fitted(station)
    entries = [_entry(logic, EVENTS[name].at(parts), effects, here, reached) for name in here]
    entries.sort(key=lambda entry: -EVENTS[entry.id].priority)
    never = tuple(name for name in logic.interlock_names if name not in here)
    return AlarmSheet(tuple(entries), never)


def as_csv(sheet: AlarmSheet) -> str:
    """One line a way of acting, with a heading; several in one cell are parted by blanks."""
    text = io.StringIO()
    fields = [name for name in Entry.__dataclass_fields__ if name != "acts"]
    writer = csv.DictWriter(text, [*fields[:2], *Acts.__dataclass_fields__, *fields[2:]], lineterminator="\n")
    writer.writeheader()
    for entry in sheet.entries:
        row = {k: " ".join(v) if isinstance(v, tuple) else v for k, v in asdict(entry).items() if k != "acts"}
        writer.writerows(row | asdict(way) for way in entry.acts)
    return text.getvalue()


def as_json(station: Station, sheet: AlarmSheet) -> str:
    """The list as one JSON document."""
    document = {"station": station.receiver.name, "alarms": asdict(sheet)["entries"], "never": sheet.never}
    return json.dumps(document, indent=2)


def _entry(
    logic: Logic, row: EventDef, effects: Sequence[Effect], here: Sequence[str], reached: Container[int]
) -> Entry:
    lines = [line for line in effects if line.interlock == row.id]
    trips = any(line.effect == "trip" for line in lines)
    ways = (
        Acts(_steps(logic, line, reached), line.delay, "; ".join(line.limits), line.effect.replace("_", " "))
        for line in lines
    )
    return Entry(
        id=row.id,
        priority=row.priority.name.lower() if row.is_alarm else "event",
        text=row.text,
        acts=tuple(dict.fromkeys(ways)),
        cause=text_at(row.cause),
        action=text_at(row.action),
        alarm_class=row.kind.name,
        consequence=row.consequence,
        respond_min=row.respond_min,
        latches="after a trip" if trips else "no",
        on_delay_ms=row.on_ms,
        off_delay_ms=row.kind.off_ms,
        calls_again_ms=row.again_ms,
        shelf_max_ms=row.kind.shelf_max_ms,
        suppressed_in=row.quiet_in,
        followers=tuple(
            name for name in here if name != row.id and row.followers and name.startswith(row.followers)
        ),
    )


def _steps(logic: Logic, line: Effect, reached: Container[int]) -> str:
    return steps_text(logic, [logic.steps[name] for name in line.steps], reached)
