"""Flap by kind: two coils, counterweight, held by vacuum; and how each failure looks at its switches."""

import pytest

from controller.image import Outputs
from io_sim.parameters import PlantParameters
from io_sim.plant import Plant

REST, OPEN, CLOSE = Outputs(), Outputs(flap_open_cmd=True), Outputs(flap_close_cmd=True)
AIR = Outputs(source_cmd=True, vent_close_cmd=True)
DRAW = AIR._replace(feed_cmd=True)
GONE = "supply_dumped"  # the safe exhaust empties the header


@pytest.fixture
def two_coils(quiet) -> PlantParameters:
    return quiet._replace(flap_valve=1.0)


@pytest.fixture
def counterweight(quiet) -> PlantParameters:
    return quiet._replace(flap_kind=1.0)


@pytest.fixture
def vacuum_held(quiet) -> PlantParameters:
    return quiet._replace(flap_kind=2.0)


def test_flap_with_two_coils_keeps_its_last_place(two_coils):
    plant = Plant(two_coils)
    assert plant.advance(OPEN, 1_000).flap_open_fb
    assert plant.advance(REST, 5_000).flap_open_fb
    assert plant.advance(CLOSE, 1_000).flap_closed_fb
    assert plant.advance(REST, 5_000).flap_closed_fb


def test_both_coils_at_once_move_nothing(two_coils):
    plant = Plant(two_coils)
    plant.advance(OPEN, 1_000)

    assert plant.advance(OPEN._replace(flap_close_cmd=True), 2_000).flap_open_fb


def test_flap_with_two_coils_returns_to_where_its_valve_stands_when_air_returns(two_coils):
    """The valve is left open, the air goes, somebody shuts the flap by hand, the air returns."""
    plant = Plant(two_coils)
    plant.advance(OPEN, 1_000)
    plant.fail(GONE)
    plant.advance(REST, 5_000)
    plant.set_state(flap_open=0.0)
    assert plant.advance(REST, 2_000).flap_closed_fb
    plant.heal(GONE)

    assert plant.advance(REST, 15_000).flap_open_fb


def test_without_air_product_opens_a_flap_of_two_coils_and_a_spring_holds_its_own(quiet, two_coils):
    closed = []
    for parameters in (quiet, two_coils):
        plant = Plant(parameters)
        plant.advance(CLOSE, 1_000)
        plant.fail(GONE)
        plant.set_state(body_kg=5.0)
        closed.append(plant.advance(REST, 5_000).flap_closed_fb)

    assert closed == [True, False]


def test_a_spring_that_is_not_there_does_not_change_a_flap_with_two_coils(two_coils):
    seen = []
    for spring_n in (10.0, 5_000.0):
        plant = Plant(two_coils._replace(flap_spring_n=spring_n))
        for outputs, ms in ((OPEN, 200), (OPEN, 600), (CLOSE, 200), (CLOSE, 600)):
            plant.advance(outputs, ms)
            seen.append(plant.reading("flap_open"))

    assert seen[:4] == seen[4:]
    assert seen[1] == 1.0
    assert seen[3] == 0.0
    assert 0.1 < seen[0] < 0.9


def test_two_coils_use_air_for_both_strokes(two_coils):
    """One side of 32 mm bore, 80 mm: 64 ml from 1 to about 8 bar absolute is 0.53 g at 20 C (ideal gas)."""
    plant = Plant(two_coils)
    plant.advance(OPEN, 2_000)
    once = plant.state.cylinder_air_kg
    plant.advance(CLOSE, 2_000)

    assert once == pytest.approx(64.3e-6 * 7e5 / (287.05 * 293.15), rel=0.03)
    assert plant.state.cylinder_air_kg == pytest.approx(2 * once, rel=0.03)


def test_counterweight_lets_go_where_product_and_vacuum_balance_it(counterweight):
    """
    By hand: seat of 150 mm is 0.01767 m2. Product of 550 kg/m3 loads it after Janssen with at most
    1.25 x 550 x 9.81 x 0.15 = 1,012 Pa, so 17.9 N; less 2 N of counterweight leaves 15.9 N,
    and 15.9 N / 0.01767 m2 = 899 Pa is the vacuum that still holds the flap.
    """
    for vacuum_pa, holds in ((930.0, True), (870.0, False)):
        plant = Plant(counterweight._replace(vent_fitted=0.0, body_leak_m2=0.0))
        plant.fail("line_blocked")
        plant.set_state(body_kg=7.0, body_gas_m3=0.035, body_pa=101_325.0 - vacuum_pa)
        plant.advance(REST, 20)
        assert (plant.state.flap_open == 0.0) is holds, vacuum_pa


def test_counterweight_swings_shut_when_the_body_is_empty(counterweight):
    """Emptying of 3 to 10 s (common practice, no source)."""
    plant = Plant(counterweight)
    plant.set_state(body_kg=7.0)
    assert not plant.advance(REST, 2_000).flap_closed_fb
    assert plant.state.flap_open > 0.9
    assert plant.advance(REST, 4_000).flap_closed_fb
    assert plant.state.body_kg < 0.05


def test_counterweight_carries_what_weighs_less_than_it(counterweight):
    """By hand: 2 N / 9.81 m/s2 = 0.204 kg."""
    shut = []
    for kg in (0.19, 0.22):
        plant = Plant(counterweight)
        plant.set_state(body_kg=kg, body_gas_m3=0.040 - kg / 1_400)
        plant.advance(REST, 20)
        shut.append(plant.state.flap_open == 0.0)

    assert shut == [True, False]


