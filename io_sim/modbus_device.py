"""The simulated receiver as remote I/O: the plant behind a wire, with the watchdog of an I/O module."""

from collections.abc import Callable, Mapping

from controller.clock import Clock
from controller.image import FIELD_INPUTS, Inputs, Outputs
from controller.modbus.exchange import Wire
from controller.modbus.point_map import PointMap
from io_sim.failures import CATALOGUE
from io_sim.plant import Plant
from io_sim.watchdog import Watchdog

CATCH_UP_MS = 1_000
"""The most that passes in one step; what it came later than that, the plant stood still."""
LIFE_COUNTS = 65_536


class ModbusDevice:
    """
    One device; `step` lets the time pass that the clock has shown since the last.

    Args:
        plant: What is simulated.
        wire: The device's end.
        point_map: What goes over the wire.
        clock: The time of the plant.
        room: Real time, in which the controller lives.
        tell: Takes a line for the screen.
    """

    def __init__(
        self,
        plant: Plant,
        wire: Wire,
        point_map: PointMap,
        clock: Clock,
        room: Clock,
        tell: Callable[[str], None],
    ) -> None:
        self.plant, self._wire, self._clock, self._room, self.tell = plant, wire, clock, room, tell
        self._watchdog = Watchdog(point_map.watchdog_ms)
        self._inputs = [place.name for place in point_map.inputs]
        self.people = Inputs()
        """What people and other machines do: the inputs that no instrument drives."""
        self._plant_ms = clock.now_ms()
        self._life = self._session = 0
        self._shown = Outputs()

    @property
    def held(self) -> Outputs:
        """What the outputs are now."""
        return self._watchdog.held

    @property
    def is_heard(self) -> bool:
        """A controller writes, and its life counter moves."""
        return self._watchdog.is_heard

    def step(self) -> None:
        """Takes what the controller wrote, lets the plant move, hands over its inputs."""
        self._tell_link()
        safely_left = not self._session and self.held == Outputs()
        received = self._wire.newest
        if received and received.session != self._wire.session:
            received = None  # of a link that is gone: whoever wrote it may have been dead for long
        if self._watchdog.look(received, self._room.now_ms()) and not safely_left:
            limit_ms = self._watchdog.limit_ms
            said = f"watchdog: the controller's life counter stands still for over {limit_ms} ms"
            self.tell(f"{said}: outputs at their safe values")
        inputs = self.plant.advance(self.held, self._due_ms(self._clock.now_ms()), self.people)
        self._life = (self._life + 1) % LIFE_COUNTS
        self._wire.hand_over({name: int(getattr(inputs, name)) for name in self._inputs}, self._life)
        self._tell_outputs()

    def press(self, point: str, value: bool) -> None:
        """
        Sets an input that no instrument drives, until it is set otherwise.

        Raises:
            ValueError: No such contact, or the plant drives it.
        """
        if point in FIELD_INPUTS or not isinstance(Inputs._field_defaults.get(point), bool):
            msg = f"{point} is no contact that people press"
            raise ValueError(msg)
        self.people = self.people._replace(**{point: value})

    @property
    def failed(self) -> Mapping[str, float]:
        """The failure modes that are not healthy now, with their amounts."""
        amounts = {mode.id: self.plant.amount(mode.id) for mode in CATALOGUE}
        return {mode: amount for mode, amount in amounts.items() if amount}

    def _due_ms(self, now_ms: int) -> int:
        """Time for the plant to pass now, whole plant steps; the rest is kept for the next."""
        self._plant_ms = max(self._plant_ms, now_ms - CATCH_UP_MS)
        due_ms = (now_ms - self._plant_ms) // self.plant.step_ms * self.plant.step_ms
        self._plant_ms += due_ms
        return due_ms

    def _tell_link(self) -> None:
        before, self._session = self._session, self._wire.session
        if before and before != self._session:
            safe = self.is_heard and self.held == Outputs()
            self.tell("the controller has left" + (", outputs at their safe values" if safe else ""))
        if self._session and before != self._session:
            self.tell("a controller is connected")

    def _tell_outputs(self) -> None:
        before, self._shown = self._shown, self.held
        if before != self._shown:
            both = zip(Outputs._fields, before, self._shown, strict=True)
            self.tell(", ".join(f"{name} {'on' if now else 'off'}" for name, was, now in both if was != now))
