"""Every option of the plant under random commands and failures: bounds and balances."""

import math

import pytest
from plant_options import OPTIONS, random_run

from io_sim.parameters import problems
from io_sim.plant import Plant


def test_options_are_possible_plants():
    assert [problems(parameters) for parameters in OPTIONS.values()] == [[]] * len(OPTIONS)


@pytest.mark.parametrize("option", OPTIONS)
@pytest.mark.parametrize("seed", range(3))
def test_random_commands_and_failures_keep_every_option_within_bounds(option, seed):
    plant = Plant(OPTIONS[option], step_ms=10, seed=seed)
    for outputs, struck, scans in random_run(seed):
        for failure, amount in struck:
            plant.fail(failure, amount)
        plant.advance(outputs, 10 * scans)
        s = plant.state
        assert all(math.isfinite(value) for value in s), s
        assert 2_000 < s.body_pa < 400_000
        pressures = (s.header_pa, s.tank_pa, s.tank_2_pa, s.tank_3_pa, s.cylinder_pa, s.cylinder_closing_pa)
        assert min(pressures) > 90_000
        assert max(pressures) < 810_000
        positions = (s.flap_open, s.source_open, s.bypass_open, s.vent_open, s.purge_open, s.ejector_ice)
        assert all(0.0 <= value <= 1.0 for value in positions), s
        assert min(s.line_kg, s.plug_kg, s.body_kg, s.aloft_kg, s.cake_kg_m2, s.vessel_kg) >= 0.0


@pytest.mark.parametrize("option", OPTIONS)
def test_gas_of_the_body_is_conserved_with_every_option(option):
    plant = Plant(OPTIONS[option], step_ms=10)
    gas = plant.derived.gas_j_kg
    start = plant.state.body_pa * plant.state.body_gas_m3 / gas
    for outputs, struck, scans in random_run(7):
        for failure, amount in struck:
            plant.fail(failure, amount)
        plant.advance(outputs, 10 * scans)
    s = plant.state
    came = s.line_air_kg + s.opening_air_kg + s.pulse_air_kg - s.source_air_kg

    assert abs(came) + s.source_air_kg > 0.01
    assert s.body_pa * s.body_gas_m3 / gas - start == pytest.approx(came, abs=1e-10)
