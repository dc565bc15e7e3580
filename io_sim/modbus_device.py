"""
The simulated receiver as remote I/O: the plant behind a wire, with the watchdog of an I/O module.

Outputs hold while the controller's life counter moves. Where it stands still for the watchdog time, whatever
the reason, they drop to their safe values; what the controller writes with the next count acts again.
"""

from collections.abc import Callable

from controller.clock import Clock
from controller.image import Outputs
from controller.modbus.exchange import Wire
from controller.modbus.point_map import PointMap
from io_sim.backend import SimulatedIo


class ModbusDevice:
    """
    One device; `step` once in each of its scans.

    Args:
        io: The plant, which lives by the same clock, with the watchdog time of the map.
        wire: The device's end.
        point_map: What goes over the wire.
        clock: Tells how long the life counter has stood still.
        tell: Takes a line for the screen.
    """

    def __init__(
        self, io: SimulatedIo, wire: Wire, point_map: PointMap, clock: Clock, tell: Callable[[str], None]
    ) -> None:
        self.io, self._wire, self._clock, self.tell = io, wire, clock, tell
        self._watchdog_ms = point_map.watchdog_ms
        self._inputs = [place.name for place in point_map.inputs]
        self._heard = (0, -1)  # session and life counter of the image that was taken last
        self._heard_ms = 0
        self._shown = Outputs()
        self._dropped = True  # until a controller is heard
        self._session = 0

    @property
    def is_heard(self) -> bool:
        """A controller writes, and its life counter moves."""
        return not self._dropped

    def step(self) -> None:
        """Takes what the controller wrote, lets the plant move, hands over its inputs."""
        self._tell_link()
        received = self._wire.newest
        if received is not None and (received.session, received.life) != self._heard:
            self._heard, self._heard_ms = (received.session, received.life), self._clock.now_ms()
            outputs = {
                name: bool(value) for name, value in received.values.items() if name in Outputs._fields
            }
            self.io.write(Outputs(**outputs))
            self._dropped = False
        inputs = self.io.read()
        values = {name: int(getattr(inputs, name)) for name in self._inputs}
        self._wire.hand_over(values, inputs.io_life)
        self._tell_watchdog()
        self._tell_outputs()

    def _tell_link(self) -> None:
        before, self._session = self._session, self._wire.session
        if before and before != self._session:
            self.tell("the controller has left")
        if self._session and before != self._session:
            self.tell("a controller is connected")

    def _tell_watchdog(self) -> None:
        silent_ms = self._clock.now_ms() - self._heard_ms
        if not self._dropped and silent_ms > self._watchdog_ms:
            self._dropped = True
            said = f"watchdog: the controller's life counter stands still for over {self._watchdog_ms} ms"
            self.tell(f"{said}: outputs at their safe values")

    def _tell_outputs(self) -> None:
        before, self._shown = self._shown, self.io.held
        if before != self._shown:
            both = zip(Outputs._fields, before, self._shown, strict=True)
            self.tell(", ".join(f"{name} {'on' if now else 'off'}" for name, was, now in both if was != now))
