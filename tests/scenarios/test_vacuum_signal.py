"""The vacuum signal: NE 43 limits, and what takes the place of the value in each step when it is bad."""

import pytest
from bench import BROKEN_WIRE_UA, Bench, vacuum_ua

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
)

DOUBTFUL_UA = 3_700  # between failed and measured, NAMUR NE 43


def name(step) -> str:
    return step.name


def trip_of(bench: Bench, within_ms: int) -> tuple[str, int]:
    took_ms = bench.run_until(FAULT, within_ms=within_ms)
    assert bench.on <= {"fault_lamp", "horn"}
    return bench.first_out, took_ms


@pytest.mark.parametrize("current_ua", [BROKEN_WIRE_UA, 3_600, 21_000])
@pytest.mark.parametrize("step", [PURGE, DRAW, CONVEY], ids=name)
def test_a_failed_vacuum_signal_trips_where_vacuum_must_be_known(at, step, current_ua):
    """NE 43 failure current for 500 ms in purge, draw and convey: trip."""
    bench = at(step, proving_pa=20_000 if step is DRAW else 1_200)
    bench.run(200)
    bench.force(vacuum_ua=current_ua)
    first_out, took_ms = trip_of(bench, 1_000)
    assert first_out == "SIGNAL_BAD"
    assert took_ms == pytest.approx(500, abs=10)


@pytest.mark.parametrize("step", [PURGE, CONVEY, CLEAR, VENT], ids=name)
def test_a_wire_broken_for_less_than_its_delay_holds_the_last_value(at, step):
    bench = at(step, vent_min_ms=2_000)
    bench.run(300)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    bench.run(490)
    bench.release("vacuum_ua")
    bench.run(300)
    assert bench.step is step
    assert not bench.acted


@pytest.mark.parametrize("current_ua", [3_700, 20_800])
def test_an_uncertain_signal_holds_the_last_value_for_two_seconds_then_is_bad(at, current_ua):
    """Between the NE 43 limits: last good value for 2 s, then bad."""
    bench = at(CONVEY)
    bench.run(4_000)
    bench.force(vacuum_ua=current_ua)
    bench.run(1_990, never=lambda b: b.step is not CONVEY)
    assert not bench.acted
    assert trip_of(bench, 100)[0] == "SIGNAL_BAD"


def test_a_signal_inside_the_measuring_range_is_good_to_its_ends(at):
    """3.8 and 20.5 mA are good: what they say counts at once (no vacuum; too high)."""
    bench = at(CONVEY)
    bench.run(1_000)
    bench.force(vacuum_ua=3_800)
    assert trip_of(bench, 1_100)[0] == "NO_VACUUM"
    bench = at(CONVEY)
    bench.force(vacuum_ua=20_500)
    bench.run_until(CLEAR, within_ms=1_100)
    assert "SIGNAL_BAD" not in bench.acted


def test_a_broken_wire_in_clear_clears_by_its_time(at):
    """Clear: by its time, 3.5 s; the warning stands."""
    bench = at(CLEAR)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    assert bench.run_until(VENT, within_ms=4_000) == 3_500
    assert "SIGNAL_BAD" in bench.acted


def test_a_broken_wire_in_vent_waits_the_full_release_limit_then_opens(at):
    """Vent: full release limit, then open; never sooner."""
    bench = at(VENT)
    bench.run(20)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    took_ms = bench.run_until(
        OPEN, within_ms=7_000, never=lambda b: b.outputs.flap_open_cmd and b.step is VENT
    )
    assert 20 + took_ms == 6_000
    bench.run_until(SETTLE, within_ms=15_000)


@pytest.mark.parametrize("step", [OPEN, DRAIN, PULSE, RECOVER, SETTLE], ids=name)
def test_a_broken_wire_where_vacuum_is_not_used_changes_nothing(at, step):
    """Quality is judged only in the steps that use the signal."""
    bench = at(step, settle_ms=3_000)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    bench.run_off(within_ms=5_000)
    assert bench.step is not FAULT
    assert not bench.acted


@pytest.mark.parametrize("step", [SEAL, REOPEN], ids=name)
def test_a_broken_wire_before_the_draw_ends_in_the_trip_of_the_draw(at, step):
    bench = at(step)
    bench.run(50)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    first_out, _ = trip_of(bench, 15_000)
    assert first_out == "SIGNAL_BAD"
    assert CONVEY not in bench.path


@pytest.mark.parametrize("step", [REST, LEVEL_HOLD], ids=name)
def test_a_broken_wire_at_rest_is_warned_of(at, step):
    bench = at(step)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    bench.run(600, never=lambda b: b.step is not step)
    assert "SIGNAL_BAD" in bench.acted


def test_a_pulse_that_shakes_the_signal_is_not_judged(at):
    """Not from a pulse to 1 s after it: off its range in pulse and recovery it is no bad signal."""
    bench = at(PULSE)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    bench.run(1_000, never=lambda b: b.fact("vacuum_bad"))


def test_a_signal_is_not_judged_until_a_second_after_the_pulse_however_short_the_recovery(at):
    """Recovery 0.2 s and no settling: at rest within the second after the pulse, and still not judged."""
    bench = at(PULSE, recovery_ms=200, settle_ms=0, pulses=1, pulses_last=1)
    bench.request("stop")
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    bench.run_until(RECOVER, within_ms=200)
    bench.run(990, never=lambda b: "SIGNAL_BAD" in b.acted)


