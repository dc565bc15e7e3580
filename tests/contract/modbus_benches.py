"""The Modbus port over loopback, in both roles of the controller; the other end shares no code with it."""

import asyncio
import struct
from collections.abc import Callable, Mapping
from contextlib import suppress

from contract.benches import WATCHDOG_MS, WIRED, Bench, Device
from wire_faults.fault_server import FaultServer, frame, right

from controller.backends.modbus_port import ModbusPort
from controller.image import Outputs
from controller.modbus.places import Link, Place, Role, Table
from controller.modbus.point_map import PointMap
from controller.modbus.wire import make_wire

UNIT, INPUTS_AT, OUTPUTS_AT, LIFE_AT = 1, 16, 300, 200
DEADLINE_S = 10.0  # of a busy machine; nothing takes so long
DEVICE_LIFE_AT, CONTROLLER_LIFE_AT = INPUTS_AT + len(WIRED), OUTPUTS_AT + len(Outputs._fields)


def contract_map(role: Role) -> PointMap:
    """
    A register for each input, then the life counter of the device: one request, so that an image is whole.

    The outputs are coils that the controller writes, with its counter elsewhere; or registers that it shows.
    """
    asks = role == "client"
    taken: Table = "input_register" if asks else "holding_register"
    return PointMap(
        "modbus.yaml",
        Link(role, "127.0.0.1", 0, UNIT, timeout_ms=200, retries=0, poll_ms=2, connections_max=2, idle_s=30, allow=()),
        WATCHDOG_MS,
        tuple(_point(name, taken, INPUTS_AT + k) for k, name in enumerate(WIRED)),
        tuple(
            _point(name, "coil" if asks else "input_register", OUTPUTS_AT + k)
            for k, name in enumerate(Outputs._fields)
        ),
        Place("life", "holding_register", LIFE_AT) if asks else Place("life", "input_register", CONTROLLER_LIFE_AT),
        Place("life", taken, DEVICE_LIFE_AT),
        None,
    )  # fmt: skip


def _point(name: str, table: Table, address: int) -> Place:
    if name.endswith("_ua"):
        return Place(name, table, address)
    return Place(name, table, address, "bool", None if table == "coil" else 0)


async def until(happened: Callable[[], bool]) -> None:
    async with asyncio.timeout(DEADLINE_S):
        while not happened():  # noqa: ASYNC110 (what it waits for is the product's own, without an event)
            await asyncio.sleep(0.001)


class ModbusBench(Bench):
    """What both roles share."""

    role: Role

    def __init__(self) -> None:
        super().__init__()
        self.device, self.muted = Device(self.clock), False

    def lay_on(self, port: int) -> None:
        self.wire = make_wire(contract_map(self.role), "controller", self.clock, port=port)
        self.port = ModbusPort(self.wire, self.clock, WATCHDOG_MS)

    @property
    def held(self) -> Outputs:
        return self.device.held

    @property
    def life(self) -> int:
        return self.device.life

    def show(self, image: Mapping[str, int]) -> None:
        self.device.shown = image


class ClientBench(ModbusBench):
    """The controller asks; the device answers."""

    role = "client"

    async def make(self) -> None:
        self.server = FaultServer(UNIT)
        self.server.before = self._refresh
        await self.server.listen()
        self.lay_on(self.server.port)

    def _refresh(self) -> None:
        """Between two requests, so that each request is answered from one image."""
        shown, refreshes = self.device.refresh()
        registers = self.server.tables["input_register"]
        registers[INPUTS_AT : DEVICE_LIFE_AT + 1] = [*(shown[name] for name in WIRED), refreshes]

    async def link(self) -> None:
        if not self.wire.session:
            await self.wire.start()
            await self.wire.ready(DEADLINE_S)

    async def exchange(self) -> None:
        if self.wire.session and not self.muted:
            done = self.wire.health.exchanges
            await until(lambda: self.wire.health.exchanges >= done + 2)  # begun before, and after
            self.take_note()

    def take_note(self) -> None:
        """The device acts on what stands in its tables."""
        coils = self.server.tables["coil"][OUTPUTS_AT : OUTPUTS_AT + len(Outputs._fields)]
        life = self.server.tables["holding_register"][LIFE_AT]
        self.device.take(dict(zip(Outputs._fields, coils, strict=True)), life)

    async def mute(self) -> None:
        self.muted, self.server.fault = True, lambda exchange: []

    async def speak(self) -> None:
        self.muted, self.server.fault = False, right
        done = self.wire.health.exchanges
        await until(lambda: self.wire.health.exchanges >= done + 2)

    async def relink(self) -> None:
        before = self.wire.session
        await self.server.gone()
        self.device.start_anew()
        for table in self.server.tables.values():
            table[:] = [0] * len(table)
        await self.server.listen()
        await until(lambda: self.wire.session > before)
        await self.exchange()

    async def end(self) -> None:
        await self.wire.close()
        await self.server.gone()


class ServerBench(ModbusBench):
    """The device, a scanner, asks; the controller answers."""

    role = "server"

    async def make(self) -> None:
        self.lay_on(0)
        self.writer: asyncio.StreamWriter | None = None
        self.transaction = 0

    async def link(self) -> None:
        if not self.writer:
            await self.wire.start()
            await self._connect()
            await self.exchange()

    async def _connect(self) -> None:
        self.reader, self.writer = await asyncio.open_connection("127.0.0.1", self.wire.port)

    async def _ask(self, pdu: bytes) -> bytes:
        assert self.writer
        self.transaction += 1
        self.writer.write(frame(self.transaction, UNIT, pdu))
        async with asyncio.timeout(DEADLINE_S):
            header = await self.reader.readexactly(7)
            reply = await self.reader.readexactly(struct.unpack_from(">H", header, 4)[0] - 1)
        assert struct.unpack_from(">H", header)[0] == self.transaction
        assert reply[0] == pdu[0], reply.hex()
        return reply

    async def exchange(self) -> None:
        """Read outputs and life counter (FC 04), then write the image, its counter last (FC 16)."""
        if not self.writer or self.muted:
            return
        count = len(Outputs._fields) + 1
        shown = await self._ask(struct.pack(">BHH", 4, OUTPUTS_AT, count))
        *outputs, life = struct.unpack(f">{count}H", shown[2:])
        self.device.take(dict(zip(Outputs._fields, outputs, strict=True)), life)
        image, refreshes = self.device.refresh()
        registers = [*(image[name] for name in WIRED), refreshes]
        packed = struct.pack(f">{len(registers)}H", *registers)
        await self._ask(struct.pack(">BHHB", 16, INPUTS_AT, len(registers), len(packed)) + packed)

    async def mute(self) -> None:
        self.muted = True

    async def speak(self) -> None:
        self.muted = False

    async def relink(self) -> None:
        self._hang_up()
        self.device.start_anew()
        await until(lambda: not self.wire.session)
        await self._connect()
        await self.exchange()

    def _hang_up(self) -> None:
        if self.writer:
            self.writer.close()

    async def end(self) -> None:
        self._hang_up()
        if self.writer:
            with suppress(ConnectionError):
                await self.writer.wait_closed()
        await self.wire.close()
