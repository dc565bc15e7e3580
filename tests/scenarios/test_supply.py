"""Supply air: low trips or waits, lost always trips, and an air-starved receiver never hunts."""

import pytest
from bench import BROKEN_WIRE_UA, Bench, supply_ua

from controller.sequence.steps import (
    BATCH,
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    FAULT,
    LEVEL_HOLD,
    NO_AIR,
    OPEN,
    PULSE,
    PURGE,
    RECOVER,
    REOPEN,
    REST,
    SEAL,
    SETTLE,
    SUCTION,
    VENT,
    WARNING,
    WORKING,
)

LOW_BAR_G, JUST_OVER_LOW, LOST_BAR_G = 4.2, 4.52, 2.9
WAIT = {"supply_low_effect": 1}
LOOKED_AT = (*SUCTION, OPEN)
LOW_MS, LOST_MS = 1_000, 100


def name(step) -> str:
    return step.name


def stay(bench: Bench) -> Bench:
    """Presets that let every step last longer than the delays of this page."""
    return bench.preset(
        vent_min_ms=10_000, release_limit_ms=12_000, flap_reopen_ms=5_000, tank_charge_ms=10_000,
        clear_ms=20_000, line_empty_ms=10_000, recovery_ms=10_000, settle_ms=10_000, pulse_ms=500,
    )  # fmt: skip


def shut_draw(bench: Bench) -> None:
    """Draw and open are quick on the bench: hold back what they wait for."""
    if bench.step is DRAW:
        bench.force(vacuum_ua=4_000)
    if bench.step is OPEN:
        bench.force(flap_open_fb=False)


@pytest.mark.parametrize("step", LOOKED_AT, ids=name)
def test_low_air_trips_after_its_delay_where_air_is_needed(at, step):
    """Under 4.5 bar g for 1 s in SUCTION and open: trip (the default)."""
    bench = stay(at(step))
    shut_draw(bench)
    bench.machine.supply_bar_g = LOW_BAR_G
    took_ms = bench.run_until(FAULT, within_ms=1_500)
    assert bench.first_out == "SUPPLY_AIR_LOW"
    assert LOW_MS <= took_ms <= LOW_MS + 20
    assert bench.on <= {"fault_lamp", "horn"}


@pytest.mark.parametrize("effect", [0, 1])
@pytest.mark.parametrize("step", LOOKED_AT, ids=name)
def test_a_dip_shorter_than_the_delay_and_air_just_over_the_limit_do_nothing(at, step, effect):
    """A neighbour's ejector: 0.9 s of dip; and steady air 0.02 bar over the limit."""
    bench = stay(at(step, supply_low_effect=effect))
    shut_draw(bench)
    bench.machine.supply_bar_g = LOW_BAR_G
    bench.run(900)
    bench.machine.supply_bar_g = 7.0
    bench.run(500)
    bench.machine.supply_bar_g = JUST_OVER_LOW
    bench.run(500)
    assert bench.step is step
    assert not bench.acted


@pytest.mark.parametrize("step", [VENT, DRAIN, PULSE, RECOVER, SETTLE], ids=name)
def test_low_air_elsewhere_warns_at_most(at, step):
    """Emptying but open, and filter clean: low air does not stop the cycle."""
    bench = stay(at(step))
    bench.machine.supply_bar_g = LOW_BAR_G
    bench.run(1_500, never=lambda b: b.step is FAULT)
    if step in (PULSE, RECOVER, SETTLE):
        assert "SUPPLY_AIR_LOW" in bench.acted


@pytest.mark.parametrize("effect", [0, 1])
@pytest.mark.parametrize("step", WORKING, ids=name)
def test_lost_air_trips_in_every_working_step_with_wait_too(at, step, effect):
    """Under the very low limit for 100 ms: trip, whatever was chosen for low air."""
    bench = stay(at(step, supply_low_effect=effect))
    shut_draw(bench)
    bench.scan()
    bench.machine.supply_bar_g = LOST_BAR_G
    took_ms = bench.run_until(FAULT, within_ms=500)
    assert bench.first_out == "SUPPLY_AIR_LOST"
    assert LOST_MS <= took_ms <= LOST_MS + 20


