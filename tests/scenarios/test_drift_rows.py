"""Rows that see something get worse: filter dp, cleaning that does no good, supply that sags, a slow flap."""

import pytest
from bench import BENCHES, BROKEN_WIRE_UA, Bench, dp_ua

from controller.sequence.steps import CLEAR, CONVEY, DRAIN, DRAW, FAULT, OPEN, PULSE, REST, SEAL, SETTLE, VENT

MASK_MS, DELAY_MS = 2_000, 3_000
DP = {
    "dp_fitted": 1, "dp_warn_pa": 5_000, "dp_trip_pa": 10_000, "dp_min_pa": 500, "dp_mask_ms": MASK_MS,
    "dp_ms": DELAY_MS, "cleaning_fall_percent": 0, "clean_every": 50,
}  # fmt: skip


def batch(bench: Bench) -> list:
    """From convey to the next convey, or to a fault."""
    begin, bench.scan_ms = len(bench.path), 20
    bench.scan()
    while bench.step is not FAULT and not (bench.step is CONVEY and len(bench.path) > begin):
        bench.scan()
        assert bench.now_ms < 3_600_000, bench.explain()
    bench.scan_ms = 10
    return bench.path[begin:]


# ---- filter differential pressure ----


def test_dp_over_its_limit_asks_for_a_clean_then_warns(fitted):
    """The first: an extra clean. The batch after it still high: a warning, and it goes on."""
    bench = fitted(**DP).at(CONVEY)
    assert PULSE not in batch(bench)
    bench.machine.dp_kpa = 6.0
    assert PULSE in batch(bench)
    assert "FILTER_DP_HIGH" not in bench.acted
    assert PULSE in batch(bench)
    assert "FILTER_DP_HIGH" in bench.acted
    assert bench.step is CONVEY


def test_a_clean_that_helped_warns_of_nothing(fitted):
    bench = fitted(**DP).at(CONVEY)
    bench.machine.dp_kpa = 6.0
    assert PULSE in batch(bench)
    bench.machine.dp_kpa = 2.0
    assert PULSE not in batch(bench)
    assert PULSE not in batch(bench)
    assert "FILTER_DP_HIGH" not in bench.acted


def test_dp_is_looked_at_only_from_the_mask_on_and_after_its_delay(fitted):
    """The line starts empty and fast: 4.9 s of high dp in convey is nothing."""
    bench = fitted(**DP).at(CONVEY)
    bench.machine.dp_kpa = 11.0
    bench.run(MASK_MS + DELAY_MS - 100)
    bench.machine.dp_kpa = 2.0
    assert PULSE not in batch(bench)


def test_dp_over_the_second_limit_ends_the_batch_cleans_and_trips_when_it_repeats(fitted):
    bench = fitted(**DP).at(CONVEY)
    bench.machine.dp_kpa = 11.0
    assert bench.run_until(CLEAR, within_ms=6_000) == pytest.approx(MASK_MS + DELAY_MS, abs=30)
    bench.run_until(PULSE, within_ms=20_000)
    bench.run_until(CONVEY, within_ms=30_000)
    bench.run_to_trip("FILTER_DP_HIGH", within_ms=6_000)


def test_dp_over_the_second_limit_once_is_cleaned_and_forgotten(fitted):
    bench = fitted(**DP).at(CONVEY)
    bench.machine.dp_kpa = 11.0
    bench.run_until(CLEAR, within_ms=6_000)
    bench.machine.dp_kpa = 2.0
    bench.run_until(CONVEY, within_ms=40_000)
    for _ in range(2):
        assert FAULT not in batch(bench)


@pytest.mark.parametrize("effect", [0, 1])
def test_dp_under_its_minimum_warns_or_trips(fitted, effect):
    """Element missing or torn: product at the exhaust."""
    bench = fitted(**DP, dp_low_effect=effect).at(CONVEY)
    bench.machine.dp_kpa = 0.3
    bench.run(MASK_MS + DELAY_MS - 50, never=lambda b: "FILTER_DP_LOW" in b.acts)
    if effect:
        bench.run_to_trip("FILTER_DP_LOW", within_ms=200)
    else:
        bench.run(200)
        assert "FILTER_DP_LOW" in bench.acts
        bench.run_until(SEAL, within_ms=60_000, never=lambda b: b.step is FAULT)


