"""Formulas against independent code (`fluids`), against each other and against what they must obey."""

import math
from itertools import pairwise

import pytest

from io_sim import formulas_air as air
from io_sim import formulas_line as line
from io_sim import formulas_powder as powder
from io_sim import supply_air
from io_sim.formulas_signal import current_ua, signal_percent
from io_sim.formulas_solids import rizk_saltation_m_s

fluids = pytest.importorskip("fluids")


@pytest.mark.parametrize("reynolds", [5e3, 3e4, 1e5, 1e6])
@pytest.mark.parametrize("roughness", [1e-5, 1e-3, 1e-2])
def test_friction_factors_agree_with_the_reference_library(reynolds, roughness):
    """`fluids.friction.Haaland` and `Colebrook`."""
    assert line.haaland_friction(reynolds, roughness) == pytest.approx(
        fluids.friction.Haaland(Re=reynolds, eD=roughness), rel=1e-9
    )
    assert line.colebrook_friction(reynolds, roughness) == pytest.approx(
        fluids.friction.Colebrook(Re=reynolds, eD=roughness), rel=1e-8
    )


@pytest.mark.parametrize("bore", [0.032, 0.05, 0.076, 0.1])
@pytest.mark.parametrize(("solids", "size"), [(0.05, 1e-4), (0.5, 1e-4), (0.5, 5e-4), (1.3, 1e-3)])
def test_saltation_velocity_agrees_with_the_reference_library(bore, solids, size):
    """`fluids.saltation.Rizk`, which takes g as 9.80665."""
    theirs = fluids.saltation.Rizk(mp=solids, dp=size, rhog=1.2, D=bore)

    assert rizk_saltation_m_s(solids, size, bore, 1.2) == pytest.approx(theirs, rel=1e-3)


@pytest.mark.parametrize("altitude", [0, 500, 1_500, 3_000])
def test_site_pressure_agrees_with_the_standard_atmosphere(altitude):
    """`fluids.ATMOSPHERE_1976`."""
    assert air.site_pressure_pa(altitude) == pytest.approx(fluids.ATMOSPHERE_1976(altitude).P, rel=2e-4)


def test_choked_hole_is_isentropic_nozzle_flow():
    """Ideal gas at Mach 1, kappa 1.4: A p0 sqrt(kappa/(R T)) (2/2.4)^3 (any gas-dynamics textbook)."""
    ideal = 1e-4 * 7e5 * math.sqrt(1.4 / (287.05 * 293.15)) * (2 / 2.4) ** 3

    assert air.choked_hole_kg_s(1e-4, 7e5, 293.15) == pytest.approx(ideal, rel=2e-3)


def test_orifice_is_within_its_stated_distance_of_isentropic_nozzle_flow():
    """Ideal gas, kappa 1.4, subsonic: p0 sqrt(2 k/((k-1) R T) (r^(2/k) - r^((k+1)/k))), any textbook."""
    for drop, excess in ((2e3, 0.01), (5e3, 0.03), (1e4, 0.06), (2.37e4, 0.155), (4e4, 0.02), (5e4, 0.005)):
        r, k = 1.0 - drop / 101_325.0, 1.4
        expansion = math.sqrt(2.0 * k / (k - 1.0) * (r ** (2.0 / k) - r ** ((k + 1.0) / k)))
        nozzle = 1e-4 * 101_325.0 * expansion / math.sqrt(287.05 * 293.15)
        over = air.orifice_kg_s(1e-4, 101_325.0 - drop, 101_325.0, 293.15) / nozzle - 1.0
        assert -0.003 <= over <= excess, drop
        assert over > 0.7 * excess - 0.005, "no more pessimistic than it is"


def test_nozzle_ratio_is_that_of_an_ideal_nozzle_wherever_it_stands():
    """(2 / (kappa + 1))^(kappa / (kappa - 1)), any gas-dynamics textbook."""
    assert pytest.approx((2.0 / 2.4) ** 3.5, rel=1e-3) == air.NOZZLE_RATIO
    assert supply_air.NOZZLE_RATIO == air.NOZZLE_RATIO


def integrated(tank_pa: float, supply_pa: float, conductance: float, volume: float, until_s: float) -> float:
    """Pressure of a tank after charging, by 20,000 small midpoint steps of the ISO 6358 law."""
    step = until_s / 20_000
    per_kg = 287.05 * 293.15 / volume
    for _ in range(20_000):
        half = tank_pa + 0.5 * step * per_kg * air.iso_6358_kg_s(conductance, 0.3, supply_pa, tank_pa, 293.15)
        tank_pa += step * per_kg * air.iso_6358_kg_s(conductance, 0.3, supply_pa, half, 293.15)
    return tank_pa


