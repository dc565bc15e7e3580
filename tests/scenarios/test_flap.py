"""The flap: proven closed before vacuum, proven open before the batch and the pulses, and never by itself."""

import pytest
from bench import Bench, vacuum_ua

from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    DRAWING,
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
)

DEBOUNCE_MS, LOST_MS, BOTH_MS, TRAVEL_MS = 30, 100, 100, 2_500
OPEN_STEPS = (DRAIN, PULSE, RECOVER, SETTLE)


def name(step) -> str:
    return step.name


def tripped(bench: Bench, by: str, within_ms: int) -> int:
    """Run to the trip; it must be this one, and nothing that moves or feeds is left on. Returns its time."""
    took_ms = bench.run_until(FAULT, within_ms=within_ms)
    assert bench.first_out == by, bench.explain()
    assert bench.on <= {"fault_lamp", "horn"}
    assert not bench.remembers("run")
    return took_ms


# ---- FLAP_NOT_CLOSED ----


def test_off_its_seat_the_flap_reopens_once_and_the_batch_goes_on_when_that_helped(at):
    """Travel time over, level clear, nothing on board: one re-opening of 1.5 s, then seal again."""
    bench = at(SETTLE)
    bench.machine.seat_free = False
    bench.run_until(SEAL, within_ms=2_000)
    assert bench.run_until(REOPEN, within_ms=3_000) == TRAVEL_MS
    bench.machine.seat_free = True
    assert bench.run_until(SEAL, within_ms=2_000) == 1_500
    bench.run_until(CONVEY, within_ms=6_000)


def test_a_lump_that_stays_trips_after_the_one_retry_and_no_vacuum_is_drawn(at):
    """One retry, then FLAP_NOT_CLOSED; the source never runs."""
    bench = at(SETTLE)
    bench.machine.seat_free = False
    bench.run_until(FAULT, within_ms=15_000, never=lambda b: b.outputs.source_cmd)
    assert bench.first_out == "FLAP_NOT_CLOSED"
    assert bench.path.count(REOPEN) == 1


@pytest.mark.parametrize("retries", [0, 3])
def test_the_number_of_reopenings_is_a_preset(at, retries):
    bench = at(SETTLE, flap_retries_max=retries)
    bench.machine.seat_free = False
    bench.run_until(FAULT, within_ms=40_000)
    assert bench.path.count(REOPEN) == retries
    assert bench.first_out == "FLAP_NOT_CLOSED"


def test_with_level_high_the_flap_does_not_reopen_it_trips(at):
    """Level high and not closed: vessel backed up to the flap; no re-opening onto the heap."""
    bench = at(SETTLE)
    bench.machine.level_free = False
    bench.machine.seat_free = False
    bench.run_until(SEAL, within_ms=2_000)
    bench.run_until(FAULT, within_ms=6_000, never=lambda b: b.outputs.flap_open_cmd)
    assert bench.first_out == "FLAP_NOT_CLOSED"


def test_with_a_batch_on_board_the_flap_does_not_reopen_it_trips(at):
    """A batch broken off by low air is on board when it seals again: re-opening would drop it."""
    bench = at(CONVEY, supply_low_effect=1, resume_stop_ms=5_000)
    bench.run(2_000)
    bench.machine.supply_bar_g = 4.2
    bench.run_until(LEVEL_HOLD, within_ms=2_000)
    bench.machine.supply_bar_g = 7.0
    bench.run_until(SEAL, within_ms=10_000)
    bench.machine.flap_place, bench.machine.seat_free = 0.5, False
    bench.run_until(FAULT, within_ms=5_000, never=lambda b: b.step is REOPEN)
    assert bench.first_out == "FLAP_NOT_CLOSED"


def test_a_reopening_gives_one_pulse_once_the_flap_is_proven_open(at):
    """One pulse of 120 ms after open is proven, none before and none after."""
    bench = at(REOPEN)
    on_ms, edges, was = 0, 0, False
    while bench.step is REOPEN:
        pulse = bench.outputs.pulse_1_cmd
        assert not pulse or bench.machine.flap_place > 0.98
        edges, on_ms, was = edges + (pulse and not was), on_ms + 10 * pulse, pulse
        bench.scan()
    assert (edges, on_ms) == (1, 120)


