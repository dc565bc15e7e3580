"""Body vacuum: proved before product moves, never too high for long, gone before the flap opens."""

import pytest
from bench import Bench, vacuum_ua

from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAW,
    FAULT,
    LEVEL_HOLD,
    OPEN,
    PURGE,
    REST,
    SEAL,
    SETTLE,
    VENT,
)


def name(step) -> str:
    return step.name


def trip_of(bench: Bench, within_ms: int) -> tuple[str, int]:
    took_ms = bench.run_until(FAULT, within_ms=within_ms)
    assert bench.on <= {"fault_lamp", "horn"}
    return bench.first_out, took_ms


# ---- NO_VACUUM ----


@pytest.mark.parametrize("step", [DRAW, PURGE], ids=name)
def test_no_vacuum_by_the_proving_time_trips(at, step):
    """Under 1.2 kPa for the 3 s of proving: source, leak, seat, hose, vent."""
    bench = at(step, clear_ms=20_000)
    bench.machine.air_only_kpa = 1.1
    assert trip_of(bench, 4_000) == ("NO_VACUUM", 3_000)


def test_vacuum_proved_just_in_time_goes_on_to_convey(at):
    bench = at(DRAW)
    bench.force(vacuum_ua=vacuum_ua(1.1))
    bench.run(2_980)
    bench.force(vacuum_ua=vacuum_ua(1.25))
    bench.run_until(CONVEY, within_ms=20)


@pytest.mark.parametrize("step", [CONVEY, PURGE], ids=name)
def test_vacuum_gone_after_it_was_proved_trips_and_is_not_taken_for_starvation(at, step):
    """A hose that comes off in convey or purge: under the proving threshold for 1 s, trip."""
    bench = at(step, clear_ms=20_000)
    bench.run(1_000)
    bench.force(vacuum_ua=vacuum_ua(0.9))
    assert trip_of(bench, 1_500) == ("NO_VACUUM", 1_010)


@pytest.mark.parametrize("step", [CONVEY, PURGE], ids=name)
def test_vacuum_gone_for_less_than_its_delay_does_not_trip(at, step):
    bench = at(step, clear_ms=20_000)
    bench.run(1_000)
    bench.force(vacuum_ua=vacuum_ua(0.9))
    bench.run(990)
    bench.release("vacuum_ua")
    bench.run(500)
    assert not bench.acted


def test_no_vacuum_in_clear_is_not_looked_at(at):
    """An emptied line with the hose lifted reads nothing: clear ends, no trip."""
    bench = at(CLEAR)
    bench.machine.air_only_kpa = 0.2
    bench.run_until(VENT, within_ms=4_000)


# ---- VACUUM_TOO_HIGH ----


def high_batch(bench: Bench) -> None:
    """One batch ended by high vacuum whose line clears."""
    bench.run_until(CONVEY, within_ms=60_000)
    bench.machine.conveying_kpa = 50.0
    bench.run_until(CLEAR, within_ms=4_000)
    bench.machine.conveying_kpa = 13.7


@pytest.mark.parametrize("step", [CONVEY, DRAW], ids=name)
def test_vacuum_too_high_ends_the_batch_through_clear(at, step):
    """Over 35 kPa for 1 s: feed off, clear with purge, vent; no trip when the line comes to air-only."""
    bench = at(step, proving_pa=20_000 if step is DRAW else 1_200)
    if step is DRAW:  # a draw that lasts: the transmitter creeps, then jumps
        bench.preset(vacuum_high_pa=15_000)
        bench.force(vacuum_ua=vacuum_ua(16))
    else:
        bench.force(vacuum_ua=vacuum_ua(36))
    assert bench.run_until(CLEAR, within_ms=2_000) == pytest.approx(1_000, abs=10)
    assert "feed" not in bench.on
    assert "purge" in bench.on
    bench.release("vacuum_ua")
    bench.run_until(VENT, within_ms=4_000)
    assert "VACUUM_TOO_HIGH" in bench.acted


def test_a_slug_shorter_than_the_delay_and_vacuum_just_under_the_limit_do_nothing(at):
    bench = at(CONVEY)
    bench.force(vacuum_ua=vacuum_ua(50))
    bench.run(990)
    bench.force(vacuum_ua=vacuum_ua(34.9))
    bench.run(5_000)
    assert bench.step is CONVEY
    assert not bench.acted


def test_the_second_high_batch_of_three_trips(at):
    """2 of 3: high, good, high trips at the third; the second in a row trips too."""
    for good in (0, 1):
        bench = at(SEAL)
        high_batch(bench)
        bench.run_until(SETTLE, within_ms=30_000)
        for _ in range(good):
            bench.run_until(CLEAR, within_ms=30_000)
            bench.run_until(SETTLE, within_ms=30_000)
        bench.run_until(CONVEY, within_ms=5_000)
        bench.machine.conveying_kpa = 50.0
        assert trip_of(bench, 4_000)[0] == "VACUUM_TOO_HIGH"


def test_a_high_batch_after_two_good_ones_is_the_first_again(at):
    bench = at(SEAL)
    high_batch(bench)
    for _ in range(2):
        bench.run_until(SETTLE, within_ms=30_000)
        bench.run_until(CLEAR, within_ms=30_000)
    bench.run_until(SETTLE, within_ms=30_000)
    high_batch(bench)
    bench.run_until(SETTLE, within_ms=30_000)
    assert FAULT not in bench.path


# ---- LINE_BLOCKED ----


