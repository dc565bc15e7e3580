"""Vacuum by switch, by times, with a broken signal, on the clean side; supply air by switch or by both."""

import pytest
from bench import BROKEN_WIRE_UA, Bench, dp_ua, vacuum_ua

from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    EMPTY,
    FAULT,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    PURGE,
    REST,
    SEAL,
    SETTLE,
    VENT,
    WARNING,
)

PROVING_MS, CLEAR_MS, VENT_TIMED_MS, RELEASE_LIMIT_MS = 3_000, 3_500, 3_000, 6_000
SWITCH = {"vacuum_by": 1, "vent_timed_ms": VENT_TIMED_MS}
TIMES = {"vacuum_by": 2, "vent_timed_ms": VENT_TIMED_MS}
TIMED = {"timed_running": 1}
SUPPLY_SWITCH = {"supply_by": 1}
SUPPLY_BOTH = {"supply_by": 2}


def faulted(bench: Bench) -> bool:
    return bench.step is FAULT


# ---- by switch ----


def test_a_vacuum_switch_proves_and_releases_whatever_the_current_says(fitted):
    bench = fitted(**SWITCH).at(SEAL)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    bench.run_until(DRAW, within_ms=6_000)
    assert bench.run_until(CONVEY, within_ms=2_000) < PROVING_MS
    bench.run_until(SEAL, within_ms=60_000, never=faulted)
    assert bench.path[:7] == [DRAW, CONVEY, CLEAR, VENT, OPEN, DRAIN, PULSE]
    assert "SIGNAL_BAD" not in bench.acted


def test_a_vacuum_switch_that_never_makes_is_no_vacuum(fitted):
    bench = fitted(**SWITCH).at(DRAW)
    bench.force(vacuum_switch=False)
    assert bench.run_to_trip("NO_VACUUM", within_ms=4_000) == PROVING_MS


def test_a_vacuum_switch_that_drops_out_in_convey_is_no_vacuum(fitted):
    bench = fitted(**SWITCH).at(CONVEY)
    bench.run(500)
    bench.force(vacuum_switch=False)
    assert bench.run_to_trip("NO_VACUUM", within_ms=1_100) == pytest.approx(1_000, abs=20)


def test_by_switch_the_flap_opens_after_the_vent_time_and_only_with_the_switch_off(fitted):
    """A switch tells nothing of the last kilopascal: the vent time is waited for as well."""
    bench = fitted(**SWITCH).at(VENT)
    assert bench.run_until(OPEN, within_ms=4_000) == pytest.approx(VENT_TIMED_MS, abs=20)
    held = fitted(**SWITCH).at(VENT)
    held.force(vacuum_switch=True)
    held.run(VENT_TIMED_MS + 500, never=lambda b: b.outputs.flap_open_cmd)
    held.release("vacuum_switch")
    held.run_until(OPEN, within_ms=100)


def test_a_vacuum_switch_that_stays_made_is_vacuum_not_released_and_bars_reset(fitted):
    bench = fitted(**SWITCH).at(VENT)
    bench.force(vacuum_switch=True)
    bench.run_to_trip(
        "VACUUM_NOT_RELEASED", within_ms=RELEASE_LIMIT_MS + 100, never=lambda b: b.outputs.flap_open_cmd
    )
    assert bench.press_reset() == ["body vacuum is over the release threshold"]
    bench.release("vacuum_switch")
    bench.run(200)
    assert bench.press_reset() == []


def test_a_vacuum_switch_made_at_rest_warns_and_refuses_start(fitted):
    bench = fitted(**SWITCH).at(REST)
    bench.force(vacuum_switch=True)
    bench.run(6_000)
    assert "VACUUM_IN_IDLE" in bench.acts
    assert bench.press_start() == ["body vacuum is not within the release threshold of zero"]
    bench.release("vacuum_switch")
    bench.run(100)
    assert bench.press_start() == []


def test_by_switch_a_batch_lasts_its_time_and_clear_too(fitted):
    """No threshold, so no early end of the batch and no line found empty."""
    bench = fitted(**SWITCH).at(CONVEY)
    bench.force(vacuum_ua=vacuum_ua(4.3))
    assert bench.run_until(CLEAR, within_ms=17_000) == 16_000
    assert bench.run_until(VENT, within_ms=4_000) == CLEAR_MS


# ---- by times ----


def test_without_an_instrument_times_stand_in_for_it(fitted):
    """Draw: its proving time. Clear: its time. Vent: the vent time since the source went off."""
    bench = fitted(**TIMES).at(DRAW)
    bench.force(vacuum_ua=BROKEN_WIRE_UA, vacuum_switch=False)
    assert bench.run_until(CONVEY, within_ms=4_000) == PROVING_MS
    assert bench.run_until(CLEAR, within_ms=17_000) == 16_000
    assert bench.run_until(VENT, within_ms=4_000) == CLEAR_MS
    assert bench.run_until(OPEN, within_ms=4_000) == pytest.approx(VENT_TIMED_MS, abs=20)
    bench.run_until(CONVEY, within_ms=40_000, never=faulted)
    assert not bench.acted.keys() & {"NO_VACUUM", "SIGNAL_BAD", "VACUUM_NOT_RELEASED"}