@pytest.mark.parametrize("elapsed", [0.02, 0.1, 0.2])
def test_closed_form_of_tank_charge_agrees_with_integration(elapsed):
    constant = air.tank_time_constant_s(1e-3, 5e-8, 293.15)
    closed = air.tank_charge_pa(1e5, 7e5, 0.3, constant, elapsed)

    assert closed == pytest.approx(integrated(1e5, 7e5, 5e-8, 1e-3, elapsed), rel=1e-4)


def test_subsonic_flow_is_continuous_and_falls_to_zero():
    flows = [air.iso_6358_kg_s(1e-8, 0.3, 7e5, 7e5 * r / 1_000, 293.15) for r in range(1_001)]

    assert flows == sorted(flows, reverse=True)
    assert flows[-1] == 0.0
    assert flows[300] == pytest.approx(flows[301], rel=1e-3)
    assert flows[999] > 0.04 * flows[0]  # the ellipse is still steep where its chord takes over


@pytest.mark.parametrize("outside", [79_501.0, 101_325.0])
def test_orifice_flow_falls_as_the_inside_pressure_rises(outside):
    """The root search of the body relies on it."""
    flows = [air.orifice_kg_s(1e-4, 2_000.0 + 200.0 * i, outside, 293.15) for i in range(1_990)]

    assert all(a >= b for a, b in pairwise(flows))
    assert air.orifice_kg_s(1e-4, outside, outside, 293.15) == 0.0
    assert flows[0] == pytest.approx(air.choked_hole_kg_s(1e-4, outside, 293.15))


def test_discharge_goes_with_the_power_two_and_a_half_of_the_free_bore():
    """Beverloo, Leniger, van de Velde 1961."""
    wide = powder.beverloo_kg_s(600, 0.2 + 1.4e-4, 1e-4, 0.58, 1.4)
    narrow = powder.beverloo_kg_s(600, 0.1 + 1.4e-4, 1e-4, 0.58, 1.4)

    assert wide / narrow == pytest.approx(2**2.5)


def test_two_hopper_laws_agree_within_a_fifth():
    """Johanson's cone at 20 degrees lies 13 % above Beverloo for 150 mm (memory; two methods, one order)."""
    cone = powder.johanson_kg_s(550, 0.15, math.radians(20))

    assert 1.0 < cone / powder.beverloo_kg_s(550, 0.15, 1e-4, 0.58, 1.4) < 1.2


@pytest.mark.parametrize("volume", [0.001, 0.01, 0.02, 0.05, 0.1])
def test_heap_holds_its_own_volume(volume):
    """Geometry: rings of the heap's height add up to the volume."""
    rings = 2_000
    width = 0.3 / rings
    total = sum(
        2 * math.pi * (i + 0.5) * width * width * powder.heap_height_m(volume, 0.6, (i + 0.5) * width, 0.6)
        for i in range(rings)
    )

    assert total == pytest.approx(volume, rel=1e-3)


def test_emptying_time_agrees_with_integration():
    mass, elapsed, step = 7.7, 0.0, 1e-4
    while mass > 0.003:
        mass -= step * 3.5 * (1 - math.exp(-mass / 0.3))
        elapsed += step

    assert powder.free_fall_time_s(7.7, 3.5, 0.3) == pytest.approx(elapsed, rel=1e-3)


def test_stronger_pulse_cleans_more_and_a_weak_one_nothing():
    effects = [powder.pulse_effect(pa, 0.85, 1e5, 1.5e5) for pa in (0.5e5, 3e5, 4e5, 6e5)]

    assert effects == sorted(effects)
    assert effects[0] == 0.0
    assert effects[-1] < 0.85


@pytest.mark.parametrize("share", [0.0, 0.25, 1.0])
def test_signal_and_percent_are_inverse(share):
    assert signal_percent(current_ua(share * 5e4, 5e4, 0.0)) == pytest.approx(100 * share)


def test_signal_saturates_inside_the_failure_limits():
    """NAMUR NE 43."""
    assert current_ua(-1e6, 1e5, 0.0) == 3_800
    assert current_ua(1e6, 1e5, 0.0) == 20_500