@pytest.mark.parametrize("clear_ms", [3_500, 0], ids=["clearing", "clearing off"])
def test_a_line_that_does_not_clear_after_high_vacuum_is_blocked(at, clear_ms):
    """Not at air-only when the clearing time ends: trip, with clearing off as well."""
    bench = at(CONVEY, clear_ms=clear_ms)
    bench.force(vacuum_ua=vacuum_ua(50))
    bench.run_until(CLEAR, within_ms=2_000)
    bench.force(vacuum_ua=vacuum_ua(9))
    first_out, took_ms = trip_of(bench, 6_000)
    assert first_out == "LINE_BLOCKED"
    assert took_ms >= 3_500
    assert bench.remembers("line_loaded")


def test_a_clear_that_was_not_too_high_ends_by_time_without_a_trip(at):
    """Only after VACUUM_TOO_HIGH: an ordinary clear that stays at 9 kPa ends with its time."""
    bench = at(CLEAR)
    bench.force(vacuum_ua=vacuum_ua(9))
    assert bench.run_until(VENT, within_ms=4_000) == 3_500


def test_high_vacuum_that_comes_in_clear_is_told_and_the_line_must_then_come_clear(at):
    """An overfull body shows itself when the feed has stopped: it counts as a batch ended too high."""
    bench = at(CLEAR)
    bench.force(vacuum_ua=vacuum_ua(50))
    bench.run(1_200)
    assert "VACUUM_TOO_HIGH" in bench.acts
    first_out, _ = trip_of(bench, 6_000)
    assert first_out == "LINE_BLOCKED"


def test_a_blocked_line_in_purge_trips_after_the_delay_of_high_vacuum(at):
    bench = at(PURGE)
    bench.run(100)
    bench.force(vacuum_ua=vacuum_ua(50))
    assert trip_of(bench, 1_500) == ("LINE_BLOCKED", 1_010)


def test_a_blocked_line_in_purge_trips_when_the_clearing_time_ends(at):
    """High vacuum that came too late for its delay: looked at once more when the clearing time ends."""
    bench = at(PURGE)
    bench.force(vacuum_ua=vacuum_ua(8))
    bench.run(3_000)
    bench.force(vacuum_ua=vacuum_ua(50))
    first_out, took_ms = trip_of(bench, 1_500)
    assert (first_out, took_ms) == ("LINE_BLOCKED", 500)


def test_a_purge_ends_at_air_only_or_with_its_time(at):
    """One transit (1.2 s) after proving, air-only for 1 s; or 3.5 s with vacuum under the limit."""
    clean, dirty = at(PURGE), at(PURGE)
    assert 2_200 <= clean.run_until(DRAW, within_ms=4_000) <= 2_400
    dirty.force(vacuum_ua=vacuum_ua(12))
    assert dirty.run_until(DRAW, within_ms=4_000) == 3_500


def test_a_slug_in_purge_shorter_than_its_delay_does_not_trip(at):
    bench = at(PURGE)
    bench.run(200)
    bench.force(vacuum_ua=vacuum_ua(50))
    bench.run(990)
    bench.release("vacuum_ua")
    bench.run_until(CONVEY, within_ms=5_000)


# ---- VACUUM_NOT_RELEASED ----


def test_vacuum_not_released_trips_keeps_the_vent_open_and_refuses_reset(at):
    """At the release limit: trip, the flap never opens; reset refused until released."""
    bench = at(VENT)
    bench.force(vacuum_ua=vacuum_ua(1.1))
    bench.run_until(FAULT, within_ms=7_000, never=lambda b: b.outputs.flap_open_cmd)
    assert bench.first_out == "VACUUM_NOT_RELEASED"
    bench.run(20_000, never=lambda b: b.outputs.vent_close_cmd)
    assert any("release threshold" in r for r in bench.press_reset())
    assert bench.step is FAULT
    bench.force(vacuum_ua=vacuum_ua(0.9))
    assert bench.press_reset() == []
    assert bench.step is REST


def test_the_release_limit_is_the_whole_time_and_just_before_it_the_flap_opens(at):
    late, just = at(VENT), at(VENT)
    late.force(vacuum_ua=vacuum_ua(1.1))
    assert trip_of(late, 7_000) == ("VACUUM_NOT_RELEASED", 6_000)
    just.force(vacuum_ua=vacuum_ua(1.1))
    just.run(5_700)
    just.force(vacuum_ua=vacuum_ua(0.9))
    just.run_until(OPEN, within_ms=300)


def test_released_must_settle_before_the_flap_opens(at):
    """Under the threshold for 200 ms in a row."""
    bench = at(VENT)
    for _ in range(10):
        bench.force(vacuum_ua=vacuum_ua(1.1))
        bench.run(100)
        bench.force(vacuum_ua=vacuum_ua(0.5))
        bench.run(150, never=lambda b: b.step is OPEN)
    bench.run_until(OPEN, within_ms=100)


# ---- VACUUM_IN_IDLE ----


@pytest.mark.parametrize("kpa", [1.1, -1.1])
@pytest.mark.parametrize("step", [REST, LEVEL_HOLD], ids=name)
def test_vacuum_or_pressure_at_rest_warns_five_seconds_after_source_off(at, step, kpa):
    bench = at(step)
    bench.run(6_000)
    bench.force(vacuum_ua=vacuum_ua(kpa))
    bench.run(1_000, never=lambda b: b.step is not step)
    assert "VACUUM_IN_IDLE" in bench.acted


def test_vacuum_at_rest_is_not_warned_of_before_five_seconds_nor_under_the_threshold(at):
    bench = at(CONVEY)
    bench.force(vacuum_ua=vacuum_ua(13))
    bench.request("halt")
    bench.run(4_900)
    assert "VACUUM_IN_IDLE" not in bench.acted
    bench.run(200)
    assert "VACUUM_IN_IDLE" in bench.acted
    quiet = at(REST)
    quiet.run(6_000)
    quiet.force(vacuum_ua=vacuum_ua(0.9))
    quiet.run(2_000)
    assert not quiet.acted
