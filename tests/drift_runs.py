"""
Normal days and drifting days of a station, on the simulated plant, with the drift charts looking on.

A normal day is not a quiet one: transmitters are noisy, each batch is fed at its own rate within a fifth of
the usual, the compressor's band moves the supply, and the vessel below stops the receiver when it is full.
A drift is put into the plant, a little more with each cycle; the records only show what the instruments saw.

`python tests/drift_runs.py [STATION] [CYCLES]` prints false alarms and detection delays.
"""

import random
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from statistics import fmean, pstdev
from typing import NamedTuple

from controller.drift import LEARNED, QUANTITIES, UP, State, Warned, is_good, observe
from controller.records import CycleRecord
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import Step
from controller.settings import load_station
from controller.simulate.executors import Executor, best, executor
from controller.simulate.failures_asked import Failures
from controller.simulate.operator import Operator
from controller.simulate.station_loop import StationLoop
from controller.simulate.station_run import StationRun
from controller.simulate.station_watch import Totals, Watcher
from io_sim.constants import at
from io_sim.parameters import PlantParameters
from io_sim.settings import load_plant

FEED_SHARE = 0.20  # either way, another rate for each batch
BAND_PA = 30_000  # the compressor's band at the station, either way
BAND_MS = (40_000, 150_000)  # from the bottom of the saw-tooth to its top
BAND_STEP_MS = 5_000
HEALTHY = LEARNED + 25
"""Cycles before a drift begins: the learned ones, and some that are judged."""
CONFIGS = Path(__file__).parents[1] / "configs"


class Drift(NamedTuple):
    """A part that gets worse by the cycle, and the charts that should say so."""

    name: str
    mode: str  # a failure mode of the plant
    amount: float  # reached after so many cycles, then kept
    cycles: int
    shown_by: tuple[str, ...]  # ids of quantities; one of them is enough


# fmt: off
DRIFTS = (
    Drift("flap slower", "flap_slow", 0.10, 200, ("flap_opening", "flap_closing")),
    Drift("filter blinding", "filter_blinded", 0.40, 200, ("filter_dp", "air_only")),
    Drift("leak growing", "body_leaking", 1.00, 200, ("draw", "air_only")),
    Drift("source weaker", "source_weak", 0.25, 200, ("air_only", "draw")),
    Drift("feed running dry", "feed_empty", 0.40, 200, ("fill_rate",)),
    Drift("vent clogging", "vent_stuck_shut", 1.00, 200, ("release",)),
)
# fmt: on


class Day(NamedTuple):
    """What a day came to."""

    totals: Totals
    cycles: list[CycleRecord]
    warnings: list[Warned]

    @property
    def good(self) -> list[CycleRecord]:
        """The cycles that the charts judged or learned from."""
        return [record for record in self.cycles if is_good(record)]


class _Enough(Exception):  # noqa: N818
    """As many cycles as were asked for, or a trip: nobody resets it."""


class Weather(Operator):
    """Starts the receiver, and moves feed and supply as a plant does; whatever it does is drawn from a seed."""

    def __init__(self, plant: PlantParameters, seed: int) -> None:
        super().__init__(None)
        self._plant, self._chance = plant, random.Random(seed)
        self._band_at_ms, self._tooth = 0, (0, 1)
        self._step = Step.REST

    @property
    def next_ms(self) -> int | None:
        return min(ms for ms in (super().next_ms, self._band_at_ms) if ms is not None)

    def act(self, loop: StationLoop) -> str:
        step = Step(loop.remembers("step"))
        if step == Step.FAULT:
            raise _Enough
        if step == Step.SEAL != self._step:
            share = self._chance.uniform(1 - FEED_SHARE, 1 + FEED_SHARE)
            loop._par[at("feed_limit_kg_s")] = self._plant.feed_limit_kg_s * share
        self._step = step
        if loop.now_ms >= self._band_at_ms:
            self._move_supply(loop)
        return super().act(loop)

    def _move_supply(self, loop: StationLoop) -> None:
        """Up in the time that the compressor needs, down in half of it: a saw-tooth with uneven teeth."""
        begun_ms, lasts_ms = self._tooth
        if loop.now_ms >= begun_ms + lasts_ms:
            self._tooth = begun_ms, lasts_ms = loop.now_ms, self._chance.randint(*BAND_MS)
        share = (loop.now_ms - begun_ms) / lasts_ms
        height = 1.5 * share if share < 2 / 3 else 3 * (1 - share)
        loop._par[at("supply_network_pa_g")] = self._plant.supply_network_pa_g + BAND_PA * (2 * height - 1)
        self._band_at_ms = loop.now_ms + BAND_STEP_MS


