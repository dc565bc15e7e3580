"""A running rig as the register map shows it and asks of it."""

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from importlib.metadata import version

from controller.live.desk import REMOTE, By
from controller.live.rig import Rig
from controller.modbus.places import Link
from controller.records import CycleRecord
from controller.registers.now import Asked, Cycles, Now, software_numbers
from controller.registers.numbers import ReasonNumbers
from controller.registers.served import RegisterMap
from controller.reporting.services import Registers

WIRE = "modbus"


class PlantRegisters:
    """`registers.served.Receiver` over a rig; told of its cycles."""

    def __init__(self, rig: Rig) -> None:
        self._rig, self._cycles = rig, Cycles()
        self._software = software_numbers(version("vacuum-receiver"))

    def cycle(self, record: CycleRecord) -> None:
        """A cycle ended."""
        self._cycles.take(record)

    @property
    def scan(self) -> int:
        """As promised."""
        return self._rig.scans

    def now(self, asked: Asked, *, commands: bool) -> Now:
        """As promised."""
        rig, memory, inputs, watch = self._rig, self._rig.memory, self._rig.inputs, self._rig.watch
        return Now(
            rig.scans, rig.now_ms, memory,
            rig.logic.interlock_names[memory.first_out - 1] if memory.first_out else "",
            inputs.image_age_ms, inputs.scans_late,
            remote=rig.remote_in_control,
            forced=bool(rig.desk.forcing.forced), failed=bool(rig.desk.failures),
            simulated=not rig.io.real, link_good=not rig.link, commands=commands,
            acting=watch.acting, standing=frozenset(watch.standing), unseen=frozenset(watch.unseen),
            counts=watch.counts, cycles=self._cycles, asked=asked, software=self._software,
        )  # fmt: skip

    async def request(self, command: str, who: str) -> tuple[str, ...]:
        """As promised."""
        return await self._rig.desk.request(command, REMOTE, f"{WIRE} {who}")

    def turned_away(self, command: str, who: str, why: str) -> None:
        """As promised."""
        self._rig.desk.turned_away(command, By(REMOTE, f"{WIRE} {who}"), why)

    def map(self, asked: Registers) -> RegisterMap:
        """The map as services.yaml asks for it; to be started."""
        link = Link(
            "server", asked.host, asked.port, asked.unit, timeout_ms=0, retries=0, poll_ms=0,
            connections_max=asked.connections_max, idle_s=asked.idle_s, allow=tuple(asked.allow),
        )  # fmt: skip
        numbers = ReasonNumbers(self._rig.logic)
        return RegisterMap(self, numbers, link, commands=asked.commands == "allowed")

    @asynccontextmanager
    async def served(self, asked: Registers, say: Callable[[str], None]) -> AsyncIterator[None]:
        """
        The map is served, if it is asked for.

        Raises:
            LinkError: It cannot listen there.
        """
        if not asked.serve:
            yield
            return
        served = self.map(asked)
        await served.start()
        try:
            say(f"registers at {asked.host}:{served.server.port}, commands {asked.commands}")
            yield
        finally:
            await served.close()
