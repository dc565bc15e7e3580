"""
The reporter as the rig sees it: a process of its own that is fed, followed, and started again when it ends.

Nothing here waits within a scan: a record is put into a queue, lines leave when the socket takes them, and
what is only of this moment is sent when there is room, the newest alone. A record stays until the reporter
says that it is on the disk; after a restart all others are sent again, under the same numbers.
"""

import asyncio
import socket
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any, NamedTuple

from controller.reporter.lines import Opening, Record, line, read
from controller.reporter.unacknowledged import ROOM, Unacknowledged
from controller.scan.child import UNKNOWN, Child, started

SOCKET_BYTES = CHUNK_BYTES = 32_768
"""What leaves at once, so that no scan is kept waiting by a long queue that is caught up."""
FIRST_PAUSE_S, LONGEST_PAUSE_S, STEADY_S = 0.2, 30.0, 10.0
"""Before it is started again; twice as long each time, until one lives steadily."""
SILENT_S = 30.0
"""It says something every second; one that says nothing for so long hangs, and is ended."""
OPEN_S = 30.0
CLOSE_S = 20.0
"""At the end: for what it still has to write, and to tell."""
KILLED_S = 2.0
"""For one that was killed to be gone."""
NO_ROOM = "there was no room for them"
NEVER = "no disk will ever take them"


class ReporterError(Exception):
    """The reporter cannot open what it is to write or whom it is to tell; says why."""


class Heard(NamedTuple):
    """Who is told what the reporter says; none of it may take long."""

    say: Callable[[str], None]
    """Words for the screen."""
    restarted: Callable[[str], None]
    """It runs again: how it had ended, and how often by now."""
    lost: Callable[[int, str], None]
    """So many records will not be written; why."""
    asked: Callable[[int, str, str, int, str], None]
    """A command from elsewhere: number for `answer`, who asks, its end in `machine_ms`, its id."""


