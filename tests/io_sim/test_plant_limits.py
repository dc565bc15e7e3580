"""With all other terms off, the plant itself must give the closed forms of the textbooks."""

import math

import pytest

from io_sim import formulas_air as air
from io_sim import formulas_line as line
from io_sim.formulas_powder import beverloo_kg_s, free_fall_time_s
from io_sim.plant import Plant

NO_FILTER = {"filter_clean_drag_pa_s_m": 1e3, "filter_area_m2": 10.0, "filter_fines_share": 0.0}


def test_body_is_pumped_down_as_volume_over_speed(quiet, do):
    """
    A source of constant pumping speed: suction mass flow in proportion to absolute pressure, which is a
    straight curve that ends at full vacuum. t = V/S ln(p0/p1) (The Engineering ToolBox, worked example).
    """
    shares = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0]
    speed_m3_s = 0.02
    curve = {f"source_vacuum_share_{i}": x for i, x in enumerate(shares)}
    curve |= {f"source_flow_share_{i}": 1.0 - x for i, x in enumerate(shares)}
    pump = quiet._replace(
        **curve,
        **NO_FILTER,
        source_free_flow_kg_s=speed_m3_s * 101_325 / (air.GAS_CONSTANT * 293.15),
        source_vacuum_max_pa_v=100_000.0,
        source_motive_m3_s_pa=0.0,
        source_valve_s=0.01,
        body_leak_m2=0.0,
    )
    plant = Plant(pump, step_ms=1)
    plant.fail("line_blocked")
    plant.set_state(source_open=1.0, vent_open=0.0)
    before = plant.state.body_pa
    plant.advance(do.air_only, 2_000)
    rest_pa = 1_325.0  # the curve ends so far from full vacuum, which shifts both pressures
    took = air.pump_down_s(0.040, speed_m3_s * 1.01325, before - rest_pa, plant.state.body_pa - rest_pa)

    assert plant.state.body_pa < 50_000
    assert took == pytest.approx(2.0, rel=0.002)


def test_tank_empties_as_an_exponential(quiet, do):
    """Choked isothermal discharge: p = p0 exp(-t/tau)."""
    plant = Plant(quiet._replace(supply_network_pa_g=0.0))
    plant.set_state(tank_pa=8e5, header_pa=101_325.0, network_pa=101_325.0)
    constant = air.tank_time_constant_s(1.5e-3, 6e-8, 293.15)
    plant.advance(do.pulse, 200)

    assert plant.state.tank_pa == pytest.approx(air.tank_discharge_pa(8e5, 0.2, constant), rel=1e-6)


