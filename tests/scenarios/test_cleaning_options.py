"""Pulse groups, cleaning with the drain and off-line, fluidising air."""

from itertools import chain, pairwise

import pytest
from bench import Bench

from controller.image import Outputs
from controller.sequence.steps import (
    CONVEY,
    DRAIN,
    DRAW,
    FAULT,
    FILTER_CLEAN,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    RECOVER,
    REOPEN,
    REST,
    SEAL,
    SETTLE,
    VENT,
)

PULSE_MS, RECOVERY_MS, DRAIN_MS, LEAD_MS = 120, 1_500, 4_000, 500
THREE = {"pulse_groups": 3, "pulses": 2, "pulses_last": 4}
WITH_DRAIN = {"clean_mode": 1, "clean_lead_ms": LEAD_MS}
OFFLINE = {"clean_mode": 2}


def groups_on(bench: Bench) -> list[int]:
    out = bench.outputs
    return [n for n, on in enumerate((out.pulse_1_cmd, out.pulse_2_cmd, out.pulse_3_cmd), 1) if on]


def pulses(bench: Bench, *, within_ms: int = 120_000) -> list[tuple[int, int]]:
    """Each pulse (its group, its time on) until the filter clean is over; never two valves at once."""
    begin_ms, given, was = bench.now_ms, [], []
    while bench.step not in FILTER_CLEAN:
        bench.scan()
        assert bench.now_ms - begin_ms < within_ms, bench.explain()
    while bench.step in FILTER_CLEAN:
        on = groups_on(bench)
        assert len(on) <= 1
        if on and on != was:
            given.append((on[0], 0))
        if on:
            given[-1] = (on[0], given[-1][1] + bench.scan_ms)
        was = on
        bench.scan()
        assert bench.step is not FAULT, bench.explain()
    return given


# ---- groups ----


def test_groups_are_pulsed_one_after_another_with_recovery_between(fitted):
    """All groups the set number of times; pulse time, then recovery time."""
    bench = fitted(**THREE).at(DRAIN)
    given = pulses(bench)
    assert len(given) == 3 * 2
    assert {ms for _, ms in given} == {PULSE_MS}
    first = given[0][0]
    assert [g for g, _ in given] == [(first - 1 + k) % 3 + 1 for k in range(6)]
    entered = {step: [ms for ms, s in bench.history if s is step] for step in (PULSE, RECOVER, SETTLE)}
    assert all(b - a == PULSE_MS for a, b in zip(entered[PULSE], entered[RECOVER], strict=True))
    gaps = [b - a for a, b in zip(entered[RECOVER], [*entered[PULSE][1:], *entered[SETTLE]], strict=True)]
    assert set(gaps) == {RECOVERY_MS}


def test_the_first_group_changes_each_time(fitted):
    bench = fitted(**{**THREE, "pulses": 1}).at(DRAIN)
    firsts = [pulses(bench)[0][0] for _ in range(4)]
    assert sorted(set(firsts)) == [1, 2, 3]
    assert all(a != b for a, b in pairwise(firsts))


def test_the_turn_of_the_groups_outlives_the_power(fitted):
    bench = fitted(**THREE).at(DRAIN)
    first = pulses(bench)[0][0]
    bench.power_cycle()
    bench.run(6_000)
    bench.press_start()
    assert pulses(bench)[0][0] != first


def test_the_last_clean_gives_each_group_more(fitted):
    """A stop is certain at the end of drain."""
    bench = fitted(**THREE).at(DRAIN)
    bench.request("stop")
    given = pulses(bench)
    assert [sum(g == n for g, _ in given) for n in (1, 2, 3)] == [4, 4, 4]
    assert bench.step is REST


def test_two_groups_leave_the_third_valve_alone(fitted):
    assert {g for g, _ in pulses(fitted(pulse_groups=2).at(DRAIN))} == {1, 2}


def test_a_halt_between_the_groups_stops_the_pulses_at_once(fitted):
    bench = fitted(**THREE).at(PULSE, pulse_ms=500)
    bench.run(100)
    assert groups_on(bench)
    bench.request("halt")
    assert not groups_on(bench)
    bench.run(3_000, never=groups_on)


@pytest.mark.parametrize("group", [1, 2, 3])
def test_open_lost_stops_the_pulse_of_any_group_at_once(fitted, group):
    """Pulses off this scan, trip."""
    bench = fitted(**THREE).at(PULSE, pulse_ms=500)
    while groups_on(bench) != [group]:
        bench.scan()
        assert bench.step in (PULSE, RECOVER)
    bench.force(flap_open_fb=0)
    bench.run(50)
    assert not groups_on(bench)
    bench.run_to_trip("FLAP_LOST_OPEN", within_ms=200, never=groups_on)


# ---- with the drain ----