@pytest.mark.parametrize("step", WORKING, ids=name)
def test_air_lost_for_less_than_its_delay_does_not_trip(at, step):
    bench = stay(at(step))
    shut_draw(bench)
    bench.scan()
    bench.machine.supply_bar_g = LOST_BAR_G
    bench.run(90)
    bench.machine.supply_bar_g = 7.0
    bench.run(300)
    assert bench.step is not FAULT
    assert "SUPPLY_AIR_LOST" not in bench.acted


@pytest.mark.parametrize("step", [REST, WARNING, LEVEL_HOLD], ids=name)
def test_lost_air_at_rest_and_in_a_hold_is_no_trip(at, step):
    bench = at(step)
    bench.machine.supply_bar_g = 0.0
    bench.run(2_500, never=lambda b: b.step is FAULT)


def test_a_broken_supply_wire_reads_as_low_and_not_as_lost(at):
    """No switch fitted: LOW takes the place of the value. In convey that trips, in drain it does not."""
    bench = at(CONVEY)
    bench.force(supply_air_ua=BROKEN_WIRE_UA)
    took_ms = bench.run_until(FAULT, within_ms=2_000)
    assert bench.first_out == "SUPPLY_AIR_LOW"
    assert took_ms == pytest.approx(500 + LOW_MS, abs=30)
    assert "SIGNAL_BAD" in bench.acted
    drain = at(DRAIN)
    drain.force(supply_air_ua=BROKEN_WIRE_UA)
    drain.run(3_000, never=lambda b: b.step is FAULT)


def test_a_supply_signal_between_the_limits_holds_its_last_value_for_a_while(at):
    """3.7 mA is uncertain: the last good value for 2 s, then bad, then low."""
    bench = at(CONVEY)
    bench.force(supply_air_ua=3_700)
    bench.run(1_900)
    assert "SIGNAL_BAD" not in bench.acted
    took_ms = bench.run_until(FAULT, within_ms=1_500)
    assert 1_900 + took_ms == pytest.approx(2_000 + LOW_MS, abs=30)


# ---- wait ----


def in_air_hold(at, step=CONVEY, after_ms=4_000, **presets: int) -> Bench:
    bench = at(step, **WAIT, **presets)
    bench.run(after_ms)
    bench.machine.supply_bar_g = LOW_BAR_G
    bench.run_until(LEVEL_HOLD, within_ms=1_100)
    return bench


@pytest.mark.parametrize("step", SUCTION, ids=name)
def test_wait_in_suction_holds_with_the_source_off_and_the_vent_open(at, step):
    """LEVEL_HOLD air: source off, feed off, vent open; the latch stays."""
    bench = stay(at(step, **WAIT))
    shut_draw(bench)
    bench.machine.supply_bar_g = LOW_BAR_G
    bench.run_until(LEVEL_HOLD, within_ms=1_100)
    assert bench.remembers("hold_reason") == NO_AIR
    assert bench.on <= {"run_lamp"}
    assert bench.remembers("run")


def test_air_back_resumes_after_the_minimum_stop_and_not_before(at):
    """Air comes back at once: still 15 s of stop, then seal."""
    bench = in_air_hold(at)
    bench.machine.supply_bar_g = 7.0
    assert bench.run_until(SEAL, within_ms=20_000) == 15_000


def test_air_over_the_limit_but_under_the_hysteresis_does_not_resume(at):
    bench = in_air_hold(at)
    bench.machine.supply_bar_g = 4.7
    bench.run(30_000, never=lambda b: b.step is not LEVEL_HOLD)
    bench.machine.supply_bar_g = 4.85
    assert bench.run_until(SEAL, within_ms=1_100) == pytest.approx(LOW_MS, abs=20), "steady for its delay"


def test_after_a_pause_the_line_is_purged_and_the_fill_time_goes_on(at):
    """Seal, purge, draw, convey; purge counts as fill time; together 16 s as without the pause."""
    bench = in_air_hold(at, after_ms=4_000)
    filled_ms = bench.remembers("filled_ms")
    assert filled_ms == pytest.approx(5_000, abs=30), "the pause comes a second after the low air"
    bench.machine.supply_bar_g = 7.0
    bench.history.clear()
    bench.run_until(CLEAR, within_ms=60_000)
    assert bench.path == [SEAL, PURGE, DRAW, CONVEY, CLEAR]
    times = {step: ms for ms, step in bench.history}
    conveyed_ms = times[DRAW] - times[PURGE] + times[CLEAR] - times[CONVEY]
    assert filled_ms + conveyed_ms == pytest.approx(16_000, abs=20)


