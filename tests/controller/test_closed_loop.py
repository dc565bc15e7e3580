"""The closed loop: three executors, one behaviour; nothing missed between two looks."""

from functools import cache
from importlib.util import find_spec
from itertools import pairwise

import pytest

import io_sim.compiled
from controller.image import Inputs, Outputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import FAULT, Step
from controller.simulate import executors
from controller.simulate.executors import best, executor
from controller.simulate.failures_asked import Failures, read
from controller.simulate.operator import Operator
from controller.simulate.station_loop import StationLoop
from controller.simulate.station_run import StationRun
from controller.simulate.station_watch import Watcher
from io_sim.parameters import PlantParameters

LOGIC = Logic(RECEIVER)
EXECUTORS = ["generated", "transitions", *(["compiled"] if find_spec("numba") else [])]


def loop(name="generated", **options):
    return StationLoop(LOGIC, Presets(), PlantParameters(), made(name), **options)


@cache
def made(name):
    return executor(name, LOGIC)


class Run:
    """A run with all its discrete values kept."""

    def __init__(self, name, for_ms, fail=(), reset_after_ms=None, seed=3):
        self.cycles, self.events, self.trace, self.floats = [], [], [], []
        station = loop(name, seed=seed)
        watcher = Watcher(self.cycles.append, self.events.extend, self.keep)
        failures, operator = Failures([read(text) for text in fail]), Operator(reset_after_ms)
        run = StationRun(station, Presets(), operator, failures, watcher, "test")
        self.totals = run.run(for_ms, None, lambda now_ms: None)

    def keep(self, segment):
        names = (*Inputs._fields, *Outputs._fields, *LOGIC.memory)
        self.trace += zip(*(map(int, segment.column(name)) for name in names), strict=True)
        self.floats += zip(segment.reading("body_pa"), segment.reading("delivered_kg"), strict=True)

    def steps(self):
        return [event.what for event in self.events if event.id == "STEP_CHANGED"]


FAILURES = ("flap_sticks_open@drain#2+17s",)
"""The first batch drops from 34 s on; then the flap hangs, the re-opening and the trip follow."""


@pytest.fixture(scope="module")
def runs():
    return {name: Run(name, 62_000, FAILURES, reset_after_ms=5_000) for name in EXECUTORS}


@pytest.mark.parametrize("name", EXECUTORS[1:])
def test_executors_agree_in_every_discrete_value_of_every_scan(runs, name):
    assert len(runs[name].trace) == 6_200
    pairs = zip(runs[name].trace, runs["generated"].trace, strict=True)
    first = next((k for k, (a, b) in enumerate(pairs) if a != b), None)
    assert first is None, f"they part in scan {first}"


@pytest.mark.parametrize("name", EXECUTORS[1:])
def test_executors_agree_in_the_plant_within_a_billionth(runs, name):
    for ours, theirs in zip(runs[name].floats, runs["generated"].floats, strict=True):
        assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("name", EXECUTORS[1:])
def test_executors_leave_the_same_records(runs, name):
    assert runs[name].events == runs["generated"].events
    assert len(runs[name].cycles) >= 2
    for ours, theirs in zip(runs[name].cycles, runs["generated"].cycles, strict=True):
        assert ours._replace(delivered_kg=0, air_nm3=0) == theirs._replace(delivered_kg=0, air_nm3=0)
        assert ours.delivered_kg == pytest.approx(theirs.delivered_kg, abs=1e-6)


def test_the_run_that_is_compared_holds_a_batch_a_trip_and_a_restart(runs):
    steps = runs["generated"].steps()
    for move in ("CONVEY -> CLEAR", "SEAL -> REOPEN", "SEAL -> FAULT", "FAULT -> REST", "REST -> WARNING"):
        assert move in steps, steps
    assert steps.count("REST -> WARNING") == 2


def test_no_scan_is_run_twice_and_none_left_out(runs):
    """The step clock of the logic is a witness that the loop itself does not write."""
    place = [*Inputs._fields, *Outputs._fields, *LOGIC.memory]
    step, step_ms = place.index("step"), place.index("step_ms")
    trace = runs["generated"].trace
    for before, now in pairwise(trace):
        assert now[step_ms] == (before[step_ms] + 10 if now[step] == before[step] else 0)


def test_a_segment_ends_in_the_scan_that_changes_the_step():
    station = loop()
    station.run(99)
    station.press("start_pb", 1)
    segment = station.run(1_000)
    assert segment.column("step") == [Step.WARNING]
    assert station.now_ms == 1_000


def test_a_press_is_seen_by_the_very_next_scan_and_by_none_before():
    station = loop()
    before = station.run(5)
    station.press("reset_pb", 1)
    assert before.column("reset_pb") == [0] * 5
    assert station.run(1).column("reset_pb") == [1]


def test_the_memory_before_a_scan_is_the_memory_after_the_one_before_it():
    station = loop()
    segment = station.run(50)
    place = list(LOGIC.memory).index("flash_ms")
    after = segment.column("flash_ms")
    assert [segment.memory(k)[place] for k in range(1, 50)] == after[:49]
    assert segment.memory(0)[place] == 0


def test_a_scan_that_is_no_whole_number_of_plant_steps_is_refused():
    with pytest.raises(ValueError, match="a scan of 10 ms is not a whole number of plant steps of 4 ms"):
        loop(step_ms=4)


def test_the_same_seed_gives_the_same_run_and_another_seed_another():
    first, again, other = (Run(best(), 5_000, seed=seed) for seed in (5, 5, 6))
    assert first.trace == again.trace
    assert first.trace != other.trace


@pytest.mark.skipif(not find_spec("numba"), reason="needs the extra `fast`, which holds Numba")
@pytest.mark.parametrize("changed", ["loop", "scan", "plant"])
def test_a_changed_text_is_looked_for_in_another_folder(tmp_path, monkeypatch, changed):
    """Numba alone would not see it: the folder is what keeps old machine code from being found."""
    before = executors.loop_folder(LOGIC, tmp_path)
    assert executors.loop_folder(LOGIC, tmp_path) == before
    place, name = {
        "loop": (executors.inspect, "getsource"),
        "scan": (executors.generated, "source"),
        "plant": (io_sim.compiled, "kernel_text"),
    }[changed]
    original = getattr(place, name)
    monkeypatch.setattr(place, name, lambda *args, **options: original(*args, **options) + "# changed")
    assert executors.loop_folder(LOGIC, tmp_path) != before


def test_a_fault_is_counted_once_and_lasts_without_an_operator():
    run = Run(best(), 30_000, ["source_dead@1s"])
    assert [trip.id for trip in run.totals.trips] == ["NO_VACUUM"]
    assert run.totals.step == Step(FAULT).name
