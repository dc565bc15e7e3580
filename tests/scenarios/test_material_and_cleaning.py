"""No material, and cleaning: short batches, starved, every n-th clean, pulses and their air."""

import pytest
from bench import Bench, vacuum_ua

from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    EMPTY,
    FAULT,
    LEVEL_HOLD,
    NO_PRODUCT,
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

# ---- NO_MATERIAL ----


def test_no_material_ends_the_batch_after_arm_delay_and_delay(at):
    """Under 6.5 kPa from the arm delay (3 s) on, for 2 s: vent at once, the line is empty, no clear."""
    bench = at(CONVEY)
    bench.machine.conveying_kpa = 4.3
    assert bench.run_until(VENT, within_ms=6_000) == pytest.approx(5_000, abs=10)
    assert "NO_MATERIAL" in bench.acted
    assert not bench.remembers("line_loaded")


def test_a_lance_lifted_for_less_than_the_delay_does_not_end_the_batch(at):
    """The operator moves the lance: under the threshold for 1.9 s, then back."""
    bench = at(CONVEY)
    bench.run(5_000)
    bench.machine.conveying_kpa = 4.3
    bench.run_until(CONVEY, within_ms=10)
    while bench.machine.vacuum_kpa >= 6.5:
        bench.scan()
    bench.run(1_900)
    bench.machine.conveying_kpa = 13.7
    bench.run(3_000)
    assert bench.step is CONVEY
    assert not bench.acted


def test_before_the_arm_delay_nothing_is_missed(at):
    bench = at(CONVEY, no_material_ms=200)
    bench.machine.conveying_kpa = 4.3
    bench.run(2_900)
    bench.machine.conveying_kpa = 13.7
    bench.run(2_000)
    assert bench.step is CONVEY


def short_batch(bench: Bench) -> None:
    bench.machine.conveying_kpa = 4.3
    bench.run_until(CONVEY, within_ms=60_000)
    bench.run_until(SETTLE, within_ms=30_000)


def test_three_short_batches_in_a_row_starve_and_are_retried_after_the_pause(at):
    """After the third: LEVEL_HOLD starved; 60 s later it tries again."""
    bench = at(SEAL)
    for _ in range(2):
        short_batch(bench)
        bench.run_off(within_ms=2_000)
        assert bench.step is SEAL
    short_batch(bench)
    bench.run_off(within_ms=2_000)
    assert bench.step is LEVEL_HOLD
    bench.run(10_000)
    assert bench.remembers("hold_reason") == NO_PRODUCT
    assert 10_000 + bench.run_until(SEAL, within_ms=60_000) == pytest.approx(60_000, abs=10)
    bench.machine.conveying_kpa = 13.7
    bench.run_until(CLEAR, within_ms=30_000)
    bench.run_until(SEAL, within_ms=30_000)


def test_a_whole_batch_between_short_ones_begins_the_count_anew(at):
    bench = at(SEAL)
    for _ in range(2):
        short_batch(bench)
        short_batch(bench)
        bench.machine.conveying_kpa = 13.7
        bench.run_until(CLEAR, within_ms=30_000)
        bench.run_until(SETTLE, within_ms=30_000)
    assert LEVEL_HOLD not in bench.path


def test_stop_in_a_starved_hold_rests(at):
    bench = at(SEAL, short_batches_max=1)
    short_batch(bench)
    bench.run_until(LEVEL_HOLD, within_ms=2_000)
    bench.request("stop")
    assert bench.step is REST


def test_a_batch_that_starves_the_run_is_cleaned_with_more_pulses(at):
    """At the end of drain a hold is already certain: the clean has the pulses of the last."""
    bench = at(SEAL, short_batches_max=1, clean_every=50)
    bench.machine.conveying_kpa = 4.3
    bench.run_until(LEVEL_HOLD, within_ms=60_000)
    assert bench.path.count(PULSE) == 4


# ---- cleaning due ----


def test_every_third_batch_is_cleaned_where_that_is_set(at):
    bench = at(SEAL, clean_every=3)
    cleaned = []
    for _ in range(6):
        bench.history.clear()
        bench.run_until(DRAIN, within_ms=30_000)
        bench.run_until(SEAL, within_ms=15_000)
        cleaned.append(bench.path.count(PULSE))
    assert cleaned == [0, 0, 2, 0, 0, 2]


def test_the_last_batch_of_a_run_is_cleaned_whatever_the_count(at):
    bench = at(SEAL, clean_every=50)
    bench.run_until(DRAIN, within_ms=30_000)
    bench.request("stop")
    bench.run_until(REST, within_ms=20_000)
    assert bench.path.count(PULSE) == 4


def test_a_full_vessel_at_the_end_of_drain_makes_the_clean_due(at):
    bench = at(CONVEY, clean_every=50)
    bench.machine.level_free = False
    bench.run_until(LEVEL_HOLD, within_ms=40_000)
    assert bench.path.count(PULSE) == 4


