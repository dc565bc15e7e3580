"""
Tags by change, of a signal by a deadband at least, each no more often than a floor; none of them ever waits
behind another value of itself.
"""

from collections.abc import Sequence
from typing import NamedTuple

from controller.reporting.station_now import Reading

SPAN_UA = 16_000
"""Of a loop: from 4 to 20 mA (IEC 60381-1)."""


class Seen(NamedTuple):
    """A reading, and when that was."""

    reading: Reading
    when: tuple[str, int]  # ISO 8601 and ms since power-up


class Tags:
    """
    The points of a station.

    A change is due once the floor has passed since the last of its tag. One that is due and was not taken
    (no broker, or a slow one) gives way to the next, and counts as dropped. So there is never more in here
    than one value of each tag.
    """

    def __init__(self, floor_s: float, deadband_percent: float = 0.0) -> None:
        """`deadband_percent`: of the span of a 4-20 mA signal; a move of less is noise."""
        self.dropped = 0
        """Values that were due and never taken."""
        self._floor_s, self._band_ua = floor_s, deadband_percent / 100 * SPAN_UA
        self._newest: dict[str, Seen] = {}
        self._due: dict[str, Seen] = {}
        self._last: dict[str, tuple[Reading, float]] = {}  # what was last due or taken, and when in s

    def put(self, readings: Sequence[Reading], when: tuple[str, int], now_s: float) -> None:
        """All of them, as they read now."""
        for reading in readings:
            found = self._newest.get(reading.tag)
            if found is None or found.reading != reading:
                self._newest[reading.tag] = Seen(reading, when)
        self._look(now_s)

    def take(self, now_s: float) -> list[Seen]:
        """What is due; it counts as told."""
        self._look(now_s)
        due, self._due = self._due, {}
        for tag, seen in due.items():
            self._last[tag] = (seen.reading, now_s)
        return list(due.values())

    def next_s(self) -> float:
        """When the next will be due, if nothing changes until then; infinite where none waits."""
        if self._due:
            return 0.0
        pairs = ((seen.reading, self._last.get(tag)) for tag, seen in self._newest.items())
        waiting = (last[1] if last else 0.0 for reading, last in pairs if self._is_news(reading, last))
        return min(waiting, default=float("inf")) + self._floor_s

    def again(self) -> None:
        """All of them are due once more: somebody new listens. What waited is told with it, not dropped."""
        self._due.clear()
        self._last.clear()

    def _is_news(self, reading: Reading, last: tuple[Reading, float] | None) -> bool:
        if last is None:
            return True
        told = last[0]
        if reading.kind == "4-20 mA" and abs(reading.raw - told.raw) < self._band_ua:
            reading = reading._replace(raw=told.raw, value=told.value)
        return reading != told

    def _look(self, now_s: float) -> None:
        for tag, seen in self._newest.items():
            last = self._last.get(tag)
            if not self._is_news(seen.reading, last) or (last and now_s < last[1] + self._floor_s):
                continue
            self.dropped += tag in self._due
            self._due[tag] = seen
            self._last[tag] = (seen.reading, now_s)
