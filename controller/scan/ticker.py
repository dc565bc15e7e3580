"""The beat of the scans: absolute deadlines on the event loop, those that were missed counted."""

import asyncio
import os
from typing import NamedTuple, Protocol, Self

from controller.scan.timer_fd import timer_fd

NS_IN_MS, NS_IN_S = 1_000_000, 1_000_000_000


class Tick(NamedTuple):
    """A deadline has come."""

    missed: int  # deadlines that passed unused since the tick before
    late_us: int  # after the first deadline since then


class Ticks(Protocol):
    """What a rig is driven by: the ticker, or in tests whoever holds the time."""

    period_ms: int

    async def next(self) -> Tick:
        """Waits for the next deadline; at once where it is past."""
        ...


class Ticker:
    """
    Deadlines at whole periods after the start, by a timer of the kernel or, without one, of the event loop.

    A tick never comes before its deadline but for the resolution of the loop's clock, and no delay adds up.
    """

    def __init__(self, period_ms: int, *, rate: float = 1.0, portable: bool = False) -> None:
        """
        Set up; `async with` starts it.

        Args:
            period_ms: Time from deadline to deadline.
            rate: So many periods pass in the time of one.
            portable: Use the loop's own timers whatever the system has.
        """
        self.period_ms = period_ms
        self._period_s = round(period_ms * NS_IN_MS / rate) / NS_IN_S  # as the kernel counts it
        self._portable = portable
        self._fd: int | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._waiter: asyncio.Future[None] | None = None
        self._number = 0  # of the newest deadline that was taken

    async def __aenter__(self) -> Self:
        self._loop = asyncio.get_running_loop()
        self._start_s = self._loop.time()
        first_s = self._start_s + self._period_s
        self._fd = None if self._portable else timer_fd(first_s, self._period_s)
        if self._fd is None:
            self._timer = self._loop.call_at(first_s, self._fired)
        else:
            self._loop.add_reader(self._fd, self._fired)
        return self

    async def __aexit__(self, *_: object) -> None:
        if self._fd is not None:
            self._loop.remove_reader(self._fd)
            os.close(self._fd)
        if self._timer is not None:
            self._timer.cancel()

    @property
    def timer(self) -> str:
        """Which timer it is, in words."""
        return "event loop" if self._fd is None else "timerfd"

    async def next(self) -> Tick:
        """As promised."""
        if self._due():
            await asyncio.sleep(0)  # behind time, the rest of the loop has its turn all the same
        while not self._due():  # woken too early: by a deadline that was taken before its timer was heard
            self._waiter = self._loop.create_future()
            await self._waiter
        late_s = self._loop.time() - (self._start_s + (self._number + 1) * self._period_s)
        due = self._due()
        self._number += due
        return Tick(due - 1, max(round(late_s * 1_000_000), 0))

    def _due(self) -> int:
        """Deadlines that have passed and were not taken."""
        return int((self._loop.time() - self._start_s) / self._period_s) - self._number

    def _fired(self) -> None:
        if self._fd is not None:
            os.read(self._fd, 8)
        else:
            ahead = self._number + self._due() + 1
            self._timer = self._loop.call_at(self._start_s + ahead * self._period_s, self._fired)
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)