def test_a_hold_decided_after_the_drain_leaves_the_clean_due_by_count(at):
    """Decided later than the end of drain: no clean for it; it comes with the count."""
    bench = at(DRAIN, clean_every=2)
    bench.machine.level_free = False
    bench.run_until(LEVEL_HOLD, within_ms=10_000)
    assert PULSE not in bench.path
    bench.machine.level_free = True
    bench.history.clear()
    bench.run_until(CONVEY, within_ms=10_000)
    bench.run_until(SEAL, within_ms=40_000)
    assert bench.path.count(PULSE) == 2


def test_a_recovery_emptying_is_always_cleaned(at):
    bench = at(CONVEY, clean_every=50)
    bench.request("halt")
    bench.run(6_000)
    bench.press_start()
    bench.history.clear()
    bench.run_until(SEAL, within_ms=30_000)
    assert bench.path.count(PULSE) >= 2


def test_with_no_pulses_set_there_is_no_clean_and_the_batch_is_over(at):
    """Pulses 0: drain is followed by the next batch, or by rest."""
    bench = at(DRAIN, pulses=0, pulses_last=0)
    bench.run_off(within_ms=5_000)
    assert bench.step is SEAL
    bench = at(DRAIN, pulses=0, pulses_last=0)
    bench.request("stop")
    bench.run_off(within_ms=5_000)
    assert bench.step is REST


def test_after_a_drain_without_clean_the_same_order_holds(at):
    """No last pulses set: straight after the drain, full holds as full, starved as starved."""
    full, starved = at(CONVEY, pulses_last=0, clean_every=50), at(SEAL, pulses_last=0, short_batches_max=1)
    full.machine.level_free = False
    starved.machine.conveying_kpa = 4.3
    for bench in (full, starved):
        bench.run_until(LEVEL_HOLD, within_ms=60_000, never=lambda b: b.step is PULSE)
        assert bench.path[-2:] == [DRAIN, LEVEL_HOLD]


# ---- pulses and their air ----