def test_a_reopening_never_proven_open_gives_no_pulse(at):
    """None otherwise: the flap hangs between its switches, or there is no air for a pulse."""
    stuck, airless = at(REOPEN), at(REOPEN)
    stuck.force(flap_open_fb=False)
    airless.machine.supply_bar_g = 3.9
    for bench in (stuck, airless):
        bench.preset(supply_low_ms=5_000)
        bench.run_until(SEAL, within_ms=2_000, never=lambda b: b.outputs.pulse_1_cmd)


def test_off_its_seat_at_rest_it_warns_and_seal_decides(at):
    """At rest and in LEVEL_HOLD, flap commanded closed and never there: warned of, no trip."""
    bench = at(DRAIN)
    bench.request("stop")
    bench.run_until(SETTLE, within_ms=12_000)
    bench.machine.seat_free = False
    bench.run_until(REST, within_ms=2_000)
    bench.run(2_490)
    assert "FLAP_NOT_CLOSED" not in bench.acted
    bench.run(10_000, never=lambda b: b.step is not REST)
    assert "FLAP_NOT_CLOSED" in bench.acted


def test_off_its_seat_in_a_hold_it_warns_and_the_hold_goes_on(at):
    """
    FLAP_NOT_CLOSED at rest in LEVEL_HOLD warns and seal decides; FLAP_DISAGREES looks at neither switch only
    in SUCTION, EMPTYING and FILTER_CLEAN, so a lump on the seat does not trip a hold.
    """
    bench = at(DRAIN)
    bench.machine.level_free = False
    bench.run_until(SETTLE, within_ms=12_000)
    bench.preset(settle_ms=4_000)
    bench.machine.seat_free = False
    bench.run_until(LEVEL_HOLD, within_ms=5_000)
    bench.run(20_000, never=lambda b: b.step is not LEVEL_HOLD)
    assert "FLAP_NOT_CLOSED" in bench.acted


# ---- FLAP_LOST_CLOSED ----


@pytest.mark.parametrize("step", DRAWING, ids=name)
def test_closed_lost_while_the_source_acts_trips_after_its_delay(at, step):
    """Debounce 30 ms, delay 100 ms: source off in this scan, FAULT."""
    bench = at(step)
    bench.run(50)
    bench.force(flap_closed_fb=False)
    took_ms = tripped(bench, "FLAP_LOST_CLOSED", 500)
    assert DEBOUNCE_MS + LOST_MS <= took_ms <= DEBOUNCE_MS + LOST_MS + 20


@pytest.mark.parametrize("step", DRAWING, ids=name)
def test_open_coming_on_beside_closed_unproves_the_flap_too(at, step):
    """Proven closed is closed and not open; after the same delay no source."""
    bench = at(step)
    bench.run(50)
    bench.force(flap_open_fb=True)
    bench.run_until(FAULT, within_ms=DEBOUNCE_MS + LOST_MS + 20)
    assert bench.first_out in ("FLAP_LOST_CLOSED", "FLAP_DISAGREES")


@pytest.mark.parametrize("step", DRAWING, ids=name)
def test_a_closed_switch_that_flickers_shorter_than_its_delay_does_not_trip(at, step):
    """Vibration at source start: 20 ms of bounce again and again, and once just under the delay."""
    bench = at(step)
    bench.run(50)
    for off_ms in (20, 20, 20, 90):
        bench.force(flap_closed_fb=False)
        bench.run(off_ms)
        bench.release("flap_closed_fb")
        bench.run(60)
    bench.run(300, never=lambda b: b.step is FAULT)
    assert not bench.acted


def test_closed_lost_in_vent_is_not_looked_at(at):
    """The source is off there; no trip from a flap that leaves its seat for a moment."""
    bench = at(VENT, vent_min_ms=3_000)
    bench.force(flap_closed_fb=False)
    bench.run(2_000, never=lambda b: b.step is FAULT)


# ---- FLAP_NOT_OPEN ----


def test_a_flap_that_does_not_open_is_tried_once_more_from_vent_then_trips(at):
    """Travel limit, vent, travel limit, trip."""
    bench = at(OPEN)
    bench.force(flap_open_fb=False, flap_closed_fb=True)
    assert bench.run_until(VENT, within_ms=3_000) == TRAVEL_MS
    bench.run_until(OPEN, within_ms=1_000)
    assert tripped(bench, "FLAP_NOT_OPEN", 3_000) == TRAVEL_MS
    assert bench.path == [VENT, OPEN, FAULT]