def test_a_dp_signal_gone_bad_cleans_every_batch_and_warns(fitted):
    bench = fitted(**DP).at(CONVEY)
    bench.force(filter_dp_ua=BROKEN_WIRE_UA)
    for _ in range(2):
        assert PULSE in batch(bench)
    assert "SIGNAL_BAD" in bench.acted
    assert not bench.acted.keys() & {"FILTER_DP_HIGH", "FILTER_DP_LOW"}


def test_a_dp_that_stands_as_convey_left_it_is_frozen(fitted):
    """Without air through the filter there is no pressure drop: bad from the next batch on, until it moves again."""
    bench = fitted(**DP).at(CONVEY)
    bench.run(5_000)
    bench.force(filter_dp_ua=dp_ua(2.0))
    assert PULSE not in batch(bench)
    assert PULSE in batch(bench)
    bench.run(100)
    assert bench.acts == {"SIGNAL_BAD"}
    bench.release("filter_dp_ua")
    bench.machine.dp_kpa = 3.0
    bench.run(100)
    assert bench.acts == set()
    assert PULSE not in batch(bench)


@pytest.mark.parametrize("kpa", [0.0, 0.4])
def test_a_dp_that_stands_under_its_minimum_is_no_frozen_signal(fitted, kpa):
    """An element that is missing gives nothing either: that is FILTER_DP_LOW."""
    bench = fitted(**DP).at(CONVEY)
    bench.force(filter_dp_ua=dp_ua(kpa))
    for _ in range(2):
        batch(bench)
    bench.run(6_000)
    assert set(bench.acted) == {"FILTER_DP_LOW"}


def test_a_dp_signal_that_is_not_fitted_is_not_read(fitted):
    bench = fitted(**{**DP, "dp_fitted": 0}).at(CONVEY)
    bench.force(filter_dp_ua=BROKEN_WIRE_UA)
    assert PULSE not in batch(bench)
    assert bench.acted == {}


# ---- CLEANING_WEAK ----

WEAK = {**DP, "clean_every": 1, "cleaning_fall_percent": 5, "cleaning_weak_in_row": 5}


def test_cleans_that_do_not_lower_dp_warn(fitted):
    """Five cleans after which dp stands where it stood."""
    bench = fitted(**WEAK).at(CONVEY)
    bench.machine.dp_kpa = 3.0
    for _ in range(4):
        batch(bench)
    assert "CLEANING_WEAK" not in bench.acted
    for _ in range(2):
        batch(bench)
    bench.run(3_000)
    assert "CLEANING_WEAK" in bench.acted
    assert bench.step is CONVEY


def test_cleans_that_lower_dp_do_not(fitted):
    """It grows through a batch by a sixth and falls again at each clean."""
    bench = fitted(**WEAK).at(CONVEY)
    for _ in range(7):
        bench.machine.dp_kpa = 3.0
        bench.run(3_000)
        bench.machine.dp_kpa = 3.5
        batch(bench)
        assert "CLEANING_WEAK" not in bench.acted


def test_pulses_at_which_the_supply_does_not_dip_warn(fitted):
    """A dead diaphragm or swapped wires: five pulses without a dip."""
    for dip_bar, weak in ((0.0, True), (0.5, False)):
        bench = fitted(pulse_dip_pa=20_000, cleaning_weak_in_row=5, pulses=6).at(DRAIN)
        bench.machine.pulse_dip_bar = dip_bar
        bench.run_until(SEAL, within_ms=40_000)
        assert ("CLEANING_WEAK" in bench.acted) == weak


# ---- SUPPLY_WEAK ----


