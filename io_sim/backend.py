"""The simulated receiver as an I/O port: the plant in this process, moved by the scans themselves."""

from controller.clock import Clock
from controller.image import FIELD_INPUTS, Inputs, Outputs
from controller.port import NEVER_MS, IoError, OutputGate
from io_sim.failures import CATALOGUE
from io_sim.parameters import PlantParameters
from io_sim.plant import Plant

CATCH_UP_MS = 1_000
"""The most that passes in one read; what a scan was later than that, the plant stood still."""


class SimulatedIo:
    """
    An `IoPort` over a plant in process; time passes for the plant in `read`, once a scan.

    With a clock as much passes as on the clock since the last read, in whole plant steps; without one
    `scan_ms`. `press`, `request`, `force`, `fail` and their opposites act from the next read on.

    Interpreted, a scan of 10 ms takes 0.15 ms. Compiled it takes 0.03 ms, for 2 s and more at the start:
    worth it from ten times real time on. Constants put in (`io_sim.put_in`) would save a fifth, but each
    change of a failure would hold the scan up for 0.2 s.
    """

    def __init__(
        self,
        parameters: PlantParameters | None = None,
        *,
        clock: Clock | None = None,
        scan_ms: int = 10,
        watchdog_ms: int = 500,
        seed: int = 1,
        compiled: bool = False,
    ) -> None:
        """
        Build the plant at power-up.

        Args:
            parameters: What is simulated; the medium station if left out.
            clock: How much time passes between two reads; `scan_ms` each time if left out.
            scan_ms: Without a clock: time from read to read, a whole number of plant steps of 5 ms.
            watchdog_ms: Outputs that nobody wrote anew for longer drop to their safe values.
            seed: For transmitter noise and feed variation.
            compiled: Run the plant through Numba; needs the extra `fast`.

        Raises:
            ValueError: As `Plant`, or `scan_ms` is no whole number of plant steps.
        """
        self.plant = Plant(parameters, seed=seed, compiled=compiled)
        if scan_ms < self.plant.step_ms or scan_ms % self.plant.step_ms:
            msg = f"scan_ms = {scan_ms} is not a whole number of plant steps of {self.plant.step_ms} ms"
            raise ValueError(msg)
        self._clock, self._scan_ms, self._watchdog_ms = clock, scan_ms, watchdog_ms
        self._scans_ms = 0  # without a clock: the time that its scans make
        self._plant_ms: int | None = None  # how far the plant has come; None before the first read
        self._read_ms = 0
        self._written_ms: int | None = None
        self._held, self._gate, self._lost = Outputs(), OutputGate(), False
        self._people = Inputs()
        self._requests: dict[str, bool] = {}
        self._forced: dict[str, int] = {}
        self._life = 0
        self._closed = False

    @property
    def held(self) -> Outputs:
        """What the outputs of the hardware are now."""
        return self._held if self._silent_ms() <= self._watchdog_ms else Outputs()

    def read(self) -> Inputs:
        """As promised; the first one finds the plant at power-up."""
        self._still_open()
        due_ms, age_ms = self._due_ms()
        self._lost = self._lost or max(age_ms, self._silent_ms()) > self._watchdog_ms
        self._life = (self._life + 1) % 65_536
        age_ms = NEVER_MS if self._lost else age_ms if self._clock else 0
        people = self._people._replace(io_life=self._life, image_age_ms=age_ms, **self._requests)
        self._requests = {}
        return self._passed(due_ms, people)._replace(**self._forced)  # type: ignore[arg-type]

    def write(self, outputs: Outputs) -> None:
        """As promised; acts from the next read on."""
        self._still_open()
        if self._lost:
            self._gate.shut()
        self._held, self._written_ms = self._gate.passed(Outputs._make(map(bool, outputs))), self._now_ms()
        self._lost = self._lost and not self._gate.open

    def close(self) -> None:
        """As promised."""
        self._closed, self._held = True, Outputs()

    def press(self, point: str, value: int) -> None:
        """
        Set an input that no instrument drives, until it is set otherwise.

        Raises:
            ValueError: No such input, or the plant drives it: `force` is for those.
        """
        if _input(point) in FIELD_INPUTS:
            msg = f"{point} is driven by the simulated plant; force it, or let a part fail"
            raise ValueError(msg)
        self._people = self._people._replace(**{point: _typed(point, value)})  # type: ignore[arg-type]

    def request(self, point: str) -> None:
        """Set a request for one read. Raises ValueError for anything that is not a request of the shell."""
        if not _input(point).endswith("_request"):
            msg = f"{point} is no request that lasts one scan; press it"
            raise ValueError(msg)
        self._requests[point] = True

    def force(self, point: str, value: int) -> None:
        """Make any input read so, whatever drives it. Raises ValueError where there is no such input."""
        self._forced[_input(point)] = _typed(point, value)

    def release(self, point: str) -> None:
        """End a force; without one nothing happens. Raises ValueError where there is no such input."""
        self._forced.pop(_input(point), None)

    @property
    def forced(self) -> dict[str, int]:
        """What is forced now."""
        return dict(self._forced)

    def fail(self, mode: str, amount: float = 1.0, over_s: float = 0.0) -> None:
        """As `Plant.fail`."""
        self.plant.fail(mode, amount, over_s)

    def heal(self, mode: str) -> None:
        """As `Plant.heal`."""
        self.plant.heal(mode)

    @property
    def failed(self) -> dict[str, float]:
        """The failure modes that are not healthy now, with their amounts."""
        amounts = {mode.id: self.plant.amount(mode.id) for mode in CATALOGUE}
        return {mode: amount for mode, amount in amounts.items() if amount}

    def _still_open(self) -> None:
        if self._closed:
            raise IoError("the simulated I/O is closed", after_ms=0, retry=False)  # noqa: EM101

    def _now_ms(self) -> int:
        return self._clock.now_ms() if self._clock else self._scans_ms

    def _silent_ms(self) -> int:
        """Since the last write; none yet is no silence."""
        return 0 if self._written_ms is None else self._now_ms() - self._written_ms

    def _due_ms(self) -> tuple[int, int]:
        """Time for the plant to pass now, in whole steps (the rest is kept); time since the last read."""
        self._scans_ms += self._scan_ms
        now_ms = self._now_ms()
        if self._plant_ms is None:
            self._plant_ms = now_ms - (0 if self._clock else self._scan_ms)
            self._read_ms = now_ms
        self._plant_ms = max(self._plant_ms, now_ms - CATCH_UP_MS)
        due_ms = (now_ms - self._plant_ms) // self.plant.step_ms * self.plant.step_ms
        self._plant_ms += due_ms
        age_ms, self._read_ms = now_ms - self._read_ms, now_ms
        return due_ms, age_ms

    def _passed(self, ms: int, people: Inputs) -> Inputs:
        """Time passes, with the outputs at their safe values once the watchdog is over; the image then."""
        over_ms = min(ms, max(0, self._silent_ms() - self._watchdog_ms))
        safe_ms = over_ms // self.plant.step_ms * self.plant.step_ms
        if not safe_ms:
            return self.plant.advance(self._held, ms, people)
        if safe_ms < ms:
            self.plant.advance(self._held, ms - safe_ms)
        return self.plant.advance(Outputs(), safe_ms, people)


def _input(point: str) -> str:
    if point not in Inputs._fields:
        msg = f"no input {point!r}; there are: {', '.join(Inputs._fields)}"
        raise ValueError(msg)
    return point


def _typed(point: str, value: int) -> int:
    """A contact as a boolean, a number as it is."""
    return bool(value) if isinstance(Inputs._field_defaults[_input(point)], bool) else value
