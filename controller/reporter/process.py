"""
The reporter at work: reads the channel, writes the books, tells others; ends with the channel.

The rig never waits for it. Whatever hangs or fails here, the records stay with the rig until they are taken.
"""

import asyncio
import socket
from collections import deque
from collections.abc import Callable
from contextlib import AsyncExitStack
from functools import partial
from pathlib import Path

from controller.audit.log import AuditError, HeldError
from controller.clock import WallClock
from controller.records import Deed
from controller.reporter.books import Books
from controller.reporter.channel import Channel, opened
from controller.reporter.lines import Numbered, Opening, line, read, read_record
from controller.reporter.told import ServiceError, Told, reader_of, told_by
from controller.reporting.journal import JournalError
from controller.reporting.journal_kept import Kept
from controller.reporting.services import Services
from controller.station_file import StationError

BEAT_S = 1.0
"""Between two signs of life, and two tries on a disk that took nothing."""
TOGETHER = 100
"""Records in one commit, where so many wait."""
MOST_OWN = 1_000
"""Deeds of commands that went no further, while the disk takes none; the oldest go."""
LEAVE_S = 5.0
"""At the end, for what the broker has not taken yet; it waits in the journal otherwise."""
HELD_S, HELD_TRY_S = LEAVE_S + 5.0, 0.1
"""At the begin, for the reporter of a rig that crashed to leave the same books; between two tries."""
GONE = "the controller ended without a word"

CANNOT_OPEN = (JournalError, AuditError, StationError, ServiceError, OSError)


class Reporter:
    """One connection to the rig, from its first line to its end."""

    def __init__(self, channel: Channel) -> None:
        self._channel = channel
        self._came: list[Numbered] = []
        self._something = asyncio.Event()
        self._problems: dict[str, str] = {}
        self._ended = ""
        self._books: Books | None = None
        self._own: deque[Deed] = deque(maxlen=MOST_OWN)
        self._told = Told()

    async def run(self) -> None:
        """Until the rig ends or is gone."""
        kind, values = read(await self._channel.next_line() or line("end", GONE))
        if kind == "open":
            opening = Opening(*values)
            async with AsyncExitStack() as stack:
                try:
                    await self._open(opening, stack)
                except CANNOT_OPEN as no:
                    self.send("no", str(no))
                else:
                    self.send("ready", self._books.taken if self._books else 0)
                    await self._work()
                    await self._told.leave(self._ended, LEAVE_S)
                    if left := self._told.left():
                        self.send("say", left)
            self._close()
        self._channel.close()

    async def _work(self) -> None:
        async with asyncio.TaskGroup() as tasks:
            beat = tasks.create_task(self._beat())
            written = tasks.create_task(self._write_down())
            await self._read()
            self._something.set()
            await written
            beat.cancel()

    # ---- for those who tell others ---------------------------------------------------------------------
    def send(self, kind: str, *values: object) -> None:
        """A line to the rig; it reads when it has time, and what it is told is little."""
        self._channel.send(line(kind, *values))

    def deed(self, deed: Deed) -> None:
        """One that the rig knows nothing of: a command that went no further."""
        self._own.append(deed)
        self._write_own()

    def problem(self, of: str, said: str) -> None:
        """Told once, until it is another one; empty: it is over."""
        if self._problems.get(of, "") != said:
            self._problems[of] = said
            self.send("problem" if said else "problem over", of, *([said] if said else []))

    # ---- inside ----------------------------------------------------------------------------------------
    def _write_own(self) -> None:
        """What the disk does not take is tried again at each beat."""
        while self._own and self._books:
            try:
                self._books.add_own(self._own[0])
            except Exception as error:
                if may_heal(error):
                    self.problem("own deeds", _said(error))
                    return
                self.problem("own deed lost", _said(error))
            else:
                self.problem("own deeds", "")
            self._own.popleft()

    async def _open(self, opening: Opening, stack: AsyncExitStack) -> None:
        services = Services.model_validate_json(opening.services)
        if opening.run:
            readers = (reader_of(opening),) if services.publishing else ()
            kept = Kept(services.journal.keep_days, services.journal.keep_mb)
            books = partial(Books, Path(opening.run), opening.boot, readers, kept, opening.simulated)
            self._books = await self._once_free(books)
        journal = self._books.journal if self._books else None
        self._told = await told_by(services, opening, WallClock(opening.rate), journal, self, stack)

    async def _once_free(self, books: Callable[[], Books]) -> Books:
        """A rig that crashed has a reporter that still writes and tells for some seconds."""
        loop = asyncio.get_running_loop()
        end_s = loop.time() + HELD_S
        while True:
            try:
                return books()
            except HeldError as held:
                if loop.time() > end_s:
                    raise
                wait = f"{held}; waits {HELD_S:g} s at most, as a run that crashed may just be ending"
                self.problem("books", wait)
            await asyncio.sleep(HELD_TRY_S)

    def _close(self) -> None:
        if self._books:
            try:
                self._books.close()
            except JournalError as error:
                self.problem("journal", str(error))

    async def _read(self) -> None:
        while raw := await self._channel.next_line():
            kind, values = read(raw)
            if kind == "end":
                self._ended = values[0]
                return
            if came := read_record(kind, values):
                self._came.append(came)
                self._something.set()
            elif kind == "ran":
                if self._books:
                    self._books.journal.lasted(values[0])
            else:
                self._told.take(kind, values)
        self._ended = GONE

    async def _write_down(self) -> None:
        """Every record that came, in order; one that the disk does not take is tried again."""
        while not self._ended or self._came:
            await self._something.wait()
            self._something.clear()
            came, self._came = self._came, []
            for count, record in enumerate(came, 1):
                if not await self._is_taken(record):
                    return  # at the end, without a disk: the rig is not told that they were taken
                if count % TOGETHER == 0:
                    self._committed()
                await asyncio.sleep(0)  # a beat may be due, also where each record takes long
            self._committed()  # where the disk takes nothing it is tried again at each beat

    async def _is_taken(self, record: Numbered) -> bool:
        books = self._books
        while books:
            try:
                books.add(record)
            except Exception as error:
                if not may_heal(error):
                    books.pass_over(record)  # else it would be given again to each reporter after this
                    self.send("never", record.number, _said(error))
                    break
                self.problem("disk", str(error))
                if self._ended:
                    return False
                await asyncio.sleep(BEAT_S)
            else:
                self.problem("disk", "")
                break
        return True

    def _committed(self) -> None:
        if not (books := self._books):
            return
        try:
            books.commit()
        except JournalError as error:
            self.problem("journal", str(error))
            return
        self.problem("journal", "")
        self.send("taken", books.taken)
        self._told.wrote()

    async def _beat(self) -> None:
        while True:
            await asyncio.sleep(BEAT_S)
            self._write_own()
            self._committed()
            self._told.beat()
            if news := self._told.news():
                self.send("say", news)


def may_heal(error: Exception) -> bool:
    """Whether what could not be written is given again: a disk or memory may have room later."""
    return isinstance(error, JournalError | MemoryError) or isinstance(error.__cause__, OSError)


def _said(error: Exception) -> str:
    return str(error) if isinstance(error, AuditError) else f"{type(error).__name__}: {error}"


async def report(connected: socket.socket) -> None:
    """Works for the rig at the other end of a connected socket, until that ends."""
    await Reporter(await opened(connected)).run()