def test_without_an_instrument_a_loaded_line_is_purged_for_the_clearing_time(fitted):
    bench = fitted(**TIMES).at(PURGE)
    assert bench.run_until(DRAW, within_ms=6_000) == CLEAR_MS
    bench.run_until(CONVEY, within_ms=4_000)


def test_without_an_instrument_the_current_bars_neither_start_nor_reset(fitted):
    bench = fitted(**TIMES).at(FAULT)
    bench.force(vacuum_ua=vacuum_ua(20))
    bench.run(1_000)
    assert bench.press_reset() == []
    bench.run(6_000)
    assert "VACUUM_IN_IDLE" not in bench.acted
    assert bench.press_start() == []


# ---- timed running with a broken signal ----


def test_a_broken_signal_refuses_start_unless_timed_running_is_set(fitted):
    bench = fitted().at(REST)
    bench.force(vacuum_ua=BROKEN_WIRE_UA)
    bench.run(6_000)
    assert "the vacuum signal is not good" in bench.press_start()
    assert bench.step is REST
    timed = fitted(**TIMED).at(REST)
    timed.force(vacuum_ua=BROKEN_WIRE_UA)
    timed.run(6_000)
    assert timed.press_start() == []
    timed.run_until(DRAIN, within_ms=60_000, never=faulted)


@pytest.mark.parametrize("step", [PURGE, DRAW, CONVEY])
def test_a_signal_that_breaks_while_drawing_trips_or_goes_on_by_times(fitted, step):
    for station, trips in (({}, True), (TIMED, False)):
        bench = fitted(**station).at(step, proving_ms=10_000)
        bench.run(300)
        bench.force(vacuum_ua=BROKEN_WIRE_UA)
        if trips:
            bench.run_to_trip("SIGNAL_BAD", within_ms=1_000)
        else:
            bench.run_until(CLEAR, within_ms=60_000, never=faulted)
            assert bench.run_until(VENT, within_ms=4_000, never=faulted) == CLEAR_MS
            assert bench.run_until(OPEN, within_ms=7_000, never=faulted) == pytest.approx(
                RELEASE_LIMIT_MS, abs=20
            )
            assert "SIGNAL_BAD" in bench.acted


# ---- clean side, relative threshold ----


def test_on_the_clean_side_no_material_is_reading_less_dp(fitted):
    """12.8 kPa behind a filter that takes 10 is 2.8 kPa in the line: nothing comes. The reading alone says it does."""
    clean = {"vacuum_side": 1, "dp_fitted": 1, "dp_warn_pa": 15_000, "dp_trip_pa": 20_000}
    bench = fitted(**clean).at(CONVEY)
    bench.force(vacuum_ua=vacuum_ua(12.8), filter_dp_ua=dp_ua(10.0))
    assert bench.run_until(VENT, within_ms=6_000) == 3_000 + 2_000
    dirty = fitted(**{**clean, "vacuum_side": 0}).at(CONVEY)
    dirty.force(vacuum_ua=vacuum_ua(12.8), filter_dp_ua=dp_ua(10.0))
    dirty.run_until(CLEAR, within_ms=17_000)


def test_on_the_clean_side_with_product_the_batch_goes_on(fitted):
    bench = fitted(vacuum_side=1, dp_fitted=1).at(CONVEY)
    bench.force(vacuum_ua=vacuum_ua(15.5), filter_dp_ua=dp_ua(1.8))
    assert bench.run_until(CLEAR, within_ms=17_000) == 16_000


RELATIVE = {"no_material_relative": 1, "no_material_percent": 140, "no_material_pa": 6_500}


def ends(bench: Bench, kpa: float) -> bool:
    """A batch at so much vacuum from its first moment ends for want of material."""
    other = bench.copy()
    other.run_until(CONVEY, within_ms=60_000)
    other.machine.conveying_kpa = kpa
    other.run_off(within_ms=17_000)
    return other.step is VENT


def test_the_threshold_follows_the_air_only_vacuum_of_the_last_clear(fitted):
    """4.3 kPa at the end of clear, times 1.4 is 6.0: 6.2 kPa is product, though under the absolute 6.5; 5.8 is none."""
    bench = fitted(**RELATIVE).at(VENT)
    assert bench.remembers("air_only_pa") == pytest.approx(4_300, abs=300)
    limit_kpa = bench.remembers("air_only_pa") * 1.4 / 1_000
    assert not ends(bench, limit_kpa + 0.15)
    assert ends(bench, limit_kpa - 0.2)
    assert limit_kpa + 0.15 < 6.5
    assert ends(fitted().at(VENT), limit_kpa + 0.15), "absolute"


def test_the_air_only_vacuum_is_retained(fitted):
    bench = fitted(**RELATIVE).at(DRAIN)
    learned_pa = bench.remembers("air_only_pa")
    bench.power_cycle()
    assert bench.remembers("air_only_pa") == learned_pa > 0