def test_with_the_drain_the_first_pulse_comes_its_lead_time_after_open_was_proven(fitted):
    bench = fitted(**WITH_DRAIN).at(DRAIN)
    assert bench.run_until(PULSE, within_ms=2_000) == pytest.approx(LEAD_MS, abs=20)


def test_with_the_drain_the_emptying_time_runs_on_through_the_clean(fitted):
    """Settle only when all groups have had their pulses and the emptying time is over."""
    short = fitted(**WITH_DRAIN).at(DRAIN, drain_ms=10_000)
    assert short.run_until(
        SETTLE, within_ms=20_000, never=lambda b: not b.outputs.flap_open_cmd
    ) == pytest.approx(10_000, abs=20)
    assert short.path.count(PULSE) == 2, "not a pulse more for the longer wait"
    long = fitted(**WITH_DRAIN).at(DRAIN, drain_ms=1_000, pulses=3)
    took_ms = long.run_until(SETTLE, within_ms=20_000)
    assert took_ms == pytest.approx(LEAD_MS + 3 * (PULSE_MS + RECOVERY_MS), abs=60)


def test_with_the_drain_a_clean_that_is_not_due_leaves_the_whole_drain(fitted):
    bench = fitted(**WITH_DRAIN, clean_every=50).at(DRAIN)
    assert bench.run_off(within_ms=6_000) == pytest.approx(DRAIN_MS, abs=20)


def test_with_the_drain_the_receiver_is_empty_afterwards(fitted):
    bench = fitted(**WITH_DRAIN).at(DRAIN)
    bench.run_until(SEAL, within_ms=20_000)
    assert bench.remembers("on_board") == 0


def test_with_the_drain_and_no_air_for_pulses_the_emptying_still_ends(fitted):
    bench = fitted(**WITH_DRAIN).at(DRAIN, pulse_air_pa_g=700_000)
    bench.machine.supply_bar_g = 6.0
    bench.run_until(SEAL, within_ms=30_000, never=lambda b: b.step is FAULT or bool(groups_on(b)))
    assert "PULSE_TANK_WEAK" in bench.acted
    assert bench.remembers("on_board") == 0


def test_clean_alone_with_the_drain_is_as_ever(fitted):
    bench = fitted(**WITH_DRAIN).at(REST)
    bench.run(6_000)
    assert bench.request("clean") == []
    assert len(pulses(bench)) > 0
    assert bench.step is REST


# ---- off-line ----


def test_off_line_pulses_come_with_the_flap_shut_vent_open_and_feed_off(fitted):
    bench, given = fitted(**OFFLINE, **THREE).at(DRAIN), 0
    while bench.step is not SEAL:
        bench.scan()
        assert bench.now_ms < 300_000
        if groups_on(bench):
            given += 1
            assert bench.machine.flap_place < 0.02
            assert bench.on & {"source", "vent_close", "feed", "flap_open"} == set()
            assert len(groups_on(bench)) == 1
    assert given == 6 * PULSE_MS // 10
    assert "FLAP_LOST_OPEN" not in bench.acted


def test_off_line_too_a_lump_on_the_seat_is_cured_by_the_reopening(fitted):
    """Reopen: open for its time, and if a pulse on the open flap is not for this station then without one."""
    bench = fitted(**OFFLINE).at(SETTLE)
    bench.run_until(SEAL, within_ms=2_000)
    bench.machine.seat_free, bench.machine.flap_place = False, 0.5
    bench.run_until(REOPEN, within_ms=4_000)
    bench.machine.seat_free = True
    bench.run_until(CONVEY, within_ms=10_000, never=lambda b: b.step is FAULT)


def test_off_line_a_flap_that_stays_open_gets_no_pulse_and_seal_decides(fitted):
    """Wait up to its limit, warn, go on: no pulse on an open flap, and FLAP_NOT_CLOSED trips in seal."""
    bench = fitted(**OFFLINE).at(DRAIN)
    bench.force(flap_closed_fb=0, flap_open_fb=1)
    bench.run_until(SEAL, within_ms=20_000, never=groups_on)
    assert "FLAP_NOT_CLOSED" in bench.acted
    bench.run_to_trip("FLAP_NOT_CLOSED", within_ms=20_000, never=lambda b: b.outputs.source_cmd)


def test_off_line_a_lump_on_the_seat_goes_without_a_pulse_to_the_seal_that_can_cure_it(fitted):
    """The flap closes for the clean, so it is on its way: told, given up after its wait, re-opened in seal."""
    bench = fitted(**OFFLINE).at(DRAIN)
    bench.machine.seat_free = False
    bench.run_until(PULSE, within_ms=5_000)
    bench.run_until(REOPEN, within_ms=20_000, never=lambda b: groups_on(b) or b.step is FAULT)
    assert "FLAP_NOT_CLOSED" in bench.acted