def test_empty_counterweight_flap_stands_shut_and_needs_no_air(counterweight):
    plant = Plant(counterweight)
    plant.fail(GONE)

    assert plant.advance(OPEN, 5_000).flap_closed_fb
    assert plant.state.cylinder_air_kg == 0.0


def test_hanging_flap_holds_its_batch_under_vacuum_and_drops_it_when_the_source_stops(quiet):
    for kind in (1.0, 2.0):
        plant = Plant(quiet._replace(flap_kind=kind))
        assert plant.advance(DRAW, 8_000).flap_closed_fb
        assert plant.state.delivered_kg == 0.0
        assert not plant.advance(REST, 1_500).flap_closed_fb
        plant.advance(REST, 10_000)
        assert plant.state.delivered_kg > 0.8 * plant.state.arrived_kg


def test_flap_held_by_vacuum_hangs_ajar_and_the_vacuum_closes_the_last_bit(vacuum_held):
    plant = Plant(vacuum_held._replace(flap_ajar=0.08))
    assert not plant.advance(REST, 2_000).flap_closed_fb
    assert plant.state.flap_open == pytest.approx(0.08, abs=0.005)
    assert plant.advance(AIR, 1_500).flap_closed_fb  # within the pull-in time
    assert plant.state.flap_open == 0.0
    assert not plant.advance(REST, 3_000).flap_closed_fb


def pull_in_ms(parameters: PlantParameters, ajar: float, *failures: str) -> int:
    """How long the running source takes to shut the flap; 10,000 if it does not."""
    plant = Plant(parameters._replace(flap_ajar=ajar))
    for failure in failures:
        plant.fail(failure)
    plant.advance(REST, 2_000)
    for ms in range(0, 10_000, 10):
        if plant.state.flap_open == 0.0:
            return ms
        plant.advance(AIR, 10)
    return 10_000


def test_flap_that_hangs_further_open_or_draws_less_is_pulled_in_later(vacuum_held):
    near, far = pull_in_ms(vacuum_held, 0.03), pull_in_ms(vacuum_held, 0.2)

    assert 0 < near < far < 1_500
    assert far < pull_in_ms(vacuum_held, 0.2, "source_weak")
    assert pull_in_ms(vacuum_held, 0.2, "flap_sticks_open") == 10_000


def test_product_below_keeps_the_flap_from_closing(quiet):
    """The vessel says how far; it sets `heap_at_flap` in each step."""
    plant = Plant(quiet._replace(vessel_demand_kg_h=0.0))
    plant.advance(OPEN, 1_000)
    plant.set_state(vessel_kg=plant.derived.vessel_capacity_kg, body_kg=1.0)
    inputs = plant.advance(REST, 2_000)

    assert not inputs.flap_closed_fb
    assert plant.state.flap_open == plant.state.heap_at_flap > 0.1


def test_swapped_hoses_open_the_flap_that_should_close(quiet, two_coils):
    for parameters, shut in ((quiet, REST), (two_coils, CLOSE)):
        plant = Plant(parameters)
        plant.fail("flap_hoses_swapped")
        inputs = plant.advance(shut, 1_500)
        assert inputs.flap_open_fb
        assert not inputs.flap_closed_fb
        assert plant.advance(OPEN, 1_500).flap_closed_fb


def test_leak_at_the_flap_hardly_shows_on_the_vacuum(quiet):
    """20 mm2 take 0.5 kPa off (a model figure of this project); this one has up to 100 mm2."""
    vacuum = {}
    for amount in (0.0, 0.2, 1.0):
        plant = Plant(quiet)
        plant.fail("flap_leaking", amount)
        assert plant.advance(DRAW, 8_000).flap_closed_fb
        vacuum[amount] = plant.reading("vacuum_pa_v")

    assert 100 < vacuum[0.0] - vacuum[0.2] < 800
    assert vacuum[0.2] > vacuum[1.0] > 0.7 * vacuum[0.0]


def test_string_on_the_seat_loses_the_closed_switch_when_the_vacuum_pulls(quiet):
    plant = Plant(quiet)
    plant.fail("string_on_seat")
    assert plant.advance(REST, 1_000).flap_closed_fb
    assert not plant.advance(DRAW, 6_000).flap_closed_fb
    assert plant.reading("vacuum_pa_v") > 8_000  # a small leak, not an open flap
    assert plant.advance(REST, 4_000).flap_closed_fb


def test_thin_string_keeps_the_switch_and_takes_some_vacuum(quiet):
    vacuum = []
    for amount in (0.0, 0.5):
        plant = Plant(quiet)
        plant.fail("string_on_seat", amount)
        assert plant.advance(DRAW, 6_000).flap_closed_fb
        vacuum.append(plant.reading("vacuum_pa_v"))

    assert 0.85 * vacuum[0] < vacuum[1] < vacuum[0]


def test_hanging_flap_sticks_and_creeps_like_a_driven_one(counterweight):
    stuck, slow, good = Plant(counterweight), Plant(counterweight), Plant(counterweight)
    stuck.fail("flap_sticks_closed")
    slow.fail("flap_slow")
    for plant in (stuck, slow, good):
        plant.set_state(body_kg=7.0)
        plant.advance(REST, 300)

    assert stuck.state.flap_open == 0.0
    assert 0.0 < slow.state.flap_open < 0.4 * good.state.flap_open
