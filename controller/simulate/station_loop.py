"""One station in the closed loop: what the run stands on between two pauses, and the trace of the last."""

from collections.abc import Sequence
from typing import Any

from controller.engines import generated
from controller.image import Inputs, Outputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.simulate.executors import Executor
from controller.simulate.segment import Segment, layout_of
from io_sim import failures
from io_sim.constants import at_rest, flat
from io_sim.parameters import PlantParameters
from io_sim.state import State

BLOCK = 1_000
"""Scans that the trace has room for."""


class StationLoop:
    """
    Logic and plant of one station, from power-up on.

    `press` and `fail` act from the next scan on. Scan k is at k x `scan_ms`; time 0 is power-up.
    """

    def __init__(
        self,
        logic: Logic,
        presets: Presets,
        plant: PlantParameters,
        executor: Executor,
        *,
        seed: int = 1,
        scan_ms: int = 10,
        step_ms: int = 5,
    ) -> None:
        self.plant_steps, rest = divmod(scan_ms, step_ms)
        if rest or not self.plant_steps:
            msg = f"a scan of {scan_ms} ms is not a whole number of plant steps of {step_ms} ms; change one"
            raise ValueError(msg)
        self.logic, self.scan_ms, self.now_ms = logic, scan_ms, 0
        self._run, self._advance, self._step_s = executor.loop, executor.advance, step_ms / 1_000
        self._whole, floats = executor.whole, executor.floats
        whole = self._whole
        self._presets, self._par = executor.presets(presets), floats(flat(plant))
        self._failures = floats(failures.healthy())
        self._memory = whole(generated.flat(logic))
        self._inputs, self._outputs = whole([*map(int, Inputs())]), whole([*map(int, Outputs())])
        self._acts = whole([0] * len(logic.interlock_names))
        self._acts_before = whole([0] * len(logic.interlock_names))
        self._state = floats(at_rest(plant, seed))
        self.layout = layout_of(logic)
        self.places, self.row = self.layout
        self.trace = whole([0] * (BLOCK * self.row))
        self.states = floats([0.0] * (BLOCK * len(State._fields)))

    def run(self, scans: int) -> Segment:
        """Up to `scans` scans, until something changes that somebody has to look at."""
        before, first_ms = [int(v) for v in self._memory], self.now_ms + self.scan_ms
        done = self._run(
            min(scans, BLOCK), self.scan_ms, self.plant_steps, self._step_s, self._presets, self._par,
            self._failures, self._memory, self._inputs, self._outputs, self._acts, self._acts_before,
            self._state, self.trace, self.states,
        )  # fmt: skip
        self.now_ms += int(done) * self.scan_ms
        return Segment(self, int(done), first_ms, before)

    def readings(self, name: str, scans: int) -> list[float]:
        """A field of the plant's `State` over the first scans of the last run."""
        width = len(State._fields)
        values = self.states[State._fields.index(name) : scans * width : width]
        return values if isinstance(values, list) else values.tolist()

    def kept(self) -> tuple[list[Any], int]:
        """All that the next scans depend on, to go on from here once more."""
        return [
            values[:] if isinstance(values, list) else values.copy() for values in self._moving()
        ], self.now_ms

    def restore(self, kept: tuple[list[Any], int]) -> None:
        """Back to what `kept` gave; the trace is not."""
        for values, saved in zip(self._moving(), kept[0], strict=True):
            values[:] = saved
        self.now_ms = kept[1]

    def wake(self, kept: dict[str, int]) -> None:
        """The controller after a loss of power: all is new but what it kept, and but for the plant."""
        self._memory[:] = self._whole(generated.flat(self.logic, kept))
        self._outputs[:] = self._whole([*map(int, Outputs())])
        self._acts[:] = self._whole([0] * len(self.logic.interlock_names))

    def stand(self, ms: int) -> None:
        """No controller for so long, whole scans: outputs at their safe values, the plant goes on."""
        self._outputs[:] = self._whole([*map(int, Outputs())])
        for _ in range(ms // self.scan_ms):
            self._advance(
                self._state,
                self._par,
                self._failures,
                self._outputs,
                self._inputs,
                self.plant_steps,
                self._step_s,
            )
            self.now_ms += self.scan_ms

    def _moving(self) -> list[Any]:
        return [self._memory, self._inputs, self._outputs, self._acts, self._state, self._failures]

    def press(self, point: str, value: int) -> None:
        """Sets an input that no instrument drives."""
        self._inputs[Inputs._fields.index(point)] = value

    def fail(self, mode: str, amount: float, over_s: float = 0.0) -> None:
        """Sets the amount of a failure mode, at once or growing to it; 0 ends it."""
        failures.put(self._failures, mode, amount, over_s)

    def remembers(self, name: str) -> int:
        """A value of the memory, now."""
        return int(self._memory[list(self.logic.memory).index(name)])

    def reading(self, name: str) -> float:
        """A field of the plant's `State`, now."""
        return float(self._state[State._fields.index(name)])

    def acting(self) -> Sequence[str]:
        """The interlocks that act now."""
        return [n for n, acts in zip(self.logic.interlock_names, self._acts, strict=True) if acts]