def test_off_line_a_flap_lost_from_its_seat_stops_the_pulse(fitted):
    """Last word 4 holds for off-line too."""
    bench = fitted(**OFFLINE).at(PULSE, pulse_ms=500)
    while not groups_on(bench):
        bench.scan()
    bench.force(flap_closed_fb=0)
    bench.run(60)
    assert not groups_on(bench)
    bench.run(400, never=groups_on)


def test_off_line_clean_on_request_does_not_open_the_flap(fitted):
    bench = fitted(**OFFLINE).at(REST)
    bench.run(6_000)
    assert bench.request("clean") == []
    bench.run_until(PULSE, within_ms=10_000, never=lambda b: b.outputs.flap_open_cmd)
    bench.run_until(REST, within_ms=30_000, never=lambda b: b.outputs.flap_open_cmd or b.step is FAULT)


def test_off_line_delivers_batch_after_batch(fitted):
    bench = fitted(**OFFLINE).at(CONVEY)
    bench.scan_ms = 20
    for step in (DRAIN, DRAW, DRAIN, DRAW):
        bench.run_until(step, within_ms=60_000, never=lambda b: b.step in (FAULT, LEVEL_HOLD))


# ---- fluidising air ----


def blown(bench: Bench) -> list[bool]:
    """Fluidising air, scan by scan of the drain."""
    told = []
    while bench.step is DRAIN:
        told.append(bench.outputs.fluidise_cmd)
        bench.scan()
    assert not bench.outputs.fluidise_cmd
    return told


def test_steady_fluidising_ends_300_ms_before_the_flap_closes(fitted):
    bench = fitted(fluidise_on_ms=500, clean_every=50).at(DRAIN)
    told = blown(bench)
    assert len(told) * 10 == pytest.approx(DRAIN_MS, abs=20)
    assert told[1]
    assert all(told[1 : (DRAIN_MS - 320) // 10])
    assert not any(told[(DRAIN_MS - 280) // 10 :])


def test_puffs_of_fluidising_air_come_and_go(fitted):
    bench = fitted(fluidise_on_ms=500, fluidise_off_ms=500, clean_every=50).at(DRAIN)
    told = blown(bench)
    edges = [k * 10 for k in range(1, len(told)) if told[k] and not told[k - 1]]
    assert 2 <= len(edges) <= 4
    assert all(b - a == pytest.approx(1_000, abs=30) for a, b in pairwise(edges))
    assert not any(told[(DRAIN_MS - 280) // 10 :])


def test_without_fluidising_air_none_is_given(fitted):
    assert not any(blown(fitted().at(DRAIN)))


def test_a_halt_stops_the_fluidising_air_this_scan(fitted):
    bench = fitted(fluidise_on_ms=500).at(DRAIN)
    bench.run(500)
    assert bench.outputs.fluidise_cmd
    bench.request("halt")
    assert not bench.outputs.fluidise_cmd


@pytest.mark.parametrize("mode", [0, 1, 2])
def test_fluidising_air_only_while_the_flap_or_the_vent_is_open(fitted, mode):
    """Last word 5, over a whole batch."""
    bench = fitted(fluidise_on_ms=500, clean_mode=mode).at(CONVEY)
    blows = 0
    while bench.step is not DRAW:
        bench.scan()
        assert bench.now_ms < 300_000
        out: Outputs = bench.outputs
        blows += out.fluidise_cmd
        assert not out.fluidise_cmd or not out.vent_close_cmd or bench.machine.flap_place > 0.98
    assert blows
    assert {OPEN, VENT} <= set(bench.path)


# ---- the pulse of a re-opening belongs to the group whose turn it is ----


def reopening(fitted, cleans: int, **station) -> tuple[list[int], Bench]:
    """The groups pulsed in a re-opening after so many cleans, and the bench after it."""
    bench = fitted(**THREE, **station).at(DRAIN)
    for _ in range(cleans):
        pulses(bench)
        bench.run_until(DRAIN, within_ms=60_000)
    bench.run_until(SEAL, within_ms=60_000)
    bench.machine.seat_free, bench.machine.flap_place = False, 0.5
    bench.run_until(REOPEN, within_ms=4_000)
    given: list[int] = []
    while bench.step is REOPEN:
        given += [g for g in groups_on(bench) if given[-1:] != [g]]
        bench.scan()
    return given, bench


def test_a_reopening_gives_one_pulse_of_the_group_whose_turn_it_is(fitted):
    assert sorted(chain.from_iterable(reopening(fitted, cleans)[0] for cleans in range(3))) == [1, 2, 3]


@pytest.mark.parametrize("cleans", range(3))
def test_off_line_too_a_reopening_gives_one_pulse_with_the_flap_open_and_seals_again(fitted, cleans):
    """Off-line adds a place for pulses, it takes none away."""
    given, bench = reopening(fitted, cleans, **OFFLINE)
    assert len(given) == 1
    assert bench.step is SEAL
