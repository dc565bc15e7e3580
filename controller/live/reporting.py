"""Ties a rig to its reporter: what the rig tells of this moment, and the commands that come back."""

import asyncio
from collections.abc import Callable
from pathlib import Path
from uuid import uuid4

from controller.clock import machine_ms
from controller.live.desk import NOT_BEGUN, REMOTE
from controller.live.reporter import Heard, Reporter
from controller.live.rig import Rig
from controller.live.run_ask import SCAN_MS, Ask
from controller.live.told_now import ToldNow
from controller.records import CycleRecord
from controller.reporter.lines import Opening
from controller.reporting.mqtt.embedded import UNPROTECTED, here
from controller.sheets.fitted import fitted

NOT_ALLOWED = "services.yaml lets no commands in"
RAN_MS = 60_000
"""A kill takes no more than this of the time that the controller is known to have run."""


class Reporting:
    """
    One reporter and, as soon as there is one, its rig.

    Args:
        ask: The run.
        run: Where records are written.
        software: Version.
        io: What the rig runs on, in words.
        say: Takes words for the screen.
        at_ms: Of the clock that the end of a command is meant in.
    """

    def __init__(
        self, ask: Ask, run: Path, software: str, io: str, say: Callable[[str], None],
        at_ms: Callable[[], int] = machine_ms,
    ) -> None:  # fmt: skip
        receiver, services = ask.station.receiver, ask.services
        if ask.broker:
            near = here(services.mqtt, ask.folder)
            if services.mqtt and near.commands != services.mqtt.commands:
                say(UNPROTECTED)
            services = services.model_copy(update={"mqtt": near})
        opening = Opening(
            run=str(run.resolve()), kept=ask.state is not None and ask.out is None,
            station=str(ask.folder.resolve()), services=services.model_dump_json(exclude_none=True),
            broker=ask.broker, fitted=sorted(fitted(ask.station)), name=receiver.name, boot=str(uuid4()),
            software=software, io=io, simulated=ask.map is None, rate=ask.rate,
            old_ms=receiver.presets.io_lost_ms,
        )  # fmt: skip
        self.reporter = Reporter(opening, Heard(say, self._restarted, self._lost, self._asked))
        self._ask, self._at_ms, self._mqtt = ask, at_ms, services.publishing
        self._rig: Rig | None = None
        self._now: ToldNow | None = None
        self._ran_ms = 0
        self._doing: set[asyncio.Task[None]] = set()

    def attach(self, rig: Rig) -> None:
        """This is the rig."""
        self._rig = rig
        if self._ask.tells:
            self._now = ToldNow(rig, self.reporter.tell, SCAN_MS, self._ask.rate)

    def scanned(self) -> None:
        """A scan is done."""
        if self._rig and self._rig.now_ms >= self._ran_ms + RAN_MS:
            self._ran_ms = self._rig.now_ms
            self.reporter.tell("ran", self._ran_ms)
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

    def _lost(self, count: int, why: str) -> None:
        if self._rig:
            self._rig.records_lost(count, why)

    def _asked(self, number: int, command: str, who: str, end_ms: int, id: str) -> None:
        doing = asyncio.get_running_loop().create_task(self._do(number, command, who, end_ms, id))
        self._doing.add(doing)
        doing.add_done_callback(self._doing.discard)

    async def _do(self, number: int, command: str, who: str, end_ms: int, id: str) -> None:
        reasons: tuple[str, ...]
        if self._mqtt is None or self._mqtt.commands != "allowed":
            reasons = (NOT_ALLOWED,)
        elif self._rig is None:
            reasons = (NOT_BEGUN,)
        else:
            reasons = await self._rig.desk.request(
                command, REMOTE, who, late=lambda: self._at_ms() > end_ms, id=id
            )
        self.reporter.answer(number, reasons)
