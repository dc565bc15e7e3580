"""
What must follow when a part fails in a step: the words of the tables, and how they are looked up.

Written from the control narrative (sections 3 to 5) and from what a part does, before anything was run. Times
are reckoned from the station's own presets where these bound them; a vessel that fills, or a filter that
blinds, has a generous time of its own. What is added stands for the rest of a cycle that takes longer than a
healthy one. Where a run showed that an expectation was wrong, `changed` says how it read before.
"""

import re
from collections.abc import Mapping
from typing import NamedTuple

from controller.sequence.definition import Interlock
from controller.sequence.presets import Presets
from controller.sequence.steps import (
    AT_REST,
    CLEAR,
    CONVEY,
    DRAWING,
    FILTER_CLEAN,
    LEVEL_HOLD,
    RUNNING,
    SUCTION,
    Step,
)
from io_sim.failures import Needs

HAZARDS = {
    "open flap": "could draw through, or open, a flap that must be shut",
    "overfill": "could overfill the vessel or the body",
    "moves": "could move, or drive something, unexpectedly",
    "dust": "could blow dust where people are",
}
GROUPS: Mapping[str, tuple[int, ...]] = {
    "any": tuple(Step),
    "rests": AT_REST,
    "drawing": DRAWING,
    "filling": (CONVEY, CLEAR),
    "suction": SUCTION,
    "cleaning": FILTER_CLEAN,
    "running": RUNNING,
    "hold": (LEVEL_HOLD,),
    **{step.name.lower(): (step,) for step in Step},
}
START_REFUSED, RESET_REFUSED = "START_REFUSED", "RESET_REFUSED"
COMMANDS_REFUSED = (START_REFUSED, RESET_REFUSED)
"""Not interlocks: the command is refused with a reason, or the horn is called off, so a person is told."""
ALLOWED = "1s"
"""On top of an interlock's own delay, where nobody wrote a time."""


class Line(NamedTuple):
    """What is expected of a failure that begins in some steps."""

    begins: str  # groups
    ids: str = ""  # any of them will do, as A|B; empty: nothing can tell it
    looked_at: str = ""  # groups passed one after the other, with >; the last shows it; empty: at once
    within: str = ""  # after that
    why: str = ""  # why nothing can tell it
    only: Needs = ()  # stations with this preset
    too_late: bool = False  # it is told, but when the harm is done
    changed: str = ""


class Mode(NamedTuple):
    """One failure mode."""

    id: str
    hazard: str  # one of HAZARDS; empty: a safe failure
    because: str  # of that
    lines: tuple[Line, ...]
    amount: float = 1.0
    beside: tuple[str, ...] = ()  # failures that bring it to light, with it
    stopped: bool = False  # stop is pressed a minute after
    shortened: Mapping[str, int] | None = None  # presets that would make runs long

    @property
    def dangerous(self) -> bool:
        """Whether it counts as dangerous."""
        return bool(self.hazard)


class Expectation(NamedTuple):
    """What is expected of one cell."""

    ids: tuple[str, ...]
    looked_at: tuple[tuple[int, ...], ...]
    within_ms: int
    why: str
    too_late: bool
    written: bool  # False: generated from the interlock table, unproven


def shows(
    ids: str, looked_at: str, within: str, begins: str = "any", only: Needs = (), changed: str = ""
) -> Line:
    """An interlock tells it, so long after the sequence next comes by."""
    return Line(begins, ids, looked_at, within, "", only, changed=changed)


def at_once(ids: str, within: str, begins: str = "any", only: Needs = (), changed: str = "") -> Line:
    """An interlock tells it in the step in which it begins."""
    return Line(begins, ids, "", within, "", only, changed=changed)


def blind(why: str, begins: str = "any", only: Needs = (), changed: str = "") -> Line:
    """Nothing can tell it, because."""
    return Line(begins, why=why, only=only, changed=changed)


def too_late(ids: str, looked_at: str, within: str, why: str, begins: str = "any", only: Needs = ()) -> Line:
    """An interlock tells it, when the harm is done: counts as not detected."""
    return Line(begins, ids, looked_at, within, why, only, too_late=True)


def steps_of(groups: str) -> frozenset[int]:
    """
    The steps of groups by name.

    >>> sorted(steps_of("vent drain")) == [Step.VENT, Step.DRAIN]
    True
    """
    return frozenset(int(step) for name in groups.split() for step in GROUPS[name])


def milliseconds_of(within: str, presets: Presets) -> int:
    """
    A time in words: presets, how often, and seconds.

    >>> milliseconds_of("2 flap_travel_ms + 1.5s", Presets())
    6500
    """
    total = 0
    for part in within.split("+"):
        found = re.fullmatch(r"\s*(?:(\d+) )?([a-z_]+_ms)\s*|\s*([\d.]+)s\s*", part)
        if not found:
            msg = f"{within!r} is no time: presets that end in _ms and seconds, joined by +"
            raise ValueError(msg)
        times, name, seconds = found.groups()
        total += round(float(seconds) * 1_000) if seconds else int(times or 1) * getattr(presets, name)
    return total


def expected(
    lines: tuple[Line, ...], step: int, presets: Presets, interlocks: tuple[Interlock, ...]
) -> Expectation | None:
    """
    What is expected of a failure that begins in a step; None if nothing is.

    Args:
        lines: Of its mode, those of the station.
        step: In which it begins.
        presets: Of the station.
        interlocks: The table that is asked where nobody wrote anything.
    """
    for line in lines:
        if step in steps_of(line.begins):
            looked_at = tuple(tuple(sorted(steps_of(part))) for part in line.looked_at.split(">") if part)
            within = milliseconds_of(line.within, presets) if line.within else 0
            ids = tuple(filter(None, line.ids.split("|")))
            return Expectation(ids, looked_at, within, line.why, line.too_late, written=True)
    ids = tuple(name for line in lines for name in line.ids.split("|") if name)
    asked = [i for i in interlocks if i.name in ids]
    if not asked:
        return None
    steps = tuple(sorted({int(step) for i in asked for step in i.steps}))
    delays = [getattr(presets, i.delay) for i in asked if i.delay and hasattr(presets, i.delay)]
    within = max(delays, default=0) + milliseconds_of(ALLOWED, presets)
    return Expectation(ids, (steps,), within, "", too_late=False, written=False)