def test_a_sticky_seal_that_frees_itself_on_the_second_try_drops_the_batch(at):
    bench = at(OPEN)
    bench.force(flap_open_fb=False, flap_closed_fb=True)
    bench.run_until(VENT, within_ms=3_000)
    bench.release("flap_open_fb", "flap_closed_fb")
    bench.run_until(SETTLE, within_ms=15_000)


def test_a_flap_that_opens_just_in_time_is_not_tried_again(at):
    bench = at(OPEN)
    bench.machine.flap_travel_ms = 2_400
    bench.run_until(DRAIN, within_ms=2_500, never=lambda b: b.step is VENT)


def test_closed_that_stays_on_while_open_is_missing_is_not_open(at):
    """Open feedback on is not enough: closed must be off. Both on is FLAP_DISAGREES, sooner."""
    bench = at(OPEN)
    bench.force(flap_closed_fb=True)
    bench.run_until(FAULT, within_ms=3_000, never=lambda b: b.step is DRAIN)
    assert bench.first_out == "FLAP_DISAGREES"


# ---- FLAP_LOST_OPEN ----


@pytest.mark.parametrize("step", OPEN_STEPS, ids=name)
def test_open_lost_in_drain_and_clean_trips_after_its_delay(at, step):
    """Delay 100 ms behind the debounce; flap and all else to the safe value."""
    bench = at(step)
    bench.scan()
    bench.force(flap_open_fb=False)
    took_ms = tripped(bench, "FLAP_LOST_OPEN", 500)
    assert DEBOUNCE_MS + LOST_MS <= took_ms <= DEBOUNCE_MS + LOST_MS + 20


@pytest.mark.parametrize("step", OPEN_STEPS, ids=name)
def test_open_that_flickers_shorter_than_its_delay_does_not_trip(at, step):
    bench = at(step, pulse_ms=400)
    for off_ms in (20, 20, 100):
        bench.force(flap_open_fb=False)
        bench.run(off_ms)
        bench.release("flap_open_fb")
        bench.run(60)
    bench.run(200, never=lambda b: b.step is FAULT)
    assert not bench.acted


def test_pulses_stop_in_the_scan_that_loses_open_before_the_trip(at):
    """Pulses off this scan: with the debounced loss, not with the delayed trip."""
    bench = at(PULSE, pulse_ms=400)
    bench.run(50)
    assert bench.outputs.pulse_1_cmd
    bench.force(flap_open_fb=False)
    bench.run(DEBOUNCE_MS + 10)
    assert not bench.outputs.pulse_1_cmd
    assert bench.step is not FAULT


# ---- FLAP_DISAGREES ----

WORKING_OR_HOLD = (SEAL, REOPEN, PURGE, DRAW, CONVEY, CLEAR, VENT, OPEN, DRAIN, PULSE, RECOVER, SETTLE,
                   LEVEL_HOLD)  # fmt: skip


@pytest.mark.parametrize("step", WORKING_OR_HOLD, ids=name)
def test_both_switches_on_trips_in_every_step_that_runs(at, step):
    """After their 100 ms, whatever the flap is doing (another flap row may be first by a scan)."""
    bench = at(step, pulse_ms=400)
    bench.run(100)
    bench.force(flap_closed_fb=True, flap_open_fb=True)
    bench.run_until(FAULT, within_ms=DEBOUNCE_MS + BOTH_MS + 20)
    assert bench.first_out in ("FLAP_DISAGREES", "FLAP_LOST_CLOSED", "FLAP_LOST_OPEN", "FLAP_MOVED")
    assert "FLAP_DISAGREES" in bench.acted


@pytest.mark.parametrize("step", WORKING_OR_HOLD, ids=name)
def test_both_on_for_less_than_the_delay_does_not_trip(at, step):
    bench = at(step, pulse_ms=400)
    bench.run(100)
    bench.force(flap_closed_fb=True, flap_open_fb=True)
    bench.run(80)
    bench.release("flap_closed_fb", "flap_open_fb")
    bench.run(100)
    assert "FLAP_DISAGREES" not in bench.acted


def test_both_on_is_only_shown_at_rest_from_power_up_and_in_fault(new, at):
    """IDLE, FAULT: shown. A lump or a fitter must not lock the fault."""
    bench = new()
    bench.force(flap_closed_fb=True, flap_open_fb=True)
    bench.run(3_000, never=lambda b: b.step is not REST)
    assert "FLAP_DISAGREES" in bench.acted
    fault = at(FAULT)
    fault.run(500)
    fault.acted.clear()
    fault.force(flap_closed_fb=True, flap_open_fb=True)
    fault.run(3_000)
    assert "FLAP_DISAGREES" in fault.acted
    assert fault.first_out == "SAFETY_CHAIN_OPEN"


