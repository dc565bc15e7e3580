"""The cycle book: one record a cycle, whatever breaks it off, and nothing counted twice."""

from functools import cache
from itertools import pairwise

import pytest

from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.simulate.executors import best, executor
from controller.simulate.failures_asked import Failures, read
from controller.simulate.operator import Operator
from controller.simulate.station_loop import StationLoop
from controller.simulate.station_run import StationRun
from controller.simulate.station_watch import Watcher
from io_sim.parameters import PlantParameters

LOGIC = Logic(RECEIVER)


@cache
def quickest():
    return executor(best(), LOGIC)


def run(for_ms, *fail, presses=(), presets=None, plant=None):
    """The run and its cycles; `presses` are (ms, input, value), done before the first scan after that time."""
    presets = presets or Presets()
    loop = StationLoop(LOGIC, presets, plant or PlantParameters(), quickest())
    cycles = []

    class Hands(Operator):
        """An operator with more to do than to start."""

        def __init__(self):
            super().__init__(None)
            self.plan = sorted(presses)

        @property
        def next_ms(self):
            return min([ms for ms, *_ in self.plan] + [ms for ms in [super().next_ms] if ms], default=None)

        def act(self, loop):
            while self.plan and self.plan[0][0] <= loop.now_ms:
                loop.press(*self.plan.pop(0)[1:])
            return super().act(loop)

    watcher = Watcher(cycles.append, lambda events: None, lambda segment: None)
    station = StationRun(loop, presets, Hands(), Failures([read(text) for text in fail]), watcher, "test")
    return station.run(for_ms, None, lambda now_ms: None), cycles


def test_a_batch_that_waited_for_air_is_one_cycle_with_a_resume():
    presets = Presets()._replace(supply_low_effect=1)
    totals, cycles = run(90_000, "supply_falls@convey#2+12s", presets=presets)
    waited = cycles[2]
    assert [taken.step for taken in waited.steps].count("SEAL") == 2
    assert (waited.result, waited.resumes, waited.fill_ended_by) == ("complete", 1, "time")
    hold = next(taken for taken in waited.steps if taken.step == "LEVEL_HOLD")
    assert hold.ms >= presets.resume_stop_ms
    assert totals.holds == (("no air", 1, hold.ms),)
    assert waited.supply_lowest_pa_g < presets.supply_low_pa_g


def test_a_stop_ends_the_fill_and_completes_the_cycle():
    _, cycles = run(70_000, presses=[(50_000, "stop_healthy", 0), (50_300, "stop_healthy", 1)])
    last = cycles[-1]
    assert (last.result, last.fill_ended_by) == ("complete", "stop")
    assert last.pulses == Presets().pulses_last


def test_a_halt_breaks_the_cycle_off():
    totals, cycles = run(55_000, presses=[(50_000, "halt_request", 1), (50_010, "halt_request", 0)])
    assert (cycles[-1].result, cycles[-1].fill_ended_by, totals.step) == ("halt", "halt", "REST")


def test_a_stop_while_the_flap_is_still_closing_leaves_no_record():
    """Nothing was drawn: 39.5 s is the seal of the second batch."""
    _, cycles = run(50_000, presses=[(39_800, "stop_healthy", 0), (40_100, "stop_healthy", 1)])
    assert [cycle.kind for cycle in cycles] == ["emptying", "batch"]


def test_an_empty_hopper_ends_the_batch_early():
    _, cycles = run(70_000, "feed_empty@convey#2")
    assert cycles[2].fill_ended_by == "empty"
    assert cycles[2].alarms == ("NO_MATERIAL",)
    assert cycles[2].step_ms("CLEAR") == 0


def test_a_reopening_is_counted_and_the_batch_goes_on():
    _, cycles = run(80_000, "product_on_seat@seal#2+3s")
    assert (cycles[2].flap_retries, cycles[2].result) == (1, "complete")
    assert cycles[2].step_ms("REOPEN") == Presets().flap_reopen_ms


@pytest.mark.parametrize("fail", [(), ("line_blocked@convey#3",), ("feed_empty@convey#2+30s",)])
def test_cycles_follow_each_other_without_gap_while_the_receiver_runs(fail):
    _, cycles = run(180_000, *fail)
    assert [cycle.number for cycle in cycles] == list(range(1, len(cycles) + 1))
    for before, now in pairwise(cycles):
        assert before.start_ms + before.ms == now.start_ms


def test_product_is_booked_to_the_cycle_that_dropped_it():
    totals, cycles = run(190_000)
    assert sum(cycle.delivered_kg for cycle in cycles) == pytest.approx(totals.delivered_kg, abs=1e-3)
    assert all(
        cycle.delivered_kg > 5 for cycle in cycles if cycle.kind == "batch" and cycle.result == "complete"
    )


def test_a_full_receiver_ends_the_fill_where_its_probe_is_fitted():
    presets = Presets()._replace(receiver_full_fitted=True, fill_ms=30_000)
    _, cycles = run(120_000, presets=presets)
    whole = [cycle for cycle in cycles if cycle.kind == "batch" and cycle.result == "complete"]
    assert {cycle.fill_ended_by for cycle in whole} == {"full"}


def test_a_batch_that_is_held_on_board_is_one_cycle_with_its_hold():
    presets = Presets()._replace(level_policy=1)
    _, cycles = run(150_000, "level_probe_stuck_covered@convey#2+20s", presets=presets)
    held = cycles[2]
    assert [taken.step for taken in held.steps if taken.step in ("VENT", "LEVEL_HOLD")] == [
        "VENT", "LEVEL_HOLD", "VENT",
    ]  # fmt: skip
    assert (held.kind, held.result, held.fill_ended_by, held.resumes) == ("batch", "complete", "level", 0)
    assert held.delivered_kg > 0


def test_the_flap_that_closed_before_a_hold_is_timed_in_the_cycle_after_it():
    plant = PlantParameters()._replace(vessel_start_kg=35.0, vessel_demand_kg_h=600.0)
    totals, cycles = run(240_000, plant=plant)
    assert totals.level_stops
    assert all(cycle.flap_closing_ms for cycle in cycles[1:])


@pytest.mark.parametrize(("clear_ms", "emptied"), [(500, False), (2_600, True), (3_500, True)])
def test_the_air_only_vacuum_is_kept_where_the_line_was_empty_though_the_time_was_over_first(
    clear_ms, emptied
):
    """The line runs empty about two seconds after the feed stops; its delay takes another."""
    presets = Presets()._replace(clear_ms=clear_ms)
    _, cycles = run(70_000, presets=presets)
    seen_pa = cycles[2].vacuum_air_only_pa
    assert (seen_pa is not None) == emptied
    assert seen_pa is None or seen_pa < presets.line_empty_pa
