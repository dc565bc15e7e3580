"""A backend with its hardware on the bench, in stepped time: one kind for each backend."""

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from controller.backends.modbus_port import ModbusPort
from controller.clock import SteppedClock
from controller.image import FIELD_INPUTS, Inputs, Outputs
from controller.modbus.health import Health
from controller.modbus.wire import Received
from io_sim.backend import SimulatedIo

SCAN_MS, WATCHDOG_MS = 10, 300
WIRED = ("start_pb", "reset_pb", "acknowledge_pb", "stop_healthy", "safety_chain_healthy", "plant_enable",
         "remote_selected", *FIELD_INPUTS)  # fmt: skip
IMAGES = [{n: 12_000 + 1_000 * k if n.endswith("_ua") else k for n in WIRED} for k in (0, 1)]
"""Two images of the hardware that differ in every point."""


DRAWING = Outputs(source_cmd=True, vent_close_cmd=True)


class Bench:
    """What the promises are tried on. `linked`: there is another end that can fall silent or be lost."""

    linked = True
    port: Any

    def __init__(self) -> None:
        self.clock = SteppedClock()
        self.history: list[Outputs] = []  # what the hardware held, at each look

    async def __aenter__(self) -> "Bench":
        await self.make()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.end()

    async def make(self) -> None:
        """All that has to be waited for; no exchange yet."""

    async def link(self) -> None:
        """The other end is there: exchanges begin, if they have not."""

    async def scan_over(self) -> None:
        """A scan's time passes, then what was written is at the hardware, and what it shows can be read."""
        self.clock.sleep_until(self.clock.now_ms() + SCAN_MS)
        await self.exchange()
        self.history.append(self.held)

    async def pass_(self, ms: int) -> None:
        for _ in range(ms // SCAN_MS):
            await self.scan_over()

    async def exchange(self) -> None:
        raise NotImplementedError

    def show(self, image: Mapping[str, int]) -> None:
        """The hardware shows another image, all at once."""
        raise NotImplementedError

    @property
    def held(self) -> Outputs:
        """Outputs of the hardware."""
        raise NotImplementedError

    @property
    def life(self) -> int:
        """Life counter of the controller, as the hardware sees it."""
        raise NotImplementedError

    async def mute(self) -> None:
        """The other end says nothing, on a link that stands; until `speak`."""
        raise NotImplementedError

    async def speak(self) -> None:
        raise NotImplementedError

    async def relink(self) -> None:
        """The hardware loses power, and with it the link; both come back at once."""
        raise NotImplementedError

    async def end(self) -> None:
        """Everything that was started is stopped."""

    @property
    def losses(self) -> dict[str, Callable[[], Awaitable[None]]]:
        """Every way to lose the link; afterwards exchanges work."""

        async def silence() -> None:
            await self.mute()
            await self.pass_(WATCHDOG_MS + 50)
            await self.speak()

        async def deafness() -> None:
            await self.mute()
            for _ in range((WATCHDOG_MS + 50) // SCAN_MS):
                self.port.read()
                self.port.write(DRAWING)
                await self.scan_over()
            await self.speak()

        async def pause() -> None:
            await self.pass_(WATCHDOG_MS + 50)

        of_a_link = {"relink": self.relink, "silence": silence, "silence while scanning": deafness}
        return {"pause": pause} | (of_a_link if self.linked else {})


class SimulatedBench(Bench):
    """The plant in process."""

    linked = False

    def __init__(self) -> None:
        super().__init__()
        self.port = self.io = SimulatedIo(clock=self.clock, watchdog_ms=WATCHDOG_MS)

    async def exchange(self) -> None:
        pass

    def show(self, image: Mapping[str, int]) -> None:
        for point, value in image.items():
            self.io.force(point, value)

    @property
    def held(self) -> Outputs:
        return self.io.held


class Device:
    """Remote I/O: an image, its refreshes counted, outputs, and a watchdog on the life counter of the controller."""

    def __init__(self, clock: SteppedClock) -> None:
        self.clock = clock
        self.shown: Mapping[str, int] = {n: int(getattr(Inputs(), n)) for n in WIRED}
        self.refreshes = 0
        self.start_anew()

    def start_anew(self) -> None:
        """As after a loss of power."""
        self.life = 0
        self._moved_ms: int | None = None
        self._outputs = Outputs()

    def refresh(self) -> tuple[Mapping[str, int], int]:
        self.refreshes = (self.refreshes + 1) % 65_536
        return self.shown, self.refreshes

    def take(self, outputs: Mapping[str, int], life: int) -> None:
        self._outputs = Outputs(**{name: bool(value) for name, value in outputs.items()})
        if life != self.life:
            self.life, self._moved_ms = life, self.clock.now_ms()

    @property
    def held(self) -> Outputs:
        fed = self._moved_ms is not None and self.clock.now_ms() - self._moved_ms <= WATCHDOG_MS
        return self._outputs if fed else Outputs()


class MemoryWire:
    """
    The controller's end of a wire without a network: exchanges happen where the bench says so.

    `forgets`: as a wire must, it drops what was handed over when its link is lost, or longer ago than the watchdog.
    """

    def __init__(self, device: Device, forgets: bool = True) -> None:
        self.device, self.forgets = device, forgets
        self.newest: Received | None = None
        self.session = self.sessions = 0
        self.handed: tuple[Mapping[str, int], int] | None = None
        self.handed_ms = 0
        self.closed = False

    @property
    def health(self) -> Health:
        return Health("good" if self.session else "bad", "", 0, None, 0)

    def hand_over(self, values: Mapping[str, int], life: int, session: int | None = None) -> bool:
        if self.forgets and (not self.session or session not in (None, self.session)):
            return False
        self.handed, self.handed_ms = (values, life), self.device.clock.now_ms()
        return True

    def lose(self) -> None:
        self.session = 0
        if self.forgets:
            self.handed = None

    def join(self) -> None:
        self.sessions += 1
        self.session = self.sessions

    def exchange(self) -> None:
        at_ms = self.device.clock.now_ms()
        if self.forgets and at_ms - self.handed_ms > WATCHDOG_MS:
            self.handed = None
        if self.handed is not None:
            self.device.take(*self.handed)
        self.newest = Received(*self.device.refresh(), at_ms, self.session)

    async def start(self) -> None:
        self.join()

    async def ready(self, timeout_s: float) -> None:
        assert self.newest

    async def confirm(self, timeout_s: float) -> bool:
        if not self.session:
            return False
        self.exchange()
        return True

    async def close(self) -> None:
        self.closed = True


class MemoryBench(Bench):
    """The Modbus port over a wire without a network."""

    def __init__(self, forgets: bool = True) -> None:
        super().__init__()
        self.device = Device(self.clock)
        self.wire = MemoryWire(self.device, forgets)
        self.port = ModbusPort(self.wire, self.clock, WATCHDOG_MS)
        self.muted = False

    async def link(self) -> None:
        if not self.wire.session:
            self.wire.join()

    async def exchange(self) -> None:
        if self.wire.session and not self.muted:
            self.wire.exchange()

    def show(self, image: Mapping[str, int]) -> None:
        self.device.shown = image

    @property
    def held(self) -> Outputs:
        return self.device.held

    @property
    def life(self) -> int:
        return self.device.life

    async def mute(self) -> None:
        self.muted = True

    async def speak(self) -> None:
        self.muted = False

    async def relink(self) -> None:
        self.wire.lose()
        self.device.start_anew()
        self.wire.join()
        await self.exchange()
