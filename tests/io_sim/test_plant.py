"""The plant as a whole: conservation, direction of effects, step size, bounds, refusals."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.image import Inputs, Outputs
from io_sim import state as slots
from io_sim.failures import CATALOGUE
from io_sim.parameters import PlantParameters, limits, problems
from io_sim.plant import Plant
from io_sim.state import State


def solids_kg(plant: Plant) -> float:
    """All product between the feed point and the vessel's outlet."""
    s = plant.state
    held = s.line_kg + s.plug_kg + s.body_kg + s.aloft_kg + s.vessel_kg
    return held + s.cake_kg_m2 * plant.parameters.filter_area_m2


def batch(plant: Plant, do, suction_ms: int = 15_600) -> None:
    """One scripted cycle: draw, clear, vent, drop, two pulses, close."""
    plant.advance(do.draw, suction_ms)
    plant.advance(do.air_only, 3_500)
    plant.advance(do.rest, 500)
    plant.advance(do.empty, 4_000)
    for _ in range(2):
        plant.advance(do.pulse, 120)
        plant.advance(do.empty, 1_500)
    plant.advance(do.rest, 2_000)


def test_no_product_is_lost_or_made(do):
    plant = Plant()
    for _ in range(2):
        batch(plant, do, 6_000)
    plant.advance(do.draw, 2_000)
    plant.advance(do.rest, 2_000)
    s = plant.state

    assert s.plug_kg > 0.0
    assert s.consumed_kg > 1.0
    assert solids_kg(plant) + s.consumed_kg == pytest.approx(s.picked_up_kg, abs=1e-11)


def test_no_gas_is_lost_or_made_in_the_body(do):
    plant = Plant()
    gas = plant.derived.gas_j_kg
    start = plant.state.body_pa * plant.state.body_gas_m3 / gas
    batch(plant, do)
    s = plant.state
    came = s.line_air_kg + s.opening_air_kg + s.pulse_air_kg - s.source_air_kg

    assert s.line_air_kg > 0.5
    assert s.body_pa * s.body_gas_m3 / gas - start == pytest.approx(came, abs=1e-10)


def test_no_compressed_air_is_lost_or_made(do):
    plant = Plant()
    p, d = plant.parameters, plant.derived

    def stored() -> float:
        s = plant.state
        return (s.header_pa * p.supply_header_volume_m3 + s.tank_pa * d.group_1_m3) / d.gas_j_kg

    start = stored()
    batch(plant, do)
    s = plant.state
    used = s.motive_air_kg + s.pulse_air_kg + s.cylinder_air_kg

    assert min(s.motive_air_kg, s.pulse_air_kg, s.cylinder_air_kg) > 0.0
    assert stored() - start == pytest.approx(s.network_air_kg - used, abs=1e-10)


def conveying(parameters: PlantParameters, do, ms: int = 8_000) -> Plant:
    plant = Plant(parameters)
    plant.advance(do.draw, ms)
    return plant


def test_more_leak_is_less_vacuum(quiet, do):
    holes = (0.0, 20e-6, 100e-6)
    leaks = [conveying(quiet._replace(body_leak_m2=m2), do).reading("vacuum_pa_v") for m2 in holes]

    assert leaks == sorted(leaks, reverse=True)
    assert leaks[0] - leaks[1] < 1_000  # a small leak is hard to see on the vacuum gauge


def test_more_cake_is_more_filter_drop_and_less_air_in_the_line(quiet, do):
    plants = [conveying(quiet._replace(filter_cake_resistance_1_s=k2), do) for k2 in (3e4, 1e5, 5e5)]
    drops = [plant.reading("filter_drop_pa") for plant in plants]
    flows = [plant.state.line_air_kg_s for plant in plants]

    assert drops == sorted(drops)
    assert flows == sorted(flows, reverse=True)


def test_less_supply_is_a_longer_suction(quiet, do):
    arrived = [
        conveying(quiet._replace(supply_network_pa_g=pa), do).state.arrived_kg for pa in (3.5e5, 4.5e5, 7e5)
    ]

    assert arrived == sorted(arrived)
    assert arrived[0] < 0.7 * arrived[2]


def test_air_through_the_vent_is_less_vacuum_and_no_back_flow_with_a_check_valve(quiet, do):
    """Without a check valve the body fills through the stopped source; with one only through its leak."""
    pressures = []
    for check_valve in (1.0, 0.0):
        plant = Plant(quiet._replace(source_check_valve=check_valve))
        plant.fail("line_blocked")
        plant.set_state(body_pa=40_000.0, vent_open=0.0)
        plant.advance(do.sealed, 1_000)
        pressures.append(plant.state.body_pa)

    assert pressures[0] < 43_000
    assert pressures[1] > 60_000


def final_delivered(quiet: PlantParameters, do, step_ms: int) -> float:
    plant = Plant(quiet, step_ms=step_ms)
    batch(plant, do, 6_000)
    return plant.state.delivered_kg