def test_a_clear_that_its_time_ends_teaches_nothing(fitted):
    bench = fitted(**RELATIVE).at(CLEAR)
    was_pa = bench.remembers("air_only_pa")
    bench.machine.air_only_kpa = 5.9
    assert bench.run_until(VENT, within_ms=4_000) == CLEAR_MS
    assert bench.remembers("air_only_pa") == was_pa


def at_rest_and_empty(fitted) -> Bench:
    bench = fitted(**RELATIVE).at(VENT)
    bench.request("stop")
    bench.run_until(REST, within_ms=40_000)
    bench.run(6_000)
    return bench


def test_after_a_recipe_change_the_absolute_threshold_holds_until_a_clear_has_taught_anew(fitted):
    bench = at_rest_and_empty(fitted)
    assert bench.request("recipe") == []
    assert bench.remembers("air_only_pa") == 0
    bench.press_start()
    assert ends(bench, 6.3)
    bench.run_until(VENT, within_ms=60_000)
    assert not ends(bench, 6.3)


def test_a_recipe_is_changed_only_with_nothing_on_board_and_the_line_not_loaded(fitted):
    bench = fitted(**RELATIVE).at(CONVEY)
    assert bench.request("recipe") != []
    bench.request("halt")
    bench.run(500)
    reasons = bench.request("recipe")
    assert len(reasons) == 2
    assert any("on board" in why for why in reasons)
    assert any("line" in why for why in reasons)
    assert bench.remembers("air_only_pa") > 0
    assert at_rest_and_empty(fitted).request("recipe", remote=True) == ["another place has control"]


# ---- supply air by switch ----


@pytest.mark.parametrize("station", [SUPPLY_SWITCH, SUPPLY_BOTH], ids=["switch", "both, transmitter broken"])
def test_a_supply_switch_is_low_after_its_delay(fitted, station):
    bench = fitted(**station).at(CONVEY)
    bench.force(supply_air_ua=BROKEN_WIRE_UA)
    bench.run(3_000, never=faulted)
    bench.force(supply_air_ok=False)
    assert bench.run_to_trip("SUPPLY_AIR_LOW", within_ms=1_100) == pytest.approx(1_000, abs=20)


def test_a_transmitter_broken_without_a_switch_is_low(fitted):
    bench = fitted().at(CONVEY)
    bench.force(supply_air_ua=BROKEN_WIRE_UA)
    bench.run_to_trip("SUPPLY_AIR_LOW", within_ms=2_000)


def test_a_supply_switch_open_refuses_start_and_gives_no_pulse(fitted):
    bench = fitted(**SUPPLY_SWITCH).at(REST)
    bench.force(supply_air_ok=False, supply_air_ua=BROKEN_WIRE_UA)
    bench.run(6_000)
    assert bench.press_start() == ["supply air is not over its low limit plus the band"]
    bench.release("supply_air_ok")
    bench.run(100)
    assert bench.press_start() == []
    bench.run_until(WARNING, within_ms=10)
    weak = fitted(**SUPPLY_SWITCH).at(DRAIN)
    weak.force(supply_air_ok=False)
    weak.run_until(PULSE, within_ms=5_000)
    assert weak.run_until(SETTLE, within_ms=6_000, never=lambda b: b.outputs.pulse_1_cmd) == 5_000
    assert "PULSE_TANK_WEAK" in weak.acted


@pytest.mark.parametrize("station", [SUPPLY_SWITCH, SUPPLY_BOTH], ids=["switch", "both, transmitter broken"])
def test_a_supply_switch_must_have_been_made_for_its_delay_before_a_pause_for_air_ends(fitted, station):
    """A switch has no hysteresis: made for a moment when the minimum stop is over resumes nothing."""
    bench = fitted(**station).at(CONVEY, supply_low_effect=1, resume_stop_ms=5_000)
    bench.force(supply_air_ua=BROKEN_WIRE_UA, supply_air_ok=False)
    bench.run_until(LEVEL_HOLD, within_ms=2_000, never=faulted)
    bench.run(5_000)
    for made in (True, False) * 3:
        bench.force(supply_air_ok=made)
        bench.run(900, never=lambda b: b.step is not LEVEL_HOLD)
    bench.force(supply_air_ok=True)
    assert bench.run_until(SEAL, within_ms=1_100) == pytest.approx(1_000, abs=20)


def test_a_switch_sees_no_very_low_limit(fitted):
    bench = fitted(**SUPPLY_SWITCH).at(DRAIN)
    bench.force(supply_air_ok=False, supply_air_ua=BROKEN_WIRE_UA)
    bench.run(1_500, never=faulted)


def test_with_both_fitted_and_the_transmitter_good_very_low_trips(fitted):
    bench = fitted(**SUPPLY_BOTH).at(DRAIN)
    bench.machine.supply_bar_g = 2.5
    bench.run_to_trip("SUPPLY_AIR_LOST", within_ms=200)
    assert bench.remembers("on_board") != EMPTY
