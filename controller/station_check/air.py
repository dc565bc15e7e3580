"""
Air side of the prediction: header under load, suction of the source, the line's own resistance.

Closed forms and scalar roots over `io_sim.formulas_*` and `io_sim.parameters`; the plant is never called.
"""

import math
from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

from controller.options import AIR_BY_SWITCH
from controller.sequence.presets import Presets
from io_sim.formulas_air import (
    GAS_CONSTANT,
    NOZZLE_RATIO,
    air_density_kg_m3,
    air_viscosity_pa_s,
    choked_hole_kg_s,
    ejector_dead_end_pa_v,
    ejector_strength,
    iso_6358_kg_s,
    orifice_kg_s,
    site_pressure_pa,
)
from io_sim.formulas_line import air_only_drop_pa, haaland_friction
from io_sim.parameters import CURVE_POINTS, PlantParameters

VACUUM_SHARES = [f"source_vacuum_share_{i}" for i in range(CURVE_POINTS)]
FLOW_SHARES = [f"source_flow_share_{i}" for i in range(CURVE_POINTS)]


def circle_m2(bore_m: float) -> float:
    """Area of a round opening."""
    return math.pi / 4.0 * bore_m * bore_m


def root(rising: Callable[[float], float], low: float, high: float) -> float:
    """
    Where a rising function passes zero; the nearer end if it does not.

    Secants of the bracket, its weaker end halved when it stays (Illinois), each third step a bisection.
    """
    at_low, at_high = rising(low), rising(high)
    if at_low >= 0.0 or at_high <= 0.0:
        return low if at_low >= 0.0 else high
    close = 1e-9 * (high - low)
    for k in range(90):
        x = 0.5 * (low + high) if k % 3 == 2 else low - at_low * (high - low) / (at_high - at_low)
        at_x = rising(x)
        if at_x < 0.0:
            low, at_low, at_high = x, at_x, 0.5 * at_high
        elif at_x > 0.0:
            high, at_high, at_low = x, at_x, 0.5 * at_low
        if at_x == 0.0 or high - low < close:
            return x
    return 0.5 * (low + high)


class Site(NamedTuple):
    """Air of the place."""

    air_pa: float
    air_kg_m3: float
    gas_j_kg: float  # R T
    viscosity_pa_s: float


def site(plant: PlantParameters) -> Site:
    """Pressure by the altitude, one temperature for all gas."""
    return _site(plant.site_altitude_m, plant.site_temperature_k)


@lru_cache(maxsize=4)
def _site(altitude_m: float, kelvin: float) -> Site:
    air_pa = site_pressure_pa(altitude_m)
    return Site(air_pa, air_density_kg_m3(air_pa, kelvin), GAS_CONSTANT * kelvin, air_viscosity_pa_s(kelvin))


def motive_kg_s(plant: PlantParameters, header_pa_g: float) -> float:
    """Compressed air that the ejector's nozzle takes; 0 for a motor."""
    if plant.source_kind > 0.5:
        return 0.0
    air_pa = site(plant).air_pa
    return iso_6358_kg_s(
        plant.source_motive_m3_s_pa, NOZZLE_RATIO, header_pa_g + air_pa, air_pa, plant.site_temperature_k
    )


def header_drawing_pa_g(plant: PlantParameters) -> float:
    """Header pressure at which the line from the network passes just what the nozzle takes."""
    air_pa = site(plant).air_pa
    network_pa = plant.supply_network_pa_g + air_pa

    def surplus_taken(header_pa_g: float) -> float:
        passed = iso_6358_kg_s(
            plant.supply_network_m3_s_pa,
            plant.supply_network_critical_ratio,
            network_pa,
            header_pa_g + air_pa,
            plant.site_temperature_k,
        )
        return motive_kg_s(plant, header_pa_g) - passed

    return root(surplus_taken, 0.0, plant.supply_network_pa_g)


def low_limit_pa_g(plant: PlantParameters, presets: Presets) -> float:
    """Supply under which the station says low: its limit, or where the switch opens if there is only that."""
    if presets.supply_by != AIR_BY_SWITCH:
        return float(presets.supply_low_pa_g)
    return plant.switch_supply_pa_g - plant.switch_supply_band_pa


def source_strength(plant: PlantParameters, header_pa_g: float) -> float:
    """Share of the nominal suction at this supply; 1 for a motor."""
    if plant.source_kind > 0.5 or plant.source_motive_m3_s_pa <= 0.0:
        return 1.0
    air_pa = site(plant).air_pa
    nominal_pa = plant.source_supply_nominal_pa_g + air_pa
    return ejector_strength(header_pa_g + air_pa, nominal_pa, plant.source_supply_none_pa)


def dead_end_pa_v(plant: PlantParameters, header_pa_g: float) -> float:
    """Vacuum of the source with nothing to draw; a relief valve opens before."""
    closed = _curve_end_pa_v(plant, header_pa_g)
    return min(closed, plant.source_relief_pa_v) if plant.source_relief_pa_v > 0.0 else closed


def _curve_end_pa_v(plant: PlantParameters, header_pa_g: float) -> float:
    if plant.source_kind > 0.5:
        return plant.source_vacuum_max_pa_v
    return ejector_dead_end_pa_v(plant.source_vacuum_max_pa_v, source_strength(plant, header_pa_g))