def test_neither_switch_long_after_a_command_trips_in_vent(at):
    """The flap stands between its ends a travel time after its last command: no vent goes on with that."""
    bench = at(VENT, vent_min_ms=10_000, release_limit_ms=12_000)
    bench.force(flap_closed_fb=False, flap_open_fb=False)
    took_ms = tripped(bench, "FLAP_DISAGREES", 4_000)
    assert took_ms >= TRAVEL_MS


def test_neither_switch_for_less_than_the_travel_time_does_not_trip_in_vent(at):
    bench = at(VENT, vent_min_ms=10_000, release_limit_ms=12_000)
    bench.force(flap_closed_fb=False, flap_open_fb=False)
    bench.run(TRAVEL_MS - 10)
    bench.release("flap_closed_fb", "flap_open_fb")
    bench.run(1_000, never=lambda b: b.step is FAULT)


# ---- FLAP_MOVED ----


@pytest.mark.parametrize("step", [REST, WARNING, LEVEL_HOLD], ids=name)
def test_a_flap_that_leaves_its_place_without_command_trips_at_rest_and_in_a_hold(at, step):
    bench = at(step)
    bench.run(2_000)
    bench.force(flap_closed_fb=False)
    took_ms = tripped(bench, "FLAP_MOVED", 500)
    assert took_ms >= DEBOUNCE_MS


@pytest.mark.parametrize("step", [REST, WARNING, LEVEL_HOLD], ids=name)
def test_bounce_at_rest_does_not_trip(at, step):
    bench = at(step)
    bench.run(2_000)
    for off_ms in (20, 20, 100):
        bench.force(flap_closed_fb=False)
        bench.run(off_ms)
        bench.release("flap_closed_fb")
        bench.run(60)
    assert bench.step is step
    assert "FLAP_MOVED" not in bench.acted


@pytest.mark.parametrize("step", [REST, LEVEL_HOLD], ids=name)
def test_a_flap_that_moves_without_air_is_not_moved_by_anybody(at, step):
    """FLAP_MOVED asks for air: a dumped supply lets the flap hang."""
    bench = at(step)
    bench.run(2_000)
    bench.machine.supply_bar_g = 0.0
    bench.run(100)
    bench.force(flap_closed_fb=False)
    bench.run(2_000, never=lambda b: b.step is not step)


def test_a_flap_frozen_open_by_halt_that_falls_shut_has_moved(at):
    """After halt its place is open: leaving it without a command trips as well."""
    bench = at(DRAIN)
    bench.request("halt")
    bench.run(1_000)
    bench.force(flap_open_fb=False)
    tripped(bench, "FLAP_MOVED", 500)


# ---- the last word on the flap ----


def test_the_flap_is_not_first_opened_over_the_release_threshold(at):
    """Vacuum 5 kPa when seal wants to re-open: the command is held back, and that is a trip."""
    bench = at(SETTLE)
    bench.machine.seat_free = False
    bench.run_until(SEAL, within_ms=2_000)
    bench.force(vacuum_ua=vacuum_ua(5.0))
    bench.run_until(REOPEN, within_ms=3_000)
    bench.run_until(FAULT, within_ms=500, never=lambda b: b.outputs.flap_open_cmd)
    assert bench.first_out == "OUTPUT_OVERRIDDEN"


def test_held_back_for_less_than_the_delay_is_no_trip_and_vacuum_never_withdraws_it(at):
    """Released within 200 ms it opens; once given, vacuum does not withdraw it."""
    bench = at(SETTLE)
    bench.machine.seat_free = False
    bench.run_until(SEAL, within_ms=2_000)
    bench.force(vacuum_ua=vacuum_ua(5.0))
    bench.run_until(REOPEN, within_ms=3_000)
    bench.run(150, never=lambda b: b.outputs.flap_open_cmd)
    bench.release("vacuum_ua")
    bench.scan()
    assert bench.outputs.flap_open_cmd
    bench.force(vacuum_ua=vacuum_ua(5.0))
    bench.run(500, never=lambda b: not b.outputs.flap_open_cmd)
    assert not bench.acted
