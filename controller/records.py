"""
What reporting receives: the record of a cycle, of an event, and of what a person did.

Units stand in the names; times are whole milliseconds since the controller started. What could not be
known (a flap travel that was never finished) is None, never a made-up number.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple


class StepTaken(NamedTuple):
    """One step of a cycle."""

    step: str
    ms: int
    ended_by: str  # the guard of the row that fired, in words; empty if the run ended in it


class CycleRecord(NamedTuple):
    """One cycle, from the seal of the flap to the end of its cleaning, or to whatever broke it off."""

    number: int
    kind: str  # batch; emptying (what was found on board); clean
    start_utc: str  # ISO 8601
    start_ms: int
    steps: tuple[StepTaken, ...]  # in the order taken; a step may come twice
    result: str  # complete, trip <first-out>, halt, stop, unfinished
    fill_ended_by: str  # time, full, empty, level, stop, vacuum, filter, air, trip, halt; or nothing
    vacuum_peak_pa: int | None  # while the source acted
    vacuum_mean_pa: int | None  # in convey
    vacuum_air_only_pa: int | None  # at the end of clear, if under the line-empty threshold
    draw_ms: int | None  # source on to the proving threshold, worked out between two scans
    release_ms: int | None  # source off to under the release threshold, likewise
    filter_dp_cleaned_pa: int | None  # as the last cleaning left it: a second of convey, after the mask
    filter_dp_laden_pa: int | None  # before this cycle's cleaning: the last second of convey
    flap_opening_ms: int | None  # command to switch
    flap_closing_ms: int | None
    pulses: int
    supply_lowest_pa_g: int | None
    supply_resting_pa_g: int | None  # last reading before the source was started
    delivered_kg: float | None  # into the vessel below, weighed by the plant; None where nothing weighs it
    fill_rate_kg_h: float | None  # delivered over the time in convey; None unless a batch was dropped
    air_nm3: float | None  # at 0 degrees C, 101.325 kPa (DIN 1343), likewise
    flap_retries: int
    resumes: int
    on_board: str  # at the start: no, yes, unknown
    line_loaded: bool  # at the start
    alarms: tuple[str, ...]  # raised in this cycle, in order
    recipe: str  # the settings it ran under: first digits of their SHA-256
    software: str
    simulated: bool

    @property
    def ms(self) -> int:
        """How long the cycle took."""
        return sum(step.ms for step in self.steps)

    def step_ms(self, *names: str) -> int:
        """Time in these steps together."""
        return sum(step.ms for step in self.steps if step.step in names)


class EventRecord(NamedTuple):
    """Something that happened, in one scan."""

    at_ms: int
    utc: str  # ISO 8601
    id: str  # a row of `controller.events`
    what: str  # raised, gone, or the move itself: "DRAIN -> PULSE"
    priority: int
    detail: str  # facts behind it, with values and limits; may be empty


_UNSHOWN = r"\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff"
"""What moves the cursor of a terminal, or the letters around it, and is not seen itself."""
PERSON = rf"^[^{_UNSHOWN}]*[^\s{_UNSHOWN}][^{_UNSHOWN}]*$"
"""At least one letter that is seen, and none that changes what others show."""


class Deed(NamedTuple):
    """What somebody did or asked for, and what became of it: a line of the audit log."""

    at_ms: int
    utc: str  # ISO 8601
    who: str  # at the panel the login name; elsewhere as it was given, empty where nobody asks for one
    place: str  # where it was done: the wired button, the panel socket, remote, the station's files
    command: str  # start, force, fail, preset, ...
    parameters: Mapping[str, str | int | float | bool | None]
    result: str  # accepted, refused, done
    reasons: tuple[str, ...] = ()  # of a refusal


def printable(text: str) -> str:
    """
    What may go to a terminal.

    >>> printable("done\\x1b[2J")
    'done?[2J'
    """
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def as_document(record: CycleRecord) -> dict[str, Any]:
    """A cycle record as it stands in JSON: plain values under the names of its fields."""
    document = record._asdict()
    document["steps"] = [step._asdict() for step in record.steps]
    document["alarms"] = list(record.alarms)
    return document


def from_document(document: dict[str, Any]) -> CycleRecord:
    """The record that `as_document` wrote."""
    steps = tuple(StepTaken(**step) for step in document["steps"])
    return CycleRecord(**{**document, "steps": steps, "alarms": tuple(document["alarms"])})


def stands(state: str, step: str) -> str:
    """
    State and step for a person; one word where they are the same.

    >>> stands("IDLE", "REST"), stands("FAULT", "FAULT")
    ('IDLE REST', 'FAULT')
    """
    return " ".join(dict.fromkeys((state, step))).strip()