def test_tank_fills_as_a_line_and_a_sine(quiet, do):
    """Charge from a header so large that it keeps its pressure; closed form of the ISO 6358 ellipse."""
    plant = Plant(quiet._replace(supply_header_volume_m3=1.0, supply_network_m3_s_pa=1e-5), step_ms=1)
    plant.set_state(tank_pa=101_325.0)
    constant = air.tank_time_constant_s(1.5e-3, 3 * 5.5e-9, 293.15)
    supply = plant.state.header_pa
    for elapsed in (200, 400, 800):
        plant.advance(do.rest, elapsed if elapsed == 200 else elapsed // 2)
        closed = air.tank_charge_pa(101_325.0, supply, 0.3, constant, elapsed / 1e3)
        assert plant.state.tank_pa == pytest.approx(closed, rel=2e-3)


@pytest.mark.parametrize("supply_pa_g", [4e5, 5.5e5, 7e5])
def test_line_without_product_obeys_darcy(quiet, do, supply_pa_g):
    """Darcy-Weisbach at mean density; the plant keeps the friction factor of 20 m/s, Haaland's moves."""
    plant = Plant(quiet._replace(supply_network_pa_g=supply_pa_g))
    plant.advance(do.air_only, 5_000)
    vacuum = plant.reading("vacuum_pa_v")
    density = air.air_density_kg_m3(101_325 - vacuum / 2, 293.15)
    speed = plant.state.line_air_kg_s / density / (math.pi / 4 * 0.05**2)
    friction = line.haaland_friction(
        line.reynolds(speed, 0.05, density, air.air_viscosity_pa_s(293.15)), 5e-5 / 0.05
    )
    losses = friction * 15 / 0.05 + 1.5 + 3 * 0.35 + 1

    assert vacuum == pytest.approx(line.air_only_drop_pa(density, speed, losses), rel=0.03)


def test_line_agrees_with_isothermal_pipe_flow(quiet, do):
    """A long line: the mean-density form against `fluids.isothermal_gas` (closed form of the textbooks)."""
    fluids = pytest.importorskip("fluids")
    long = quiet._replace(line_length_m=60.0, line_lift_m=0.0, line_bends=0.0, line_inlet_loss=0.0)
    plant = Plant(long)
    plant.advance(do.air_only, 8_000)
    body = plant.state.body_pa
    friction = (plant.derived.line_loss - 1.0) * 0.05 / 60.0
    theirs = fluids.isothermal_gas(
        rho=air.air_density_kg_m3(101_325, 293.15), fd=friction, P1=101_325, P2=body, L=60.0, D=0.05
    )

    assert body < 95_000
    assert plant.state.line_air_kg_s == pytest.approx(theirs, rel=0.02)


def test_leak_into_a_deep_vacuum_is_a_choked_hole(quiet, do):
    """Pressure-rise test: V/(R T) dp/dt is constant and equals the choked flow of the hole."""
    plant = Plant(quiet._replace(source_check_valve=1.0))
    plant.fail("line_blocked")
    plant.set_state(body_pa=20_000.0, vent_open=0.0)
    before = plant.state.body_pa
    plant.advance(do.sealed, 2_000)
    leak = (plant.state.body_pa - before) * 0.040 / (air.GAS_CONSTANT * 293.15) / 2.0

    assert leak == pytest.approx(air.choked_hole_kg_s(3e-6, 101_325, 293.15), rel=1e-3)


def test_suction_is_that_of_the_curve_at_the_clean_side(quiet, do):
    plant = Plant(quiet)
    plant.advance(do.air_only, 5_000)
    strength = (plant.state.header_pa - 1.5e5) / (6e5 + plant.derived.air_pa - 1.5e5)
    share = plant.reading("clean_vacuum_pa_v") / (80e3 * (0.35 + 0.65 * min(strength, 1.1)))
    on_curve = 1.0 + share * (0.66 - 1.0) / 0.12

    assert share < 0.12
    assert plant.state.source_air_kg_s == pytest.approx(0.0734 * min(strength, 1.1) * on_curve, rel=1e-6)


def test_motive_air_depends_on_supply_and_not_on_vacuum(quiet, do):
    used = []
    for blocked in (0.0, 1.0):
        plant = Plant(quiet)
        plant.fail("line_blocked", blocked)
        plant.advance(do.air_only, 5_000)
        used.append(plant.state.motive_air_kg)

    assert used[0] == used[1]
    nozzle = air.iso_6358_kg_s(2.686e-8, 0.528, 6e5 + 101_325, 101_325, 293.15)
    assert air.anr_m3_s(nozzle) * 60_000 == pytest.approx(1_130, rel=0.01)


def test_emptying_takes_the_time_of_the_closed_form(quiet, do):
    """Flap held fully open; Beverloo with the flow factor and the dying rate."""
    plant = Plant(quiet)
    plant.set_state(flap_open=1.0, body_kg=7.7, cylinder_pa=8e5)
    rate = 0.4 * beverloo_kg_s(550, 0.15, 1.2e-4, 0.58, 1.4)
    elapsed = 0
    while plant.state.body_kg > 0.003:
        plant.advance(do.empty, 10)
        elapsed += 10

    assert elapsed / 1e3 == pytest.approx(free_fall_time_s(7.7, rate, 0.3), rel=0.03)
