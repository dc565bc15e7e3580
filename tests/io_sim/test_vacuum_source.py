"""Blower and vane pump: spin-up, run-down, bypass, relief valve, and how each failure looks."""

import math

import pytest

from controller.image import Outputs
from io_sim import formulas_air as air
from io_sim.parameters import PlantParameters, problems
from io_sim.plant import Plant
from io_sim.sources import with_motor
from io_sim.vacuum_source import source_runs

REST = Outputs()
ON = Outputs(source_cmd=True, vent_close_cmd=True)  # runs, on its bypass where it has one
AIR = ON._replace(bypass_close_cmd=True)
DRAW = AIR._replace(feed_cmd=True)


@pytest.fixture
def blower(quiet) -> PlantParameters:
    """A blower of 250 m3/h and 30 kPa on the medium station, relief valve at 25 kPa, with a bypass."""
    return with_motor(quiet, "blower", 250 / 3600, 30e3, 25e3)._replace(source_bypass=1.0)


@pytest.fixture
def vane_pump(quiet) -> PlantParameters:
    return with_motor(quiet, "vane_pump", 0.02, 91_325.0)


def vacuum_after(parameters: PlantParameters, outputs: Outputs, ms: int, *failures: str) -> float:
    plant = Plant(parameters)
    for failure in failures:
        plant.fail(failure)
    plant.advance(outputs, ms)
    return plant.reading("vacuum_pa_v")


def test_motor_runs_up_and_down_in_its_times_and_its_feedback_is_the_contactor(blower):
    plant = Plant(blower._replace(source_spin_up_s=2.0, source_run_down_s=10.0))
    plant.advance(AIR, 100)
    assert not source_runs(plant.state)  # picked up, hardly turning
    plant.advance(AIR, 400)
    assert source_runs(plant.state)
    assert plant.state.source_open == pytest.approx(0.25)
    plant.advance(AIR, 1_500)
    assert plant.state.source_open == pytest.approx(1.0)

    plant.advance(REST._replace(vent_close_cmd=True, bypass_close_cmd=True), 1_000)
    assert plant.state.source_open == pytest.approx(0.9)
    assert not source_runs(plant.state)
    assert plant.reading("vacuum_pa_v") > 1_000  # feedback off is not vacuum off
    plant.advance(REST, 9_100)
    assert plant.state.source_open == 0.0


def test_blower_at_half_speed_has_half_the_flow_and_a_quarter_of_the_dead_end(blower):
    """Affinity laws of turbomachines: flow with n, pressure with n squared (any textbook)."""
    plugged = {}
    for speed in (1.0, 0.5):
        plant = Plant(blower._replace(source_relief_pa_v=0.0, source_spin_up_s=30.0, body_leak_m2=0.0))
        plant.fail("line_blocked")
        plant.set_state(source_open=speed, bypass_open=0.0, vent_open=0.0)
        for _ in range(400):
            plant.set_state(source_open=speed)
            plant.advance(AIR, 10)
        plugged[speed] = plant.reading("vacuum_pa_v")

    assert plugged[1.0] == pytest.approx(30e3, rel=0.01)
    assert plugged[0.5] == pytest.approx(7.5e3, rel=0.01)


def test_vane_pump_evacuates_in_the_time_of_the_textbook(quiet, vane_pump):
    """
    S(p) = S0 (1 - pu / p): t = V/S0 ln((p0 - pu) / (p1 - pu)), any vacuum textbook.
    V 40 l, pu 10 kPa, 20 l/s at the 101.3 kPa of the room, so S0 22.2 l/s; 1.5 s.
    """
    pump = vane_pump._replace(
        body_leak_m2=0.0, filter_clean_drag_pa_s_m=1e3, filter_area_m2=10.0, filter_fines_share=0.0
    )
    plant = Plant(pump, step_ms=1)
    plant.fail("line_blocked")
    plant.set_state(source_open=1.0, vent_open=0.0)
    before = plant.state.body_pa
    plant.advance(AIR, 1_500)
    took = 0.040 / (0.02 / (1 - 10e3 / 101_325)) * math.log((before - 10e3) / (plant.state.body_pa - 10e3))

    assert took == pytest.approx(1.5, rel=0.005)


def test_motor_takes_no_supply_air_and_does_not_mind_its_loss(blower):
    plant = Plant(blower)
    plant.fail("supply_falls")
    plant.advance(DRAW, 15_000)

    assert plant.state.motive_air_kg == 0.0
    assert plant.reading("vacuum_pa_v") > 6_000


def test_blower_conveys_at_less_vacuum_than_its_relief_valve_and_a_plug_stops_there(blower):
    assert 5e3 < vacuum_after(blower, DRAW, 10_000) < 20e3
    assert vacuum_after(blower, DRAW, 10_000, "line_blocked") == pytest.approx(25e3, rel=0.005)
    assert vacuum_after(blower._replace(source_relief_pa_v=0.0), DRAW, 20_000, "line_blocked") > 28e3


def test_open_bypass_draws_the_room_and_vents_the_body_without_check_valve(blower):
    """At 20 kPa through 5 cm2 into 40 l: well under a second; with a check valve the vacuum stays."""
    left = {}
    for check_valve in (0.0, 1.0):
        plant = Plant(blower._replace(source_check_valve=check_valve))
        plant.fail("line_blocked")
        plant.advance(AIR, 8_000)
        assert plant.reading("vacuum_pa_v") > 20e3
        plant.advance(ON, 700)
        left[check_valve] = plant.reading("vacuum_pa_v")
        assert source_runs(plant.state)

    assert left[0.0] < 200
    assert left[1.0] > 20e3