def test_a_pause_that_begins_in_clear_does_not_fill_again(at):
    """The fill was over: after the pause the line is cleared, not filled once more."""
    bench = in_air_hold(at, CLEAR, 100, clear_ms=20_000, line_empty_ms=10_000)
    assert bench.remembers("on_board") == BATCH
    bench.machine.supply_bar_g = 7.0
    bench.preset(clear_ms=3_500, line_empty_ms=1_000)
    bench.run_until(VENT, within_ms=40_000, never=lambda b: b.outputs.feed_cmd)


def test_a_stop_while_waiting_for_air_goes_to_rest_and_keeps_the_batch(at):
    bench = in_air_hold(at)
    bench.request("stop")
    assert bench.step is REST
    assert bench.remembers("on_board") == BATCH
    bench.machine.supply_bar_g = 7.0
    bench.run(20_000, never=lambda b: b.step is not REST)


def test_low_air_with_a_stop_pending_goes_to_rest_and_not_to_the_hold(at):
    """LEVEL_HOLD is entered with the latch only: in clear with a stop pending the batch is kept at rest."""
    bench = at(CONVEY, **WAIT, clear_ms=20_000, line_empty_ms=10_000)
    bench.request("stop")
    bench.machine.supply_bar_g = LOW_BAR_G
    bench.run_until(REST, within_ms=1_200, never=lambda b: b.step is LEVEL_HOLD)
    assert bench.remembers("on_board") == BATCH
    assert bench.remembers("line_loaded")


@pytest.mark.parametrize("step", [PURGE, DRAW, CONVEY], ids=name)
def test_low_air_while_a_stop_finishes_its_fill_goes_to_rest_too(at, step):
    """`finish the fill time first`, stop pending, low air with wait: rest, batch and line remembered."""
    bench = stay(at(step, **WAIT, finish_fill_on_stop=True))
    shut_draw(bench)
    bench.request("stop")
    bench.machine.supply_bar_g = LOW_BAR_G
    bench.run_until(REST, within_ms=1_200, never=lambda b: b.step is LEVEL_HOLD)
    assert bench.remembers("on_board") == BATCH
    assert bench.remembers("line_loaded")


def test_two_resumes_in_a_row_are_allowed_the_third_low_air_trips(at):
    """More than 2 in a row without a whole batch between them is hunting."""
    bench = at(CONVEY, **WAIT, resume_stop_ms=5_000)
    for _ in range(2):
        bench.machine.supply_bar_g = LOW_BAR_G
        bench.run_until(LEVEL_HOLD, within_ms=2_000)
        bench.machine.supply_bar_g = 7.0
        bench.run_until(CONVEY, within_ms=15_000)
    bench.machine.supply_bar_g = LOW_BAR_G
    bench.run_until(FAULT, within_ms=2_000)
    assert bench.first_out == "SUPPLY_AIR_LOW"


def test_a_whole_batch_between_them_begins_the_row_anew(at):
    """Low air once a batch, three batches: not in a row, and not yet more than three an hour."""
    bench = at(CONVEY, **WAIT, resume_stop_ms=5_000, resumes_in_row_max=1)
    for _ in range(3):
        bench.run(4_000)
        bench.machine.supply_bar_g = LOW_BAR_G
        bench.run_until(LEVEL_HOLD, within_ms=2_000)
        bench.machine.supply_bar_g = 7.0
        bench.run_until(CONVEY, within_ms=15_000)
        bench.run_until(SETTLE, within_ms=40_000)
        bench.run_until(CONVEY, within_ms=5_000)


def test_a_pause_soon_after_the_last_drain_is_for_air_and_the_batch_goes_on(at):
    """
    The vessel is not full, the level has only not yet been seen clear for the clear delay since the drain:
    the reason is air, and the batch goes on with seal and draw; it is not dropped half filled.
    """
    bench = at(SETTLE, **WAIT, resume_stop_ms=5_000)
    bench.run_until(CONVEY, within_ms=5_000)
    bench.machine.supply_bar_g = LOW_BAR_G
    bench.run_until(LEVEL_HOLD, within_ms=2_000)
    bench.scan()
    assert not bench.fact("vessel_full")
    assert bench.remembers("hold_reason") == NO_AIR
    bench.machine.supply_bar_g = 7.0
    bench.run_off(within_ms=20_000)
    assert bench.step is SEAL