def frozen(at) -> Bench:
    """A reading that stands at 5 kPa from before the seal, over source on and off."""
    bench = at(SETTLE)
    bench.force(vacuum_ua=vacuum_ua(5.0))
    bench.run_until(VENT, within_ms=30_000)
    return bench


def test_a_frozen_reading_is_bad_and_vent_waits_the_full_limit_then_opens(at):
    """No change over source on *and* off: SIGNAL_BAD, full release limit, open; not VACUUM_NOT_RELEASED."""
    bench = frozen(at)
    assert bench.run_until(OPEN, within_ms=7_000) == 6_000
    assert "SIGNAL_BAD" in bench.acted
    assert "VACUUM_NOT_RELEASED" not in bench.acted


def test_a_frozen_reading_trips_the_next_draw_and_refuses_the_next_start(at):
    """Bad stays bad until it moves again: no batch is drawn by it, no start accepted on it."""
    bench = frozen(at)
    bench.run_until(OPEN, within_ms=7_000)
    bench.run_until(FAULT, within_ms=20_000, never=lambda b: b.step is CONVEY)
    assert bench.first_out == "SIGNAL_BAD"
    bench.press_reset()
    bench.run(1_000)
    assert any("vacuum signal" in r for r in bench.press_start())
    bench.release("vacuum_ua")
    bench.run(6_000)
    assert bench.press_start() == []


def test_a_batch_that_is_only_emptied_is_no_test_of_the_transmitter(new):
    """Nothing was drawn since power-up: that the reading stands at zero through vent says nothing of it."""
    bench = new()
    bench.run(5_000)
    assert bench.press_start() == []
    bench.run_until(VENT, within_ms=6_000)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    bench.run_until(OPEN, within_ms=8_000)
    bench.release("vacuum_ua")
    bench.run_until(CONVEY, within_ms=60_000, never=lambda b: b.step is FAULT)


def test_a_reading_that_froze_in_mid_batch_is_told_before_the_vacuum_trips(at):
    """
    It went up with the source, so it is no frozen signal yet, and the flap stays shut: 60 kPa behind a plug may
    stand as still. That it did not move when the source went off is said after the vent time all the same.
    """
    bench = at(CONVEY)
    bench.run(5_000)
    bench.force(vacuum_ua=vacuum_ua(13.7))
    bench.run_until(VENT, within_ms=20_000)
    bench.run(2_950, never=lambda b: "SIGNAL_BAD" in b.acted)
    bench.run(100)
    assert bench.acts == {"SIGNAL_BAD"}
    assert trip_of(bench, 3_000)[0] == "VACUUM_NOT_RELEASED"


@pytest.mark.parametrize("kpa", [13.4, 14.0])
def test_a_reading_that_moved_when_the_source_went_off_is_not_called_frozen(at, kpa):
    bench = at(CONVEY)
    bench.run(5_000)
    bench.force(vacuum_ua=vacuum_ua(13.7))
    bench.run_until(VENT, within_ms=20_000)
    bench.force(vacuum_ua=vacuum_ua(kpa))
    assert trip_of(bench, 7_000)[0] == "VACUUM_NOT_RELEASED"
    assert "SIGNAL_BAD" not in bench.acted


def test_a_reading_that_moves_is_not_frozen(at):
    """It stood at 5 kPa in the draw and came to rest half a kPa higher: that is VACUUM_NOT_RELEASED."""
    bench = frozen(at)
    bench.force(vacuum_ua=vacuum_ua(5.5))
    assert trip_of(bench, 7_000)[0] == "VACUUM_NOT_RELEASED"


def test_the_horn_of_a_start_does_not_hide_a_broken_wire(at):
    bench = at(WARNING)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    bench.run(600)
    assert bench.step is REST


def test_a_doubtful_signal_calls_the_start_off_and_is_named(at):
    """Between its limits for longer than the failure delay: a permissive that is no longer true; a blink is not."""
    bench = at(WARNING)
    bench.force(vacuum_ua=3_700)
    bench.run(480)
    bench.release("vacuum_ua")
    bench.run(100)
    assert bench.step is WARNING
    bench.force(vacuum_ua=3_700)
    assert bench.run_until(REST, within_ms=600) == pytest.approx(500, abs=20)
    assert "vacuum" in bench.reason()


def test_with_timed_running_set_a_doubtful_signal_keeps_the_start(at):
    """While it is doubtful it is waited for, once it is bad times stand in: the start goes on."""
    bench = at(WARNING, timed_running=1)
    bench.force(vacuum_ua=DOUBTFUL_UA)
    bench.run_until(SEAL, within_ms=5_000, never=lambda b: b.step is REST)


@pytest.mark.parametrize("signal_failed_ms", [500, 5_000])
def test_a_signal_that_comes_and_goes_calls_the_start_off(at, signal_failed_ms):
    """Known bad before the horn is over: no start, however short each gap of the wire."""
    bench = at(WARNING, timed_running=0, signal_failed_ms=signal_failed_ms)
    for _ in range(20):
        bench.force(vacuum_ua=DOUBTFUL_UA)
        bench.run(50)
        bench.release("vacuum_ua")
        bench.run(250)
        if bench.step is REST:
            break
    assert bench.step is REST
    assert "DRAW" not in [step.name for _, step in bench.history[-3:]]