def suction_kg_s(plant: PlantParameters, header_pa_g: float, clean_pa_v: float) -> float:
    """Mass flow of the source at a vacuum on its own, clean side: the curve, read between its points."""
    if clean_pa_v >= dead_end_pa_v(plant, header_pa_g):
        return 0.0
    share = clean_pa_v / _curve_end_pa_v(plant, header_pa_g)
    free = plant.source_free_flow_kg_s * source_strength(plant, header_pa_g)
    x = [float(getattr(plant, name)) for name in VACUUM_SHARES]
    y = [float(getattr(plant, name)) for name in FLOW_SHARES]
    i = max(k for k in range(CURVE_POINTS - 1) if x[k] <= max(share, 0.0))
    return free * (y[i] + (y[i + 1] - y[i]) * (share - x[i]) / (x[i + 1] - x[i]))


def filter_drop_pa(plant: PlantParameters, air_kg_s: float, body_pa: float, cake_kg_m2: float) -> float:
    """Drop over all elements at the density in the body."""
    face_m_s = air_kg_s * site(plant).gas_j_kg / (body_pa * plant.filter_area_m2)
    drag = plant.filter_clean_drag_pa_s_m + plant.filter_cake_resistance_1_s * cake_kg_m2
    return drag * face_m_s


def leak_kg_s(plant: PlantParameters, body_pa_v: float) -> float:
    """Air through seals and joints of the body."""
    air_pa = site(plant).air_pa
    return orifice_kg_s(plant.body_leak_m2, air_pa - body_pa_v, air_pa, plant.site_temperature_k)


def inlet_loss(plant: PlantParameters, purge_open: bool) -> float:
    """Loss factor of the way in: the pick-up, with the false-air valve, if fitted, beside it when open."""
    opening = 1.0 / math.sqrt(max(plant.line_inlet_loss, 1e-6))
    if purge_open and plant.purge_fitted > 0.5:
        opening += 1.0 / math.sqrt(plant.purge_loss)
    return 1.0 / (opening * opening)


def air_drop_pa(plant: PlantParameters, air_kg_s: float, body_pa_v: float, purge_open: bool) -> float:
    """Drop of the line by air alone, friction at the actual Reynolds number, density at mean pressure."""
    place = site(plant)
    area = circle_m2(plant.line_bore_m)
    density = (place.air_pa - body_pa_v / 2.0) / place.gas_j_kg
    reynolds_number = max(air_kg_s, 1e-9) * plant.line_bore_m / (area * place.viscosity_pa_s)
    friction = haaland_friction(reynolds_number, plant.line_roughness_m / plant.line_bore_m)
    losses = friction * plant.line_length_m / plant.line_bore_m + 1.0 + inlet_loss(plant, purge_open)
    losses += plant.line_bends * plant.line_bend_loss
    return air_only_drop_pa(density, air_kg_s / (density * area), losses)


def hose_off_kg_s(plant: PlantParameters, body_pa_v: float) -> float:
    """Air into the body through its open inlet, the hose off, and the leaks."""
    place, area = site(plant), circle_m2(plant.line_bore_m) / math.sqrt(plant.line_hose_off_loss)
    inlet = orifice_kg_s(area, place.air_pa - body_pa_v, place.air_pa, plant.site_temperature_k)
    return inlet + leak_kg_s(plant, body_pa_v)


def hose_off_pa_v(plant: PlantParameters, header_pa_g: float) -> float:
    """Body vacuum with the hose off at the receiver: nothing but the open inlet and a clean filter."""

    def too_deep(vacuum: float) -> float:
        drawn = hose_off_kg_s(plant, vacuum)
        clean = vacuum + filter_drop_pa(plant, drawn, site(plant).air_pa - vacuum, 0.0)
        return drawn - suction_kg_s(plant, header_pa_g, clean)

    return root(too_deep, 0.0, dead_end_pa_v(plant, header_pa_g))


def release_s(plant: PlantParameters, area_m2: float, start_pa_v: float, end_pa_v: float) -> float:
    """
    Time in which the body fills through an opening from one vacuum to a lesser one.

    Choked flow m first, down to the vacuum at which A sqrt(2 rho dp) is as much: V dp / (R T m). Then
    d/dt dp = -k sqrt(dp), k = R T A sqrt(2 rho) / V: 2 (sqrt(dp0) - sqrt(dp1)) / k. Isothermal, body empty.
    """
    if area_m2 <= 0.0:
        return math.inf if start_pa_v > end_pa_v else 0.0
    place = site(plant)
    choked = choked_hole_kg_s(1.0, place.air_pa, plant.site_temperature_k)  # per area
    choked_below = choked * choked / (2.0 * place.air_kg_m3)
    time_s = 0.0
    if start_pa_v > choked_below:
        flow = choked * area_m2
        deepest = max(end_pa_v, choked_below)
        time_s = plant.body_gas_volume_m3 * (start_pa_v - deepest) / (place.gas_j_kg * flow)
        start_pa_v = deepest
    if end_pa_v >= start_pa_v:
        return time_s
    k = place.gas_j_kg * area_m2 * math.sqrt(2.0 * place.air_kg_m3) / plant.body_gas_volume_m3
    return time_s + 2.0 * (math.sqrt(start_pa_v) - math.sqrt(end_pa_v)) / k