@pytest.mark.parametrize("step", [DRAW, CONVEY, CLEAR])
def test_supply_far_under_its_rest_while_drawing_warns(fitted, step):
    """7 bar at rest, 5.2 drawing: isolating valve, air filter, line size. No trip: it is over its limits."""
    bench = fitted(supply_weak_pa=150_000).at(step, proving_ms=10_000, proving_pa=10_000, clear_ms=10_000)
    bench.machine.air_only_kpa = 5.9  # clear lasts
    bench.machine.supply_sag_bar = 1.8
    bench.run(1_200)
    assert bench.step is step
    assert "SUPPLY_WEAK" in bench.acts
    mild = fitted(supply_weak_pa=150_000).at(step, proving_ms=10_000, proving_pa=10_000, clear_ms=10_000)
    mild.machine.air_only_kpa = 5.9
    mild.machine.supply_sag_bar = 1.2
    mild.run(2_000, never=lambda b: "SUPPLY_WEAK" in b.acts)


def test_supply_that_is_low_all_along_is_not_weak(fitted):
    """Compared with its own rest, not with a limit."""
    bench = fitted().at(SETTLE)
    bench.machine.supply_bar_g = 5.0
    bench.run_until(CONVEY, within_ms=20_000)
    bench.run_until(VENT, within_ms=30_000)
    assert "SUPPLY_WEAK" not in bench.acted


# ---- FLAP_SLOW ----

SLOW = {"flap_slow_percent": 150, "flap_slow_in_row": 3, "fill_ms": 1_500, "fill_min_ms": 0}


@pytest.fixture(scope="module")
def learned():
    """Batches after which the flap's travel is known either way."""
    bench = BENCHES.fitted(**SLOW).at(CONVEY)
    for _ in range(11):
        batch(bench)
    assert (bench.remembers("openings_learned"), bench.remembers("closings_learned")) == (10, 10)
    assert "FLAP_SLOW" not in bench.acted
    return bench


def test_a_flap_slow_three_times_in_a_row_warns(learned):
    bench = learned.copy()
    bench.machine.flap_travel_ms = 600
    batch(bench)
    assert "FLAP_SLOW" not in bench.acted
    for _ in range(3):
        batch(bench)
    assert "FLAP_SLOW" in bench.acted
    assert bench.step is CONVEY


def test_one_slow_move_is_a_cold_morning(learned):
    bench = learned.copy()
    for travel_ms in (600, 300, 600, 300):
        bench.machine.flap_travel_ms = travel_ms
        batch(bench)
    assert "FLAP_SLOW" not in bench.acted


@pytest.mark.parametrize("way", [OPEN, SEAL])
def test_opening_and_closing_are_watched_apart(learned, way):
    bench = learned.copy()
    for _ in range(4):
        bench.machine.flap_travel_ms = 300
        bench.run_until(way, within_ms=40_000)
        bench.machine.flap_travel_ms = 600
        bench.run(900)
    batch(bench)
    assert "FLAP_SLOW" in bench.acted


def test_learned_times_outlive_the_power(learned):
    bench = learned.copy()
    bench.power_cycle()
    bench.run(6_000)
    bench.press_start()
    bench.machine.flap_travel_ms = 600
    bench.run_until(CONVEY, within_ms=40_000)
    for _ in range(3):
        batch(bench)
    assert "FLAP_SLOW" in bench.acted


def test_after_work_on_the_flap_it_is_learned_anew(learned):
    bench = learned.copy()
    bench.request("stop")
    bench.run_until(REST, within_ms=30_000)
    bench.run(6_000)
    assert bench.request("relearn") == []
    assert bench.remembers("openings_learned") == bench.remembers("closings_learned") == 0
    bench.machine.flap_travel_ms = 600
    bench.press_start()
    bench.run_until(CONVEY, within_ms=20_000)
    for _ in range(11):
        batch(bench)
    assert "FLAP_SLOW" not in bench.acted
    bench.machine.flap_travel_ms = 1_200
    for _ in range(4):
        batch(bench)
    assert "FLAP_SLOW" in bench.acted
