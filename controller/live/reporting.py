"""Ties a rig to its reporter: what the rig tells of this moment, and the commands that come back."""

import asyncio
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from uuid import uuid4

from controller.clock import Clock
from controller.live.desk import REMOTE
from controller.live.reporter import Heard, Reporter
from controller.live.rig import Rig
from controller.live.run_ask import SCAN_MS, Ask
from controller.live.told_now import ToldNow
from controller.records import CycleRecord
from controller.reporter.lines import Opening

LATE = "it was over its time when the controller took it"


class Reporting:
    """
    One reporter and, as soon as there is one, its rig.

    Args:
        ask: The run.
        run: Where records are written.
        software: Version.
        io: What the rig runs on, in words.
        clock: For the end of commands.
        say: Takes words for the screen.
    """

    def __init__(
        self, ask: Ask, run: Path, software: str, io: str, clock: Clock, say: Callable[[str], None]
    ) -> None:
        receiver = ask.station.receiver
        opening = Opening(
            str(run.resolve()), str(ask.folder.resolve()), receiver.name, str(uuid4()), software, io,
            ask.map is None, ask.rate, receiver.presets.io_lost_ms, ask.broker,
        )  # fmt: skip
        self.reporter = Reporter(opening, Heard(say, self._restarted, self._lost, self._asked))
        self._ask, self._clock = ask, clock
        self._rig: Rig | None = None
        self._now: ToldNow | None = None
        self._doing: set[asyncio.Task[None]] = set()

    def attach(self, rig: Rig) -> None:
        """This is the rig."""
        self._rig = rig
        if self._ask.tells:
            self._now = ToldNow(rig, self.reporter.tell, SCAN_MS, self._ask.rate)

    def scanned(self) -> None:
        """A scan is done."""
        if self._now:
            self._now.scanned()

    def happened(self) -> None:
        """Something was written down."""
        if self._now:
            self._now.happened()

    def cycle(self, record: CycleRecord) -> None:
        """A cycle ended."""
        if self._now:
            self._now.cycle(record)

    def _restarted(self, how: str) -> None:
        if self._rig:
            self._rig.tell("REPORTER_RESTARTED", how)

    def _lost(self, count: int) -> None:
        if self._rig:
            self._rig.tell("RECORDS_LOST", f"{count} records")

    def _asked(self, number: int, command: str, who: str, expires: str) -> None:
        doing = asyncio.get_running_loop().create_task(self._do(number, command, who, expires))
        self._doing.add(doing)
        doing.add_done_callback(self._doing.discard)

    async def _do(self, number: int, command: str, who: str, expires: str) -> None:
        if self._rig is None or self._clock.date() > datetime.fromisoformat(expires):
            reasons: tuple[str, ...] = (LATE,)
        else:
            reasons = await self._rig.desk.request(command, REMOTE, who)
        self.reporter.answer(number, reasons)