def test_more_than_three_an_hour_trips_and_time_gives_one_back(at):
    """The fourth low air within the hour trips; twenty minutes after the third it is allowed again."""
    for pause_ms, then in ((0, FAULT), (1_250_000, LEVEL_HOLD)):
        bench = at(CONVEY, **WAIT, resume_stop_ms=5_000, resumes_in_row_max=5)
        for _ in range(3):
            bench.machine.supply_bar_g = LOW_BAR_G
            bench.run_until(LEVEL_HOLD, within_ms=2_000)
            bench.machine.supply_bar_g = 7.0
            bench.run_until(CONVEY, within_ms=15_000)
        bench.scan_ms = 100
        bench.run(pause_ms)
        bench.run_until(CONVEY, within_ms=40_000)
        bench.scan_ms = 10
        bench.machine.supply_bar_g = LOW_BAR_G
        bench.run_until(then, within_ms=2_000)


def test_wait_in_open_stays_with_its_output_and_the_travel_clock_stands_still(at):
    """Low air before the flap is there: stay, output unchanged, the run lamp flashing; air back, the flap opens, no retry."""
    bench = at(OPEN, **WAIT)
    bench.force(flap_open_fb=False)
    bench.machine.supply_bar_g = LOW_BAR_G
    bench.run(30_000, never=lambda b: b.step is not OPEN or b.on - {"run_lamp"} != {"flap_open"})
    bench.machine.supply_bar_g = 7.0
    bench.run(100)
    bench.release("flap_open_fb")
    bench.run_until(DRAIN, within_ms=200)


def test_wait_in_open_trips_after_the_air_wait_limit(at):
    """At most 60 s of waiting, then trip."""
    bench = at(OPEN, **WAIT)
    bench.force(flap_open_fb=False)
    bench.machine.supply_bar_g = LOW_BAR_G
    took_ms = bench.run_until(FAULT, within_ms=63_000)
    assert bench.first_out == "SUPPLY_AIR_LOW"
    assert took_ms == pytest.approx(60_000 + LOW_MS, abs=30)


def test_return_of_air_does_not_restart_where_low_air_trips(at):
    """With `trip` the return of air restarts nothing."""
    bench = at(CONVEY)
    bench.machine.supply_bar_g = LOW_BAR_G
    bench.run_until(FAULT, within_ms=1_500)
    bench.machine.supply_bar_g = 7.0
    bench.run(30_000, never=lambda b: b.step is not FAULT)


def test_a_flicker_of_air_never_resumes_early(at):
    """Saw-tooth around the limit while held: the hold lasts its minimum stop and ends over the hysteresis."""
    bench = in_air_hold(at)
    for _ in range(7):
        bench.machine.supply_bar_g = 7.0
        bench.run(1_000)
        bench.machine.supply_bar_g = LOW_BAR_G
        bench.run(1_000)
    assert bench.step is LEVEL_HOLD
    bench.force(supply_air_ua=supply_ua(7.0))
    bench.run_until(SEAL, within_ms=15_000)


def test_level_high_during_a_pause_for_air_empties_instead_of_filling_on(at):
    """Full is the first reason: once the vessel has room again, what is on board is emptied."""
    bench = in_air_hold(at)
    bench.machine.level_free = False
    bench.machine.supply_bar_g = 7.0
    bench.run(20_000, never=lambda b: b.step is not LEVEL_HOLD)
    bench.machine.level_free = True
    bench.run_until(VENT, within_ms=6_000)


def test_seal_and_reopen_wait_for_air_too(at):
    for step in (SEAL, REOPEN):
        bench = at(step, **WAIT, flap_reopen_ms=5_000, tank_charge_ms=10_000)
        bench.machine.supply_bar_g = LOW_BAR_G
        bench.run_until(LEVEL_HOLD, within_ms=1_100)
        bench.machine.supply_bar_g = 7.0
        bench.run_until(SEAL, within_ms=16_000)