def test_delivered_mass_hardly_depends_on_the_step(quiet, do):
    assert final_delivered(quiet, do, 5) == pytest.approx(final_delivered(quiet, do, 1), rel=1e-3)


def test_halving_the_step_halves_the_error(quiet, do):
    """First order: body pressure in the middle of the evacuation, against steps of 1/8 ms."""

    def pressure(step_s: float) -> float:
        plant = Plant(quiet)
        plant.set_state(source_open=1.0, vent_open=0.0)
        held = [int(value) for value in do.air_only]
        steps = round(0.12 / step_s)
        plant._advance(plant._state, plant._par, plant._failures, held, plant._inputs, steps, step_s)
        return plant.state.body_pa

    exact = 2 * pressure(0.000125) - pressure(0.00025)
    errors = [abs(pressure(h) - exact) for h in (0.004, 0.002, 0.001)]

    assert errors[0] / errors[1] == pytest.approx(2.0, abs=0.2)
    assert errors[1] / errors[2] == pytest.approx(2.0, abs=0.2)


COMMANDS = st.builds(Outputs, **{name: st.booleans() for name in Outputs._fields})
AMOUNTS = st.dictionaries(st.sampled_from([mode.id for mode in CATALOGUE]), st.floats(0, 1), max_size=4)

SEEDS = st.integers(0, 2**31)


@settings(max_examples=25)
@given(moves=st.lists(st.tuples(COMMANDS, AMOUNTS, st.integers(1, 80)), min_size=1, max_size=8), seed=SEEDS)
def test_random_commands_and_failures_keep_the_plant_within_bounds(moves, seed):
    plant = Plant(seed=seed)
    for outputs, amounts, scans in moves:
        for failure, amount in amounts.items():
            plant.fail(failure, amount)
        inputs = plant.advance(outputs, scans * 10)
        s = plant.state
        assert all(math.isfinite(value) for value in s), s
        assert 2_000 < s.body_pa < 400_000
        stores = (s.line_kg, s.plug_kg, s.body_kg, s.aloft_kg, s.cake_kg_m2, s.vessel_kg)
        assert min(stores) >= 0.0, s
        assert min(s.header_pa, s.tank_pa, s.cylinder_pa) > 90_000
        assert max(s.header_pa, s.tank_pa) < 810_000
        for current in (inputs.vacuum_ua, inputs.supply_air_ua, inputs.filter_dp_ua):
            assert current in (0, 22_000) or 3_800 <= current <= 20_500
        healthy = not any(plant.amount(mode.id) for mode in CATALOGUE if "_switch_" in mode.id)
        assert not (healthy and inputs.flap_closed_fb and inputs.flap_open_fb)
        assert 0.0 <= s.blinded_kg_m2 <= s.cake_kg_m2 + 1e-12
        assert s.vessel_kg <= plant.derived.vessel_capacity_kg + 1e-9


def test_same_seed_same_readings_other_seed_others(do):
    def readings(seed: int) -> list[Inputs]:
        plant = Plant(seed=seed)
        return [plant.advance(do.draw, 10) for _ in range(50)]

    assert readings(7) == readings(7)
    assert readings(7) != readings(8)


def test_noise_has_the_stated_deviation(quiet, do):
    plant = Plant(quiet._replace(transmitter_noise_ua=8.0))
    currents = [plant.advance(do.rest, 5).vacuum_ua for _ in range(2_000)]
    mean = sum(currents) / len(currents)
    deviation = math.sqrt(sum((x - mean) ** 2 for x in currents) / len(currents))

    assert mean == pytest.approx(4_000, abs=1.0)
    assert deviation == pytest.approx(8.0, rel=0.1)


def test_only_field_points_are_written(plant, do):
    people = Inputs(start_pb=True, stop_healthy=False, image_age_ms=7)
    read = plant.advance(do.rest, 10, people)

    assert read.start_pb
    assert not read.stop_healthy
    assert read.image_age_ms == 7
    assert plant._inputs[Inputs._fields.index("start_pb")] == 0


def test_state_slots_stand_where_their_names_do():
    for place, name in enumerate(State._fields):
        assert getattr(slots, name.upper()) == place


def test_defaults_are_within_their_limits_and_every_problem_is_named():
    assert problems(PlantParameters()) == []
    assert list(limits()) == list(PlantParameters._fields)
    bad = PlantParameters(line_bore_m=5.0, line_lift_m=20.0, source_flow_share_3=0.9)

    named = [text.split()[0] for text in problems(bad)]
    assert named == ["line_bore_m", "source_flow_share_3", "line_lift_m"]
    with pytest.raises(ValueError, match=r"3 problem\(s\)"):
        Plant(bad)


def test_refuses_times_that_are_not_whole_steps_and_unknown_names(plant, do):
    with pytest.raises(ValueError, match="12 ms is not a whole number of plant steps of 5 ms"):
        plant.advance(do.rest, 12)
    with pytest.raises(ValueError, match="no reading 'speed'"):
        plant.reading("speed")
    with pytest.raises(ValueError, match="step_ms = 20"):
        Plant(step_ms=20)