def test_bypass_closes_onto_a_running_motor_faster_than_the_motor_starts(blower):
    warm, cold = Plant(blower), Plant(blower)
    warm.advance(ON, 5_000)
    assert abs(warm.reading("vacuum_pa_v")) < 10
    warm.advance(AIR, 500)
    cold.advance(AIR, 500)

    assert warm.reading("vacuum_pa_v") > 3_000
    assert cold.reading("vacuum_pa_v") < 0.3 * warm.reading("vacuum_pa_v")


def test_dead_motor_picks_up_no_contactor(blower):
    plant = Plant(blower)
    plant.fail("source_dead")
    plant.advance(AIR, 3_000)

    assert not source_runs(plant.state)
    assert plant.reading("vacuum_pa_v") < 10


def test_overload_trips_the_contactor_until_it_is_reset(blower):
    plant = Plant(blower)
    plant.advance(AIR, 3_000)
    plant.fail("motor_overload")
    plant.advance(AIR, 500)
    assert plant.state.overload_tripped == 1.0
    assert not source_runs(plant.state)
    plant.advance(AIR, 20_000)
    assert plant.reading("vacuum_pa_v") < 10
    plant.heal("motor_overload")
    plant.advance(AIR, 3_000)

    assert plant.state.overload_tripped == 0.0
    assert plant.reading("vacuum_pa_v") > 3_000


def test_wrong_rotation_runs_with_at_most_two_fifths_of_the_vacuum(blower, vane_pump):
    """Common practice, no source: running on, vacuum 0-40 %."""
    for pump in (blower, vane_pump):
        good = vacuum_after(pump, AIR, 5_000)
        plant = Plant(pump)
        plant.fail("motor_wrong_rotation")
        plant.advance(AIR, 5_000)
        assert source_runs(plant.state)
        assert 0.0 < plant.reading("vacuum_pa_v") < 0.4 * good


def test_welded_contactor_runs_on_after_off_but_starts_nothing_by_itself(blower):
    plant = Plant(blower)
    plant.fail("contactor_welded")
    plant.advance(REST, 1_000)
    assert not source_runs(plant.state)
    plant.advance(AIR, 3_000)
    plant.advance(REST, 60_000)
    assert source_runs(plant.state)
    plant.heal("contactor_welded")
    plant.advance(REST, 500)

    assert not source_runs(plant.state)


def test_bypass_stuck_shut_does_not_release_and_stuck_open_does_not_draw(blower):
    no_vent = blower._replace(source_check_valve=0.0, vent_fitted=0.0)
    left = []
    for failure in ((), ("bypass_stuck_shut",)):
        plant = Plant(no_vent)
        plant.set_state(bypass_open=0.0)
        for name in failure:
            plant.fail(name)
        plant.advance(AIR, 4_000)
        plant.advance(ON, 3_000)
        left.append(plant.reading("vacuum_pa_v"))

    assert left[0] < 100
    assert left[1] > 3_000
    assert vacuum_after(blower, AIR, 5_000, "bypass_stuck_open") < 100


def test_weak_source_draws_less_of_each_kind(quiet, blower, vane_pump):
    for parameters in (quiet, blower, vane_pump):
        assert vacuum_after(parameters, AIR, 5_000, "source_weak") < 0.5 * vacuum_after(
            parameters, AIR, 5_000
        )


def test_iced_ejector_sinks_over_many_minutes_and_recovers_in_a_pause(quiet):
    """Common practice, no source: sinks over long runs, supply fine, back after a pause of minutes."""
    plant = Plant(quiet, step_ms=10)
    plant.fail("ejector_iced")
    seen = []
    for outputs, ms in ((AIR, 5_000), (AIR, 300_000), (AIR, 600_000), (REST, 600_000), (AIR, 5_000)):
        plant.advance(outputs, ms)
        seen.append((plant.reading("vacuum_pa_v"), plant.reading("supply_pa_g")))

    assert seen[0][0] > 1.1 * seen[1][0] > 1.2 * seen[2][0]
    assert seen[2][1] == pytest.approx(seen[0][1], rel=0.01)
    assert seen[4][0] > 0.95 * seen[0][0]


def test_failures_of_a_motor_do_nothing_to_an_ejector(quiet):
    motor = ("motor_overload", "motor_wrong_rotation", "contactor_welded", "bypass_stuck_open")

    assert vacuum_after(quiet, AIR, 3_000, *motor) == vacuum_after(quiet, AIR, 3_000)


def test_contradictions_of_source_and_supply_are_named(quiet, blower):
    wrong = blower._replace(source_motive_m3_s_pa=1e-8)

    assert [text.split()[0] for text in problems(wrong)] == ["source_motive_m3_s_pa"]
    assert [text.split()[0] for text in problems(quiet._replace(source_bypass=1.0))] == ["source_bypass"]


def test_free_flow_of_a_motor_is_its_volume_of_room_air(blower):
    assert blower.source_free_flow_kg_s == pytest.approx(air.air_density_kg_m3(101_325, 293.15) * 250 / 3600)
