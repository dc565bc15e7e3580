"""
Maintenance counters: what wears, counted from outputs and cycle records, each with a limit.

A pure observer: no clock, no I/O. To keep `as_document` through a power cycle is for whoever holds it: no
command here does. A counter over its limit is work to be planned, not an alarm. It counts on until somebody
resets it and says why.
"""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from controller.problems import did_you_mean
from controller.records import CycleRecord

HOUR_MS = 3_600_000


class Counter(NamedTuple):
    """One counter: what it counts, when the work is due, and what work."""

    name: str
    counts: str
    unit: str  # in which a person reads it
    limit: float
    work: str  # and where the limit comes from
    per: int = 1  # of these in one unit


COUNTERS = (
    Counter("flap_strokes", "openings of the flap", "", 500_000, "seal and switches; 0.5-1 million, memory"),
    Counter("shots_1", "pulses of the first group", "", 1_000_000, "diaphragm; 1 million, memory"),
    Counter("shots_2", "pulses of the second group", "", 1_000_000, "diaphragm; 1 million, memory"),
    Counter("shots_3", "pulses of the third group", "", 1_000_000, "diaphragm; 1 million, memory"),
    Counter("source_starts", "starts of the source", "", 1_000_000, "contactor or valve; memory"),
    Counter("source_on_ms", "source on", "h", 8_000 * HOUR_MS, "source and its filter; memory", HOUR_MS),
    Counter("filter_on_ms", "drawing", "h", 2_000 * HOUR_MS, "elements; 2,000-4,000 h, memory", HOUR_MS),
    Counter("kg", "product delivered", "kg", 2_000_000, "bends, hoses, seat; memory"),
    Counter("air_nm3", "air used", "Nm3", 200_000, "element of the supply's air filter; memory"),
    Counter("flap_retries", "second tries to close the flap", "", 50, "look at the seat; memory"),
    Counter("resumes", "returns after low air", "", 50, "look at the supply; memory"),
)  # fmt: skip
"""Limits are starting points: B10d of valves and cylinders (15-75 million) is never the shortest."""

_BY_NAME = {counter.name: counter for counter in COUNTERS}
_EDGES = {
    "flap_open_cmd": "flap_strokes",
    "pulse_1_cmd": "shots_1",
    "pulse_2_cmd": "shots_2",
    "pulse_3_cmd": "shots_3",
    "source_cmd": "source_starts",
}
_FROM_RECORD = {
    "delivered_kg": "kg",
    "air_nm3": "air_nm3",
    "flap_retries": "flap_retries",
    "resumes": "resumes",
}


class Note(NamedTuple):
    """What the journal is told: a counter reached its limit, or somebody set it back."""

    id: str  # MAINTENANCE_DUE or COUNTER_RESET
    what: str
    detail: str


class WrongReset(Exception):  # noqa: N818
    """A reset of no counter, or without a name or a reason."""


class Wiring(NamedTuple):
    """
    Which points tell of the wear.

    A flap without command strokes when it leaves its closed switch; a motor on bypass does not draw through
    the filter.
    """

    flap_has_command: bool = True
    bypass_fitted: bool = False

    @property
    def points(self) -> tuple[str, ...]:
        """All points that are read."""
        return (*_EDGES, "flap_closed_fb", "bypass_close_cmd")


class Counters:
    """The counts of one receiver."""

    def __init__(self, wiring: Wiring, limits: Mapping[str, float] | None = None) -> None:
        self._wiring = wiring
        self.counts: dict[str, float] = dict.fromkeys(_BY_NAME, 0)
        self.limits = {counter.name: counter.limit for counter in COUNTERS} | dict(limits or {})
        self._last: dict[str, int] = {}

    def take(self, points: Mapping[str, Sequence[int]], scan_ms: int) -> list[Note]:
        """
        Takes note of scans in a row.

        Args:
            points: Of each of `Wiring.points` its value in these scans, 0 or 1; one or many scans, all alike.
            scan_ms: Time of one scan.
        """
        before = dict(self.counts)
        for point, name in _EDGES.items():
            self.counts[name] += self._edges(point, points[point], 1)
        if not self._wiring.flap_has_command:
            self.counts["flap_strokes"] += self._edges("flap_closed_fb", points["flap_closed_fb"], 0)
        drawing = "bypass_close_cmd" if self._wiring.bypass_fitted else "source_cmd"
        self.counts["source_on_ms"] += sum(points["source_cmd"]) * scan_ms
        self.counts["filter_on_ms"] += sum(points[drawing]) * scan_ms
        return self._due(before)

    def take_cycle(self, record: CycleRecord) -> list[Note]:
        """Takes note of a finished cycle."""
        before = dict(self.counts)
        for field, name in _FROM_RECORD.items():
            self.counts[name] += getattr(record, field) or 0  # not known: not counted
        return self._due(before)

    def _edges(self, point: str, values: Sequence[int], to: int) -> int:
        """How often the point changed to `to`; at power-up every output is off and no flap is on its way."""
        last = self._last.get(point, 0)
        self._last[point] = values[-1]
        if last == values[0] and values.count(last) == len(values):
            return 0
        return sum(a != to and b == to for a, b in pairwise((last, *values)))

    def _due(self, before: Mapping[str, float]) -> list[Note]:
        return [
            Note("MAINTENANCE_DUE", said(name, count), f"limit {self.limits[name] / _BY_NAME[name].per:,.0f}")
            for name, count in self.counts.items()
            if before[name] < self.limits[name] <= count
        ]

    def overdue(self) -> list[str]:
        """The counters at or over their limit."""
        return [name for name, count in self.counts.items() if count >= self.limits[name]]

    def reset(self, name: str, who: str, why: str) -> Note:
        """
        Sets a counter back to zero after the work.

        Raises:
            WrongReset: There is no such counter, or it is not said who did it and why.
        """
        if name not in self.counts:
            msg = f"{name}: there is no such counter{did_you_mean(name, self.counts)}"
            raise WrongReset(msg)
        if not who.strip() or not why.strip():
            msg = f"{name}: a reset is written down: say who and why"
            raise WrongReset(msg)
        note = Note("COUNTER_RESET", f"{said(name, self.counts[name])} -> 0", f"by {who}; {why}")
        self.counts[name] = 0
        return note

    def as_document(self) -> dict[str, float]:
        """What has to survive a power cycle, as plain values."""
        return dict(self.counts)

    def restore(self, document: Mapping[str, Any]) -> None:
        """
        Takes back what `as_document` gave; a counter that it does not know stays at zero.

        Raises:
            ValueError: It holds a counter that there is not, or a count that is none; nothing is taken then.
        """
        wrong = [
            f"{name} = {count!r}"
            for name, count in document.items()
            if name not in self.counts or not isinstance(count, int | float) or not 0 <= count < math.inf
        ]
        if wrong:
            msg = f"counters: {', '.join(wrong)}: no such counter, or no count"
            raise ValueError(msg)
        self.counts |= document


def said(name: str, count: float) -> str:
    """
    A count for a person.

    >>> said("filter_on_ms", 7_203_600_000)
    'filter on 2,001.0 h'
    """
    counter = _BY_NAME[name]
    number = f"{count / counter.per:,.1f}" if counter.unit else f"{count:,.0f}"
    words = name.removesuffix("_ms").replace("_", " ")
    return f"{words} {number} {counter.unit}".rstrip()
