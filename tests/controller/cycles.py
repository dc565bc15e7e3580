"""A few batches of logic and plant together, measured: what a prediction is held against."""

from collections import defaultdict
from typing import NamedTuple

from controller.engines import generated
from controller.engines.compiled import compiled
from controller.image import Inputs, Outputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import Step
from io_sim.compiled import compiled_advance, float_array, int_array
from io_sim.constants import at_rest, derived, flat
from io_sim.failures import CATALOGUE
from io_sim.formulas_air import STANDARD_PA, air_density_kg_m3
from io_sim.parameters import PlantParameters
from io_sim.state import BODY_PA, State

SCAN_MS = 10
PLANT_STEPS = 2
START_AT = Inputs._fields.index("start_request")
STEADY_AFTER_MS = 5_000  # in convey
LONGEST_S = 1_200


class Measured(NamedTuple):
    """Means over whole batches."""

    rate_kg_h: float
    vacuum_pa_v: float  # dirty side, in convey after the line has filled
    air_nm3_t: float
    cycle_ms: float
    step_ms: dict[str, float]


class Rig:
    """Logic and plant compiled, scan by scan."""

    def __init__(self, plant: PlantParameters, presets: Presets) -> None:
        logic = Logic(RECEIVER)
        self.names = list(logic.interlock_names)
        self._scan, self._advance = compiled(logic), compiled_advance()
        self._step_at = list(logic.memory).index("step")
        self._par, self._state = float_array(flat(plant)), float_array(at_rest(plant))
        self._failures = float_array([0.0] * len(CATALOGUE))
        self._memory = int_array(generated.flat(logic))
        self._presets = int_array([int(value) for value in presets])
        self._inputs = int_array([int(value) for value in Inputs()])
        self._outputs = int_array([int(value) for value in Outputs()])
        self._acts = int_array([0] * len(self.names))
        self._air_pa = derived(plant).air_pa

    def scan(self, start: bool) -> Step:
        """One scan, with or without a start request; the step it ends in."""
        self._advance(
            self._state, self._par, self._failures, self._outputs, self._inputs, PLANT_STEPS,
            SCAN_MS / PLANT_STEPS / 1_000.0,
        )  # fmt: skip
        self._inputs[START_AT] = int(start)
        self._scan(self._memory, self._inputs, self._presets, SCAN_MS, self._outputs, self._acts)
        return Step(int(self._memory[self._step_at]))

    def state(self) -> State:
        return State(*map(float, self._state))

    def vacuum_pa_v(self) -> float:
        return float(self._air_pa - self._state[BODY_PA])

    def acting(self) -> list[str]:
        return [name for name, acts in zip(self.names, self._acts, strict=True) if acts]


def measured(plant: PlantParameters, presets: Presets, batches: int = 3) -> Measured:
    """Start, leave the first batch aside, measure the next ones; fails if the station does not get so far."""
    rig = Rig(plant, presets)
    step, since_ms, begun, start_ms = Step.REST, 0, 0, 0
    start = rig.state()
    step_ms: dict[str, float] = defaultdict(float)
    vacuums: list[float] = []
    for now_ms in range(0, LONGEST_S * 1_000, SCAN_MS):
        before, step = step, rig.scan(start=now_ms == 3_000)
        if step != before:
            since_ms = now_ms
            assert step not in (Step.FAULT, Step.LEVEL_HOLD), (step.name, now_ms, rig.acting())
            begun += step == Step.SEAL
            if step == Step.SEAL and begun == 2:
                start, start_ms = rig.state(), now_ms
            if step == Step.SEAL and begun == batches + 2:
                return _means(start, rig.state(), now_ms - start_ms, batches, step_ms, vacuums)
        if begun > 1:
            step_ms[step.name] += SCAN_MS
            if step == Step.CONVEY and now_ms - since_ms >= STEADY_AFTER_MS:
                vacuums.append(rig.vacuum_pa_v())
    message = f"{begun} batches begun in {LONGEST_S} s; stands in {step.name}"
    raise AssertionError(message)


def _means(
    start: State, end: State, ms: int, batches: int, step_ms: dict[str, float], vacuums: list[float]
) -> Measured:
    delivered = end.delivered_kg - start.delivered_kg
    used = sum(
        getattr(end, name) - getattr(start, name)
        for name in ("motive_air_kg", "pulse_air_kg", "cylinder_air_kg")
    )
    normal_kg_m3 = air_density_kg_m3(STANDARD_PA, 273.15)
    return Measured(
        delivered / ms * 3.6e6,
        sum(vacuums) / len(vacuums),
        used / normal_kg_m3 / delivered * 1e3,
        ms / batches,
        {name: total / batches for name, total in step_ms.items()},
    )