class Reporter:
    """
    One reporter after the other, for one start of the controller. On a running loop only.

    `start`, then `put` and `tell` from within the scans, then `close`.
    """

    def __init__(self, opening: Opening, heard: Heard, room: int = ROOM) -> None:
        self._opening, self._heard = opening, heard
        self._waiting = Unacknowledged(room)
        self._newest: dict[str, bytes] = {}
        self._unsent: dict[str, None] = {}  # kinds of the newest, in order
        self._answers: list[bytes] = []
        self._then: list[tuple[int, Callable[[], object]]] = []
        self._told_lost = 0
        self._passed_over = self._last_passed_over = 0
        self._tell_of_lost: set[int] = set()  # records that say of another that it was lost
        self._end: bytes | None = None
        self._ends = asyncio.Event()
        self._channel: _Channel | None = None
        self._pumps = False
        self._opened: asyncio.Future[str] | None = None
        self._life: asyncio.Task[None] | None = None
        self._open_problems: dict[str, str] = {}
        self._refused = self._how = ""
        self.process: Child | None = None
        self.restarts = 0

    # ---- begin and end ---------------------------------------------------------------------------------
    async def start(self) -> None:
        """
        Returns when it has opened all that it is to write.

        Raises:
            ReporterError: It cannot.
        """
        self._opened = asyncio.get_running_loop().create_future()
        self._life = asyncio.create_task(self._kept_up())
        try:
            why = await asyncio.wait_for(asyncio.shield(self._opened), OPEN_S)
        except TimeoutError:
            why = f"the process that writes the records did not open them within {OPEN_S:g} s"
        if why:
            await self._stop()
            raise ReporterError(why)

    async def close(self, said: str) -> bool:
        """All that was put in is written and told, as far as can be; whether all of it is on the disk."""
        self._tell_lost()
        self._end = line("end", said)
        self._ends.set()
        self._pump()
        if self._life:
            await asyncio.wait([self._life], timeout=CLOSE_S)
        await self._stop()
        return not (self._waiting or self._waiting.refused or self._passed_over)

    async def _stop(self) -> None:
        if self._life:
            self._life.cancel()
            await asyncio.wait([self._life])
        if self.process:
            self.process.kill()
            await self.process.ended(KILLED_S)

    @property
    def problems(self) -> Sequence[str]:
        """What is not written, or was not, in words."""
        left, lost = len(self._waiting), self._waiting.refused
        found = list(self._open_problems.values())
        found += [f"{left} records are not known to be written"] if left and self._end else []
        found += [f"{lost} records were lost: {NO_ROOM}"] if lost else []
        return [*found, *([f"{over} records were lost: {NEVER}"] if (over := self._passed_over) else [])]

    # ---- within a scan ---------------------------------------------------------------------------------
    def put(self, record: Record) -> None:
        """To be written; counted where there is no room."""
        self._waiting.put(record)
        self._pump_soon()

    def tell(self, kind: str, *values: Any) -> None:
        """What is of this moment; one of its kind that still waits is forgotten."""
        self._newest[kind] = line(kind, *values)
        self._unsent[kind] = None
        self._pump_soon()

    def answer(self, number: int, reasons: Sequence[str]) -> None:
        """What became of a command from elsewhere; empty: accepted."""
        self._answers.append(line("answer", number, list(reasons)))
        self._pump_soon()

    def when_written(self, work: Callable[[], object]) -> None:
        """Called once all that was put in so far is on the disk."""
        self._then.append((self._waiting.newest, work))

    # ---- one life after the other ----------------------------------------------------------------------
    async def _kept_up(self) -> None:
        pause_s, how, loop = FIRST_PAUSE_S, "", asyncio.get_running_loop()
        while True:
            began_s = loop.time()
            try:
                opened, ended = await self._one_life(how)
            except Exception as error:  # no file or thread left, or whatever it is: the next life may have it
                why = getattr(error, "strerror", None) or error
                opened, ended = False, f"the process that writes the records cannot be started: {why}"
            if self._end and not self._waiting:
                return
            if self._opened and not self._opened.done():
                self._opened.set_result(ended)
                return
            if opened:
                how = ended
            else:
                self._trouble("reporter", f"nothing is written: {ended}")
            pause_s = FIRST_PAUSE_S if loop.time() - began_s > STEADY_S else pause_s
            await self._paused(pause_s)
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)

    async def _paused(self, pause_s: float) -> None:
        """The end cuts it short."""
        if self._ends.is_set():
            await asyncio.sleep(FIRST_PAUSE_S)
        with suppress(TimeoutError):
            await asyncio.wait_for(self._ends.wait(), pause_s)

    async def _one_life(self, how: str) -> tuple[bool, str]:
        """`how`: the one before ended. Whether this one opened its books, and how it ended."""
        rigs, its = socket.socketpair()
        rigs.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SOCKET_BYTES)
        _, channel = await asyncio.get_running_loop().create_unix_connection(
            lambda: _Channel(self._hear, self._pump), sock=rigs
        )
        try:
            with its:
                command = (sys.executable, "-P", "-m", "controller.reporter", str(its.fileno()))
                self.process = process = await started(command, its.fileno())
            channel.write(line("open", *self._opening))
            self._channel, self._refused, self._how = channel, "", how
            await self._until_gone(channel, process)
        finally:
            self._channel = None
            channel.abort()
        code = await process.ended(SILENT_S)
        if code is None:
            process.kill()
            code = await process.ended(SILENT_S)
        return channel.is_open, self._refused or _ended(code)

    async def _until_gone(self, channel: "_Channel", process: Child) -> None:
        while not channel.gone.done():
            channel.heard = False
            await asyncio.wait([channel.gone], timeout=SILENT_S)
            if not channel.heard and not channel.gone.done():
                self._refused = f"it said nothing for {SILENT_S:g} s"
                process.kill()
                return

    # ---- what it says ----------------------------------------------------------------------------------
    def _hear(self, channel: "_Channel", kind: str, values: Sequence[Any]) -> None:
        if kind == "ready":
            self._open_problems.clear()
            self._answers.clear()  # to questions of one before
            self._take(values[0])
            self._waiting.again()
            self._unsent = dict.fromkeys(self._newest)
            channel.is_open = True
            if self._opened and not self._opened.done():
                self._opened.set_result("")
            else:
                self.restarts += 1
                self._heard.restarted(f"{self._how}; started again, restart {self.restarts}")
            self._pump()
        elif kind == "no":
            self._refused = values[0]
        elif kind == "taken":
            self._take(values[0])
        elif kind == "ask":
            self._heard.asked(*values)
        elif kind == "say":
            self._heard.say(values[0])
        elif kind == "problem":
            self._trouble(*values)
        elif kind == "never":
            self._pass_over(*values)
        elif kind == "problem over":
            self._open_problems.pop(values[0], None)

    def _take(self, number: int) -> None:
        self._waiting.taken(number)
        while self._then and self._then[0][0] <= self._waiting.acknowledged:
            self._then.pop(0)[1]()
        if self._waiting.has_room:
            self._tell_lost()

    def _tell_lost(self) -> None:
        if lost := self._waiting.refused - self._told_lost:
            self._told_lost += lost
            self._heard.lost(lost, NO_ROOM)

    def _pass_over(self, number: int, why: str) -> None:
        if number <= self._last_passed_over:
            return  # one that was killed had said it already
        self._last_passed_over = number
        self._passed_over += 1
        self._heard.say(f"records: {NEVER}: {why}")
        if number not in self._tell_of_lost:  # else there would be no end to it
            before = self._waiting.newest
            self._heard.lost(1, why)
            self._tell_of_lost.update(range(before + 1, self._waiting.newest + 1))

    def _trouble(self, of: str, said: str) -> None:
        """Said once, until it is another one or over."""
        if self._open_problems.get(of) != said:
            self._open_problems[of] = said
            self._heard.say(f"records: {said}")

    # ---- what leaves -----------------------------------------------------------------------------------
    def _pump_soon(self) -> None:
        if not self._pumps and self._channel:
            self._pumps = True
            asyncio.get_running_loop().call_soon(self._pump)

    def _pump(self) -> None:
        self._pumps = False
        channel = self._channel
        while channel and channel.is_open and not channel.is_full and (lines := self._next_lines()):
            channel.write(lines)

    def _next_lines(self) -> bytes:
        if lines := self._waiting.next_lines(CHUNK_BYTES):
            return lines
        lines = b"".join((*self._answers, *(self._newest[kind] for kind in self._unsent)))
        self._answers.clear()
        self._unsent.clear()
        channel = self._channel
        if not lines and self._end and channel and not channel.is_ended:
            channel.is_ended = True
            return self._end
        return lines