def pulses_of(bench: Bench, for_ms: int) -> list[tuple[int, int]]:
    """(on, off before) of each pulse [ms]."""
    found, on_ms, off_ms, before_ms = [], 0, 0, 0
    for _ in range(for_ms // 10):
        if bench.outputs.pulse_1_cmd:
            before_ms, off_ms, on_ms = (off_ms, 0, 0) if not on_ms else (before_ms, 0, on_ms)
            on_ms += 10
        else:
            if on_ms:
                found.append((on_ms, before_ms))
            on_ms, off_ms = 0, off_ms + 10
        bench.scan()
    return found


@pytest.mark.parametrize("pulse_ms", [40, 120, 500])
def test_a_pulse_lasts_its_preset_and_no_two_are_nearer_than_the_off_time(at, pulse_ms):
    bench = at(DRAIN, pulse_ms=pulse_ms, pulses=5, recovery_ms=200, pulse_off_min_ms=200)
    given = pulses_of(bench, 9_000)
    assert [on for on, _ in given] == [pulse_ms] * 5
    assert all(off >= 200 for _, off in given)


def test_a_pulse_waits_for_its_air_and_is_given_when_it_comes(at):
    """Supply under 4.0 bar g when the pulse is due: wait; back after 3 s: pulse, no warning."""
    bench = at(DRAIN)
    bench.machine.supply_bar_g = 3.9
    bench.run_until(PULSE, within_ms=5_000)
    bench.run(3_000, never=lambda b: b.outputs.pulse_1_cmd or b.step is not PULSE)
    bench.machine.supply_bar_g = 4.1
    bench.run(20)
    assert bench.outputs.pulse_1_cmd
    assert "PULSE_TANK_WEAK" not in bench.acted


def test_air_that_stays_away_is_warned_of_and_the_cycle_goes_on_without_the_pulse(at):
    """After 5 s: PULSE_TANK_WEAK, settle, and the run goes on; no trip."""
    bench = at(DRAIN)
    bench.machine.supply_bar_g = 3.9
    bench.run_until(PULSE, within_ms=5_000)
    assert bench.run_until(SETTLE, within_ms=6_000, never=lambda b: b.outputs.pulse_1_cmd) == 5_000
    assert "PULSE_TANK_WEAK" in bench.acted
    assert FAULT not in bench.path


def test_pulses_only_with_the_flap_proven_open(at):
    """Open is lost before the pulse begins and comes back within the delay: no pulse meanwhile, no trip."""
    bench = at(RECOVER)
    bench.run(1_440)
    bench.force(flap_open_fb=False)
    bench.run(90, never=lambda b: b.outputs.pulse_1_cmd and not b.fact("flap_open_proven"))
    bench.release("flap_open_fb")
    bench.run_until(SETTLE, within_ms=5_000, never=lambda b: b.outputs.pulse_1_cmd and not b.fact("flap_open"))


def test_a_pulse_waits_for_its_off_time(at):
    """Off-time 5 s behind a recovery of 0.2 s: the pulse comes when the valve has rested, and nothing trips."""
    bench = at(PULSE, recovery_ms=200, pulse_off_min_ms=5_000)
    bench.run_until(RECOVER, within_ms=200)
    bench.run_until(PULSE, within_ms=300)
    bench.run(4_700, never=lambda b: b.outputs.pulse_1_cmd)
    bench.run_until(RECOVER, within_ms=300)
    assert "OUTPUT_OVERRIDDEN" not in bench.acted


def test_the_pulse_of_a_reopening_is_left_out_within_its_off_time(at):
    """Off-time 5 s and the last pulse 3 s ago: re-opened without a pulse."""
    bench = at(PULSE, recovery_ms=200, settle_ms=0, pulses=1, pulse_off_min_ms=5_000, flap_reopen_ms=500)
    bench.machine.seat_free = False
    bench.run_until(RECOVER, within_ms=200)
    bench.run_until(REOPEN, within_ms=6_000, never=lambda b: b.outputs.pulse_1_cmd)
    bench.run_until(SEAL, within_ms=2_000, never=lambda b: b.outputs.pulse_1_cmd)


def test_a_flap_that_may_not_be_opened_for_too_long_is_a_trip(at):
    """Re-opening under vacuum: the last word holds the flap back, and an override that lasts is no flicker."""
    bench = at(SEAL)
    bench.machine.seat_free = False
    bench.force(vacuum_ua=vacuum_ua(1.5))
    bench.run_until(FAULT, within_ms=9_000, never=lambda b: b.outputs.flap_open_cmd and b.step is REOPEN)
    assert bench.first_out == "OUTPUT_OVERRIDDEN"


# ---- the commands clean and empty ----


def test_clean_warns_vents_opens_pulses_settles_and_rests(at):
    bench = at(REST)
    bench.run(6_000)
    bench.request("clean")
    bench.run_until(REST, within_ms=20_000, never=lambda b: b.outputs.source_cmd)
    assert bench.path == [WARNING, VENT, OPEN, *[PULSE, RECOVER] * 4, SETTLE, REST]
    assert bench.on == set()
    bench.run(500)
    assert bench.machine.flap_place == 0, "the flap closes in IDLE"


def test_empty_warns_vents_opens_drains_cleans_and_rests_with_nothing_on_board(at):
    """After a halt in convey: what is on board is dropped, the line stays loaded."""
    bench = at(CONVEY)
    bench.request("halt")
    bench.run(6_000)
    bench.history.clear()
    bench.request("empty")
    bench.run_until(REST, within_ms=30_000, never=lambda b: b.outputs.source_cmd)
    assert bench.path == [WARNING, VENT, OPEN, DRAIN, *[PULSE, RECOVER] * 4, SETTLE, REST]
    assert bench.remembers("on_board") == EMPTY
    assert bench.remembers("line_loaded")
    bench.run(6_000)
    bench.press_start()
    bench.run_until(PURGE, within_ms=10_000)


@pytest.mark.parametrize("command", ["clean", "empty"])
def test_stop_in_clean_or_empty_finishes_it_and_halt_ends_it(at, command):
    for word in ("stop", "halt"):
        bench = at(REST)
        bench.run(6_000)
        bench.request(command)
        bench.run_until(OPEN, within_ms=5_000)
        bench.run(500)
        bench.request(word)
        if word == "halt":
            assert bench.step is REST
        else:
            bench.run_until(REST, within_ms=20_000)
            assert bench.path.count(PULSE) == 4
        assert SEAL not in bench.path


@pytest.mark.parametrize("command", ["clean", "empty"])
def test_level_high_before_the_flap_opens_for_clean_or_empty_ends_the_order_with_the_flap_shut(at, command):
    """Not first given with level high in clean and empty: as during the horn, the order is at its end."""
    bench = at(REST)
    bench.run(6_000)
    bench.preset(vent_min_ms=5_000)
    bench.request(command)
    bench.run_until(VENT, within_ms=4_000)
    bench.machine.level_free = False
    bench.run_until(REST, within_ms=7_000, never=lambda b: b.outputs.flap_open_cmd)


@pytest.mark.parametrize("command", ["clean", "empty"])
def test_once_given_the_level_does_not_withdraw_the_flap(at, command):
    bench = at(REST)
    bench.run(6_000)
    bench.request(command)
    bench.run_until(OPEN, within_ms=5_000)
    bench.machine.level_free = False
    bench.run_until(SETTLE, within_ms=20_000, never=lambda b: not b.outputs.flap_open_cmd)
