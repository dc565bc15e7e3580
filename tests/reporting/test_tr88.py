"""
The machine-state view, held against numbers and transitions of ISA-TR88.00.02.

Source of both: the OPC UA companion model of it (OPC 30050 version 1.01, published node set); the mapping of
our states onto them is our own.
"""

from itertools import groupby, pairwise

import pytest
from reporting.told import told_run

from controller.reporting.station_now import StationNow
from controller.reporting.views.tr88 import (
    BLOCKED_BY,
    NAMES,
    NEITHER_BY,
    STARVED_BY,
    machine_state,
)
from controller.sequence.steps import STATES, Step
from controller.simulate.tally import HELD_BY

NUMBERS = """1 Clearing 2 Stopped 3 Starting 4 Idle 5 Suspended 6 Execute 7 Stopping 8 Aborting 9 Aborted 10 Holding
11 Held 12 Unholding 13 Suspending 14 Unsuspending 15 Resetting 16 Completing 17 Complete"""
ACTING = {1, 3, 7, 8, 10, 12, 13, 14, 15, 16}
"""They leave by their own completion; 6 and 17 too, but those are looked at."""

WAYS = {
    (4, 3), (3, 6), (6, 10), (10, 11), (11, 12), (12, 6), (6, 13), (13, 5), (5, 14), (14, 6),
    (6, 16), (16, 17), (17, 15), (15, 4), (7, 2), (2, 15), (8, 9), (9, 1), (1, 2),
    *((number, 10) for number in (3, 13, 5, 14, 12)),
    *((number, 7) for number in (3, 4, 5, 6, 10, 11, 12, 13, 14, 15, 16, 17)),
    *((number, 8) for number in NAMES if number not in (8, 9)),
}  # fmt: skip


def passes(here, there, through):
    """Whether `there` can be reached from `here` with only these states between."""
    seen, edge = {here}, {here}
    while edge:
        edge = {b for a, b in WAYS if a in edge and b not in seen}
        if there in edge:
            return True
        edge &= through
        seen |= edge
    return False


def now(step, **more):
    state = next(state for state, steps in STATES.items() if Step[step] in steps)
    return StationNow(state, step, **more)


def test_numbers_and_names_are_those_of_the_table():
    words = NUMBERS.split()
    assert {int(number): name for number, name in zip(words[::2], words[1::2], strict=True)} == NAMES


@pytest.mark.parametrize(
    ("there", "number", "mode"),
    [
        (now("REST"), 4, "Produce"),
        (now("REST", ready=False), 2, "Produce"),
        (now("REST", ready=False, manual=True), 2, "Manual"),
        (now("REST", ready=False, manual=True, held="horn"), 6, "Manual"),
        (now("WARNING", order="run", runs_on=True), 3, "Produce"),
        (now("WARNING", order="clean"), 3, "Maintenance"),
        (now("CONVEY", order="run", runs_on=True), 6, "Produce"),
        (now("DRAIN", order="run", runs_on=True), 6, "Produce"),
        (now("PULSE", order="run", runs_on=True), 6, "Produce"),
        (now("DRAIN", order="run"), 16, "Produce"),
        (now("PULSE", order="clean"), 6, "Maintenance"),
        (now("DRAIN", order="empty"), 6, "Produce"),
        (now("LEVEL_HOLD", told="vessel full", order="run", runs_on=True), 5, "Produce"),
        (now("FAULT", told="FLAP_NOT_CLOSED"), 9, "Produce"),
        (now("FAULT", told="IO_LOST", manual=True), 9, "Manual"),
    ],
)
def test_each_state_has_its_number_and_mode(there, number, mode):
    found = machine_state(there)
    assert (found.number, found.name, found.mode) == (number, NAMES[number], mode)


def test_every_step_has_a_state():
    assert {machine_state(now(step.name, runs_on=True, order="run")).number for step in Step} == {
        3,
        4,
        5,
        6,
        9,
    }


def test_every_reason_of_a_hold_says_blocked_starved_or_neither():
    assert {*BLOCKED_BY, *STARVED_BY, *NEITHER_BY} == {*HELD_BY.values()}
    for reason in HELD_BY.values():
        found = machine_state(now("LEVEL_HOLD", told=reason))
        assert (found.blocked, found.starved) == (reason in BLOCKED_BY, reason in STARVED_BY)
    assert not machine_state(now("FAULT", told="vessel full")).blocked


def test_a_run_moves_only_on_ways_that_the_standard_has():
    """What passes within a scan is not shown; after a fault one reset is Clear and Reset, over Stopped."""
    seen = [number for number, _ in groupby(machine_state(there).number for _, there in told_run().nows)]
    assert {3, 4, 6, 9} <= set(seen)
    for here, there in pairwise(seen):
        assert passes(here, there, ACTING | ({2} if here == 9 else set())), (here, there)


def test_from_aborted_nothing_executes_before_idle_and_starting():
    seen = [number for number, _ in groupby(machine_state(there).number for _, there in told_run().nows)]
    after = seen[seen.index(9) + 1 :]
    assert after[:3] == [4, 3, 6]
    assert not passes(9, 6, ACTING)
