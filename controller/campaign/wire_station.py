"""
The simulated plant in real time behind a wire; at its other end a controller of which nothing else is known.

What it does is seen at the I/O alone: the inputs that it was given, the outputs that it wrote, and what the
plant made of them.
"""

from collections.abc import Callable, Collection, Iterable

from controller.campaign.conditions import Reading
from controller.campaign.link_failures import LINK_FAILURES
from controller.campaign.plant_end import PlantEnd
from controller.campaign.target import Chunk
from controller.image import Inputs, Outputs
from io_sim.parameters import PlantParameters
from io_sim.plant import Plant
from io_sim.watchdog import Watchdog

MOVES = tuple(name for name in Outputs._fields if not name.endswith(("lamp", "horn")))
THERE_MS, REST_MS, CALM_MS, PRESSED_MS, RESETS = 30_000, 60_000, 1_500, 400, 5
"""How long it may take to be there and to come to rest, how long it must rest; presses of a button."""


class NotAtRestError(Exception):
    """No controller is there, or it does not come to rest: nothing could be tried on it."""


class WireStation:
    """
    A plant behind a wire, a scan a chunk; time 0 is the moment at which the controller was at rest.

    Args:
        end: Of the wire, the plant's.
        plant: What is simulated.
        wired: The points that go over the wire.
        readings: Of the plant, by the names of conditions.
        seed: Of the plant's chance.
        watchdog_ms: So long the outputs hold while the controller's life counter stands still.
        scan_ms: From one advance of the plant to the next.

    Raises:
        NotAtRestError: No controller wrote its outputs, or it did not come to rest.
    """

    def __init__(
        self,
        end: PlantEnd,
        plant: PlantParameters,
        wired: Collection[str],
        readings: Iterable[tuple[str, Reading]],
        seed: int,
        watchdog_ms: int,
        scan_ms: int = 10,
    ) -> None:
        import numpy as np

        self._np, self._end, self.scan_ms = np, end, scan_ms
        self._wired = [name for name in Inputs._fields if name in wired]
        self._readings, self._watchdog = dict(readings), Watchdog(watchdog_ms)
        self._plant, self._people = Plant(plant, seed=seed), Inputs()
        self._failing: set[str] = set()
        self._life = 0
        self.now_ms, self._due_ms = 0, end.now_ms()
        self.latest_ms = 0
        self._come_to_rest()
        self._plant = Plant(plant, seed=seed)
        self.now_ms = self.latest_ms = 0

    # ---- as promised by `Target` ---------------------------------------------------------------------
    def advance(self, scans: int) -> Chunk:
        """As promised: one scan, at its time."""
        inputs = self._scan()
        table = self._np.array
        state = self._plant.state
        whole = {name: int(getattr(state, r.field) * r.times // 1) for name, r in self._readings.items()}
        return Chunk(
            self.now_ms, [], table([inputs], dtype="int64"),
            {name: table([value], dtype="int64") for name, value in whole.items()},
            table([self._held], dtype="int8"),
        )  # fmt: skip

    def back_to(self, chunk: Chunk, scans: int) -> Chunk:
        """As promised: a chunk is one scan, so there is nothing behind it."""
        assert scans == chunk.scans
        return chunk

    def step(self) -> int:
        """Nobody knows it."""
        return -1

    def point(self, name: str, value: int) -> None:
        """As promised."""
        kind = type(Inputs._field_defaults[name])
        self._people = self._people._replace(**{name: kind(value)})

    def fail(self, mode: str, amount: float, over_ms: int) -> None:
        """As promised, of the plant or of the link."""
        if mode not in LINK_FAILURES:
            self._plant.fail(mode, amount, over_ms / 1_000)
            return
        (self._failing.add if amount else self._failing.discard)(mode)
        if mode == "link_drops":
            (self._end.drop if amount else self._end.take_up)()

    def stand(self, ms: int) -> None:
        """Nobody can."""
        raise NotImplementedError

    def wake(self) -> None:
        """Nobody can."""
        raise NotImplementedError

    def reading(self, field: str) -> float:
        """As promised."""
        return float(getattr(self._plant.state, field))

    # ---- a scan --------------------------------------------------------------------------------------
    def _scan(self) -> Inputs:
        """The plant moves, its inputs are handed over; when the scan is over the outputs are looked at."""
        inputs = self._plant.advance(self._held, self.scan_ms, self._people)
        if "life_stands" not in self._failing:
            self._life = (self._life + 1) % 65_536
        self._end.hand_over({name: int(getattr(inputs, name)) for name in self._wired}, self._life)
        self._due_ms += self.scan_ms
        self._end.wait_until(self._due_ms, "link_silent" in self._failing)
        late_ms = self._end.now_ms() - self._due_ms
        self.latest_ms = max(self.latest_ms, late_ms)
        if late_ms >= self.scan_ms:
            self._due_ms += late_ms
        self.now_ms += self.scan_ms
        self._watchdog.look(self._end.newest, self._end.now_ms())
        return inputs

    @property
    def _held(self) -> Outputs:
        return self._watchdog.held

    # ---- before it begins ----------------------------------------------------------------------------
    def _come_to_rest(self) -> None:
        """Stop is pressed, then faults are reset, until nothing is called for and no lamp is lit."""
        self._until(lambda: self._end.newest is not None, 0, THERE_MS, "wrote its outputs")
        self.point("stop_healthy", 0)
        self._until(self._stands, CALM_MS, REST_MS, "stopped when it was told to")
        self.point("stop_healthy", 1)
        self._for(PRESSED_MS)
        for _ in range(RESETS):
            if self._held.fault_lamp:
                self.point("reset_pb", 1)
                self._for(PRESSED_MS)
                self.point("reset_pb", 0)
                self._for(PRESSED_MS)
        self._until(lambda: not any(self._held), CALM_MS, 2 * CALM_MS, "came to rest with all lamps off")

    def _stands(self) -> bool:
        return not self._held.run_lamp and not any(getattr(self._held, name) for name in MOVES)

    def _for(self, ms: int) -> None:
        end_ms = self.now_ms + ms
        while self.now_ms < end_ms:
            self._scan()

    def _until(self, so: Callable[[], bool], stays_ms: int, within_ms: int, said: str) -> None:
        end_ms, since_ms = self.now_ms + within_ms, self.now_ms
        while not so() or self.now_ms - since_ms < stays_ms:
            if self.now_ms >= end_ms:
                on = ", ".join(name for name, value in self._held._asdict().items() if value) or "none"
                msg = f"no controller {said} within {within_ms / 1_000:g} s; outputs on: {on}"
                raise NotAtRestError(f"{msg}. {self._end.said}" if self._end.said else msg)
            self._scan()
            since_ms = since_ms if so() else self.now_ms
