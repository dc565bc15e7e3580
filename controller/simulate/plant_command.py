"""`receiver plant`: the simulated receiver as a Modbus device, in real time."""

import asyncio
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

from controller.clock import Clock, WallClock
from controller.modbus.client_wire import ClientWire
from controller.modbus.point_map import PointMap
from controller.modbus.server_wire import ServerWire
from controller.modbus.wire import make_wire
from controller.panel.rig import Reasons, Status
from controller.panel.server import Panel
from controller.problems import together
from controller.scan.lateness import Lateness
from controller.scan.outbox import Outbox
from controller.scan.realtime import settle
from controller.scan.stop import Stop
from controller.scan.ticker import Ticker, Ticks
from controller.settings import load_station_map
from io_sim.modbus_device import ModbusDevice
from io_sim.parameters import PlantParameters
from io_sim.plant import Plant
from io_sim.settings import load_plant

STEP_MS = 5
PRESSED_MS, LET_GO_MS = 1_000, 1_300
ENDS = "the simulated plant ends, as a machine without power; once more ends at once"


class Ask(NamedTuple):
    """A plant as asked for."""

    folder: Path
    name: str
    map: PointMap
    plant: PlantParameters
    host: str | None  # in place of that of the map
    port: int | None
    rate: float
    for_ms: int | None
    start: bool  # somebody presses start when a controller has come
    fifo: bool = False


def read_ask(
    folder: Path,
    *,
    address: tuple[str, int] | None,
    rate: float,
    for_ms: int | None,
    start: bool,
    fifo: bool,
) -> Ask:
    """
    What was asked for, with the station's files.

    Raises:
        StationError: One of them is wrong, or there is no modbus.yaml.
    """
    (station, found), plant = together(lambda: load_station_map(folder), lambda: load_plant(folder))
    host, port = address or (None, None)
    return Ask(folder, station.receiver.name, found, plant, host, port, rate, for_ms, start, fifo)


class SimulatedStation:
    """The plant behind its wire, for who drives it and for the panel socket."""

    def __init__(self, ask: Ask, device: ModbusDevice, clock: Clock, room: Clock) -> None:
        """`clock` is the plant's; `room` that of whoever presses start, and of the controller."""
        self._ask, self._device, self._clock, self._room = ask, device, clock, room
        self.said = "modbus"
        """Where it listens, or whom it asks."""
        self._ends: dict[str, int] = {}
        self._came_ms: int | None = None
        self.lateness = Lateness()

    async def run(self, ticks: Ticks, stop: Callable[[], str]) -> str:
        """Until the time is over or `stop` says why; says why."""
        start_ms = self._clock.now_ms()
        while not (said := stop()):
            if self._ask.for_ms is not None and self._clock.now_ms() - start_ms >= self._ask.for_ms:
                return "the time is over"
            tick = await ticks.next()
            self.lateness.take(tick.late_us, tick.missed)
            self.step()
        return said

    def step(self) -> None:
        """One scan of the device."""
        now_ms = self._clock.now_ms()
        for mode in [mode for mode, end_ms in self._ends.items() if end_ms <= now_ms]:
            self.fail(mode, 0.0, None)
        self._device.step()
        if self._ask.start:
            self._press(self._room.now_ms())

    def _press(self, now_ms: int) -> None:
        if self._came_ms is None:
            self._came_ms = now_ms if self._device.is_heard else None
            return
        held = PRESSED_MS <= now_ms - self._came_ms < LET_GO_MS
        self._device.press("start_pb", held)

    def status(self) -> Status:
        """As `panel.rig.SimulatedPlant`."""
        failures: Mapping[str, float] = self._device.failed
        return Status(
            station=self._ask.name, kind="plant", io=self.said, real=False,
            at_ms=self._clock.now_ms(), failures=dict(failures),
        )  # fmt: skip

    def fail(self, mode: str, amount: float, for_ms: int | None, who: str = "") -> Reasons:
        """As `panel.rig.SimulatedPlant`."""
        try:
            self._device.plant.fail(mode, amount)
        except ValueError as no:
            return (str(no),)
        self._ends.pop(mode, None)
        if amount and for_ms is not None:
            self._ends[mode] = self._clock.now_ms() + for_ms
        said = f"FAILED {mode}, amount {amount:.2g}" if amount else f"failure ended: {mode}"
        self._device.tell(f"{said} ({who})" if who else said)
        return ()


def run(ask: Ask, say: Callable[[str], None]) -> None:
    """
    Runs it; `say` takes the lines for the screen, in another thread.

    Raises:
        LinkError: It cannot listen there, or only with a list of who may connect.
        PanelError: Another plant of this station runs.
    """
    screen = Outbox("screen")

    def shown(line: str) -> None:
        screen.put(lambda: say(line))

    try:
        asyncio.run(_run(ask, shown))
    finally:
        screen.close()


async def _run(ask: Ask, say: Callable[[str], None]) -> None:
    clock, room = WallClock(ask.rate), WallClock()
    wire = make_wire(ask.map, "device", room, host=ask.host, port=ask.port)

    def tell(line: str) -> None:
        failed = "".join(f"  [FAILED {mode}={amount:.2g}]" for mode, amount in device.failed.items())
        say(f"{clock.now_ms() / 1_000:9.2f} s  {line}{failed}")

    device = ModbusDevice(Plant(ask.plant), wire, ask.map, clock, room, tell)
    station = SimulatedStation(ask, device, clock, room)
    with Stop(say, ENDS) as stop:
        async with Panel(ask.folder, station, plant=True):
            station.step()  # whoever connects first finds the instruments at rest, not an empty image
            await wire.start()
            try:
                station.said = _address(ask, wire)
                rate = "" if ask.rate == 1 else f", {ask.rate:g} times real time but for link and watchdog"
                if told := settle(ask.fifo):
                    say(told)
                say(f"{ask.name}: simulated plant, {station.said}{rate}; no machine moves")
                async with Ticker(STEP_MS, rate=max(ask.rate, 1)) as ticks:
                    ended = await station.run(ticks, stop)
            finally:
                await wire.close()
    say(station.lateness.said())
    say(f"ended: {ended}")


def _address(ask: Ask, wire: ClientWire | ServerWire) -> str:
    """Where it listens, with the port that the system has chosen; or whom it asks."""
    link = ask.map.link
    host = ask.host or link.host
    if isinstance(wire, ServerWire):
        return f"listens at {host}:{wire.port}"
    return f"asks {host}:{link.port if ask.port is None else ask.port}"
