"""STEP_TOO_LONG: every working step has an upper bound of its own, whatever else fails."""

from dataclasses import replace
from functools import cache

import pytest
from bench import BENCHES, Works

from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    FAULT,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    PURGE,
    RECOVER,
    REOPEN,
    REST,
    SEAL,
    SETTLE,
    VENT,
    WARNING,
    WORKING,
)

LONGEST_MS = {  # the limits of each step by the narrative, and half as much again, and a second
    SEAL: 2_500 + 1_000 + 1_500 + 2_000 + 6_000,
    REOPEN: 1_500,
    PURGE: 3_000 + 1_200 + 1_000 + 3_500,
    DRAW: 3_000,
    CONVEY: 16_000,
    CLEAR: 3_500 + 1_000,
    VENT: 6_000 + 200 + 300,
    OPEN: 2_500,
    DRAIN: 4_000,
    PULSE: 120 + 5_000,
    RECOVER: 1_500,
    SETTLE: 1_000,
}


@cache
def without_ways_out() -> Works:
    """The table with nothing left but the bound: no row but the trip, every other interlock only warns."""
    rows = tuple(r for r in RECEIVER.rows if r.guard.name == "tripped")
    interlocks = tuple(
        i if i.name == "STEP_TOO_LONG" else i._replace(effect="warn", allowed=()) for i in RECEIVER.interlocks
    )
    return Works(replace(RECEIVER, rows=rows, interlocks=interlocks), in_a_hurry=True)


@pytest.mark.parametrize("step", WORKING, ids=lambda k: k.name)
def test_a_step_that_nothing_ends_is_tripped_at_its_bound(step):
    """All other ways out taken away: the backstop trips, after every limit of the step and before 3 x that."""
    bench = BENCHES.at(step).moved_to(without_ways_out())
    took_ms = bench.run_until(FAULT, within_ms=60_000)
    assert bench.first_out == "STEP_TOO_LONG"
    assert bench.on == {"fault_lamp", "horn"}
    assert LONGEST_MS[step] < took_ms <= 3 * LONGEST_MS[step]


@pytest.mark.parametrize("step", [REST, WARNING, LEVEL_HOLD], ids=lambda k: k.name)
def test_steps_that_may_wait_are_not_bounded(step):
    """IDLE and LEVEL_HOLD stand as long as they are left alone."""
    bench = BENCHES.at(step).moved_to(without_ways_out())
    bench.scan_ms = 100
    bench.run(120_000, never=lambda b: b.step is not step)


def test_no_step_of_ordinary_work_comes_near_its_bound(at):
    bench = at(SEAL)
    bench.run(90_000)
    assert "STEP_TOO_LONG" not in bench.acted


def test_low_air_that_is_not_yet_waited_for_does_not_hold_the_second_try_back(at):
    """With the longest delay of low air the flap that stays shut is tried again, then trips in its own name."""
    bench = at(OPEN, supply_low_effect=1, supply_low_ms=5_000)
    bench.force(flap_open_fb=False)
    bench.machine.supply_bar_g = 4.2
    bench.run_until(FAULT, within_ms=9_000)
    assert bench.first_out == "FLAP_NOT_OPEN"
    assert bench.path == [VENT, OPEN, FAULT]