class _Channel(asyncio.Protocol):
    """The rig's end of one connection."""

    def __init__(
        self, hear: Callable[["_Channel", str, Sequence[Any]], None], room: Callable[[], None]
    ) -> None:
        self._hear, self._room = hear, room
        self._transport: asyncio.Transport | None = None
        self._rest = b""
        self.gone: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self.heard = self.is_open = self.is_full = self.is_ended = False

    def write(self, lines: bytes) -> None:
        if self._transport:
            self._transport.write(lines)

    def abort(self) -> None:
        if self._transport:
            self._transport.abort()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        transport.set_write_buffer_limits(high=CHUNK_BYTES)
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        self.heard = True
        *lines, self._rest = (self._rest + data).split(b"\n")
        for raw in lines:
            self._hear(self, *read(raw))

    def pause_writing(self) -> None:
        self.is_full = True

    def resume_writing(self) -> None:
        self.is_full = False
        self._room()

    def connection_lost(self, _: Exception | None) -> None:
        self._transport, self.is_full = None, True
        if not self.gone.done():
            self.gone.set_result(None)


def _ended(code: int | None) -> str:
    if code is None:
        return "it could not be ended"
    if code == UNKNOWN:
        return "it ended"
    return f"it was ended by signal {-code}" if code < 0 else f"it ended by itself with code {code}"
