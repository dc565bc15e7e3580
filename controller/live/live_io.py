"""What a rig runs on: an I/O port with what belongs to it, real or simulated."""

from collections.abc import Awaitable, Callable, Mapping
from typing import NamedTuple, Protocol

from controller.modbus.health import Health
from controller.port import IoPort

GOOD = Health("good", "", 0, None, 0)
"""Of what has no link."""


class SimulatedMachine(Protocol):
    """The plant behind simulated I/O."""

    def press(self, point: str, value: int) -> None:
        """Sets an input that no instrument drives, until it is set otherwise."""

    def fail(self, mode: str, amount: float = 1.0) -> None:
        """Sets a failure mode, 0 ends it. Raises ValueError, in words, for one that there is not."""

    @property
    def failed(self) -> Mapping[str, float]:
        """The failure modes that are not healthy now, with their amounts."""

    def reading(self, name: str) -> float:
        """A field of the plant's state."""


async def _at_once() -> None:
    pass


class LiveIo(NamedTuple):
    """A port, and how it begins and ends."""

    port: IoPort
    said: str  # "simulated", or what the wire is: "modbus 127.0.0.1:1502"
    machine: SimulatedMachine | None = None  # None: taken for real I/O, a machine may move
    begin: Callable[[], Awaitable[None]] = _at_once
    """Connects and waits for the first image. Raises LinkError where none comes."""
    end: Callable[[], Awaitable[bool]] | None = None
    """Hands over safe outputs and closes; whether they are known to have arrived. None: `port.close` does."""
    health: Callable[[], Health] = lambda: GOOD
    """How the link stands."""

    @property
    def real(self) -> bool:
        """Other than the simulated plant in this process."""
        return self.machine is None

    async def shut(self) -> bool:
        """Safe outputs, closed; whether they are known to have arrived."""
        if self.end is not None:
            return await self.end()
        self.port.close()
        return True