def day(
    presets: Presets,
    plant: PlantParameters,
    logic: Logic,
    quickest: Executor,
    cycles: int,
    seed: int = 1,
    drift: Drift | None = None,
    begins: int = HEALTHY,
) -> Day:
    """So many good cycles of a station; `drift` begins after `begins` of them."""
    loop = StationLoop(logic, presets, plant, quickest, seed=seed)
    records: list[CycleRecord] = []
    warnings: list[Warned] = []
    state, good = State(), 0

    def on_cycle(record: CycleRecord) -> None:
        nonlocal state, good
        records.append(record)
        state, raised = observe(state, record)
        warnings.extend(raised)
        good += is_good(record)
        if drift and good > begins:
            loop.fail(drift.mode, drift.amount * min((good - begins) / drift.cycles, 1.0))
        if good == cycles:
            raise _Enough

    watcher = Watcher(on_cycle, lambda events: None, lambda segment: None)
    run = StationRun(loop, presets, Weather(plant, seed), Failures([]), watcher, "drift runs")
    with suppress(_Enough):
        run.run(cycles * 600_000, None, lambda now_ms: None)
    return Day(run._totals(), records, warnings)


class Bench(NamedTuple):
    """A station ready to run."""

    presets: Presets
    plant: PlantParameters
    logic: Logic
    quickest: Executor


def bench(folder: Path) -> Bench:
    """A station folder, read."""
    logic = Logic(RECEIVER)
    return Bench(load_station(folder).receiver.presets, load_plant(folder), logic, executor(best(), logic))


def delay(found: Day, drift: Drift, begins: int = HEALTHY) -> tuple[int | None, list[Warned]]:
    """Good cycles from the drift's first to the warning that it should raise, and every other warning."""
    numbers = [record.number for record in found.good]
    for warned in found.warnings:
        if warned.id in drift.shown_by and numbers.index(warned.cycle) >= begins:
            return numbers.index(warned.cycle) - begins, found.warnings
    return None, found.warnings


def report(folder: Path, cycles: int, say: Callable[[str], None]) -> None:
    """False alarms on normal cycles, and the delay of each drift."""
    station = bench(folder)
    normal = day(*station, cycles)
    say(f"{folder.name}: {len(normal.good)} good of {len(normal.cycles)} cycles, {normal.totals.ms / 3.6e6:.1f} h, "
        f"{normal.totals.level_stops} level stops, {len(normal.totals.trips)} trips")  # fmt: skip
    said = [f"{told(warned)} in {warned.cycle}" for warned in normal.warnings]
    say(f"  false alarms: {len(said)} {', '.join(said)}")
    measured = set()
    for quantity in QUANTITIES:
        values = [value for record in normal.good if (value := quantity.value(record)) is not None]
        if values:
            measured.add(quantity.id)
            mean, spread = fmean(values), pstdev(values)
            say(
                f"  {quantity.id:14} mean {mean:10.2f} {quantity.unit:5} spread {100 * spread / abs(mean):5.1f} %"
            )
    for drift in DRIFTS:
        if measured.isdisjoint(drift.shown_by):
            say(f"  {drift.name:18} not measured at this station")
        else:
            say(f"  {drift.name:18} {delay_told(station, drift)}")


def delay_told(station: Bench, drift: Drift) -> str:
    """One drift at its own pace, in words."""
    found = day(*station, HEALTHY + 2 * drift.cycles, drift=drift)
    after, warnings = delay(found, drift)
    if after is None:
        when = "NOT FOUND"
    else:
        when = f"found after {after} cycles, at {drift.amount * min(after / drift.cycles, 1):.2f}"
    raised = ", ".join(told(warned) for warned in warnings)
    trips = "".join(f"; trip {trip.id}" for trip in found.totals.trips)
    return f"{drift.mode} to {drift.amount:g} over {drift.cycles} cycles: {when}; {raised or 'no warning'}{trips}"


def told(warned: Warned) -> str:
    """A warning in short: air_only- is a falling one."""
    return f"{warned.id}{'+' if warned.direction == UP else '-'}"


if __name__ == "__main__":
    named = sys.argv[1] if len(sys.argv) > 1 else "buckwheat_mill"
    report(CONFIGS / named, int(sys.argv[2]) if len(sys.argv) > 2 else 1_000, print)
