"""An hour of logic and plant in the closed loop, measured: what a prediction is held against."""

from collections import defaultdict
from functools import cache
from typing import NamedTuple

from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import Step
from controller.simulate.executors import Executor, best, executor
from controller.simulate.station_loop import StationLoop
from io_sim.constants import derived
from io_sim.formulas_air import STANDARD_PA, air_density_kg_m3
from io_sim.parameters import PlantParameters

HOUR_MS = 3_600_000
STEADY_AFTER = 500  # scans in convey
TOTALS = ("delivered_kg", "motive_air_kg", "pulse_air_kg", "cylinder_air_kg")


class Measured(NamedTuple):
    """Means over the whole batches of the hour."""

    batches: int
    rate_kg_h: float
    vacuum_pa_v: float  # dirty side, in convey after the line has filled
    air_nm3_t: float
    cycle_ms: float
    step_ms: dict[str, float]


@cache
def _parts() -> tuple[Logic, Executor]:
    logic = Logic(RECEIVER)
    return logic, executor(best(), logic)


def measured(plant: PlantParameters, presets: Presets, for_ms: int = HOUR_MS) -> Measured:
    """Start, leave the first batch aside, measure whole batches; a trip or a hold fails the test."""
    air_pa = derived(plant).air_pa
    loop = StationLoop(_parts()[0], presets, plant, _parts()[1])
    loop.run(300)
    loop.press("start_request", 1)
    loop.run(1)
    loop.press("start_request", 0)
    seals: list[tuple[int, list[float]]] = []
    step_ms: dict[str, float] = defaultdict(float)
    vacuums: list[float] = []
    while loop.now_ms < for_ms:
        before = loop.remembers("step")
        segment = loop.run(1_000)
        step = loop.remembers("step")
        assert step not in (Step.FAULT, Step.LEVEL_HOLD), (Step(step).name, loop.now_ms, loop.acting())
        if seals:
            step_ms[Step(before).name] += segment.scans * loop.scan_ms
        if before == Step.CONVEY and seals:
            ages = segment.column("step_ms")
            vacuums += [
                air_pa - body_pa
                for age, body_pa in zip(ages, segment.reading("body_pa"), strict=True)
                if age >= STEADY_AFTER * loop.scan_ms
            ]
        if step == Step.SEAL != before:
            seals.append((loop.now_ms, [loop.reading(name) for name in TOTALS]))
    return _means(seals[1:], step_ms, vacuums)


def _means(seals: list[tuple[int, list[float]]], step_ms: dict[str, float], vacuums: list[float]) -> Measured:
    (start_ms, start), (end_ms, end) = seals[0], seals[-1]
    delivered, *air = (b - a for a, b in zip(start, end, strict=True))
    batches = len(seals) - 1
    return Measured(
        batches,
        delivered / (end_ms - start_ms) * 3.6e6,
        sum(vacuums) / len(vacuums),
        sum(air) / air_density_kg_m3(STANDARD_PA, 273.15) / delivered * 1e3,
        (end_ms - start_ms) / batches,
        {name: total / (batches + 1) for name, total in step_ms.items()},
    )
