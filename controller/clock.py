"""Time, always passed in. The only module that may ask the operating system what time it is."""

import time
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """
    Monotonic time in whole milliseconds from the start of the run, and the date for records.

    - `now_ms` never goes back.
    - `sleep_until` returns at the deadline or later, at once if it is past.
    - `date` moves with `now_ms`, but where a clock was set; it is for people, nothing is decided by it.
    """

    def now_ms(self) -> int: ...

    def sleep_until(self, deadline_ms: int) -> None: ...

    def date(self) -> datetime: ...


class SteppedClock:
    """Simulated time: sleeping costs nothing and lands exactly on the deadline."""

    def __init__(self, start: datetime = datetime(2026, 1, 5, 6, tzinfo=UTC)) -> None:
        self._start = start
        self._now_ms = 0

    def now_ms(self) -> int:
        return self._now_ms

    def sleep_until(self, deadline_ms: int) -> None:
        self._now_ms = max(self._now_ms, deadline_ms)

    def date(self) -> datetime:
        return self._start + timedelta(milliseconds=self._now_ms)


_CLOCK = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)
"""Goes on while the machine sleeps, where the system has such a clock: after that an image must look old."""


def machine_ms() -> int:
    """Of a clock that all programs of this machine share, and nobody can set."""
    return int(time.clock_gettime(_CLOCK) * 1000)


class WallClock:
    """Real time; at `rate` 10 ten seconds of the plant pass in one of the room."""

    def __init__(self, rate: float = 1.0) -> None:
        if not rate > 0:
            msg = f"clock rate is {rate}, must be over 0"
            raise ValueError(msg)
        self._rate = rate
        self._origin_s = time.clock_gettime(_CLOCK)
        self._start = self._began = datetime.now(UTC)

    def now_ms(self) -> int:
        return int((time.clock_gettime(_CLOCK) - self._origin_s) * self._rate * 1000)

    def sleep_until(self, deadline_ms: int) -> None:
        """Sleeps in short naps until the deadline; a nap that ends early is followed by another."""
        while (left_ms := deadline_ms - self.now_ms()) > 0:
            time.sleep(left_ms / 1000 / self._rate)

    def date(self) -> datetime:
        return self._start + timedelta(milliseconds=self.now_ms())

    def set_by(self) -> timedelta:
        """How far the system's clock was set since it was asked; `date` follows it. Under 1 s is none."""
        passed = timedelta(seconds=time.clock_gettime(_CLOCK) - self._origin_s)
        by = datetime.now(UTC) - self._began - passed
        if abs(by) < timedelta(seconds=1):
            return timedelta(0)
        self._began += by
        self._start += by
        return by
