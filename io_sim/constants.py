"""
Constants of a simulation run: the parameters and what follows from them once, as one flat array.

The kernel reads `par[at("line_bore_m")]`, with the place looked up once when a part is imported.
"""

import math
from typing import NamedTuple

from io_sim.formulas_air import GAS_CONSTANT, air_density_kg_m3, air_viscosity_pa_s, site_pressure_pa
from io_sim.formulas_line import haaland_friction, reynolds
from io_sim.formulas_powder import product_load_pa
from io_sim.parameters import CURVE_POINTS, PlantParameters
from io_sim.state import Floats, State

FRICTION_AT_M_S = 20.0  # air velocity at which the friction factor of the line is taken


class Derived(NamedTuple):
    """What follows from the parameters and never changes in a run."""

    air_pa: float  # of the room
    air_kg_m3: float  # of the room
    gas_j_kg: float  # R T
    line_area_m2: float
    line_loss: float  # f L/D + bends + 1: the air's loss factor without the inlet
    riser_share: float
    # pulse tanks of each group together; 0 for a group that is not there
    group_1_m3: float
    group_2_m3: float
    group_3_m3: float
    group_1_valve_m3_s_pa: float
    group_2_valve_m3_s_pa: float
    group_3_valve_m3_s_pa: float
    group_1_fill_m3_s_pa: float
    group_2_fill_m3_s_pa: float
    group_3_fill_m3_s_pa: float
    group_1_share: float  # of the elements, so of the cloth
    group_2_share: float
    group_3_share: float
    flap_area_m2: float
    cylinder_area_m2: float
    vent_area_m2: float  # Cd A
    body_limit_kg: float  # a full batch
    vessel_capacity_kg: float
    product_load_pa: float  # on the closed flap at the most, after Janssen
    # straight pieces a + b d of the source curve, d the vacuum as a share of the dead end
    source_a_0: float
    source_a_1: float
    source_a_2: float
    source_a_3: float
    source_a_4: float
    source_a_5: float
    source_a_6: float
    source_a_7: float
    source_b_0: float
    source_b_1: float
    source_b_2: float
    source_b_3: float
    source_b_4: float
    source_b_5: float
    source_b_6: float
    source_b_7: float


_places = {name: i for i, name in enumerate((*PlantParameters._fields, *Derived._fields))}


def at(name: str) -> int:
    """Where a parameter or a derived constant stands in the flat array."""
    return _places[name]


def circle_m2(bore_m: float) -> float:
    """Area of a round opening."""
    return math.pi / 4.0 * bore_m * bore_m


def source_pieces(p: PlantParameters) -> list[float]:
    """The eight a, then the eight b, of the straight pieces of the source curve."""
    values = p._asdict()
    x = [values[f"source_vacuum_share_{i}"] for i in range(CURVE_POINTS)]
    y = [values[f"source_flow_share_{i}"] for i in range(CURVE_POINTS)]
    b = [(y[i + 1] - y[i]) / (x[i + 1] - x[i]) for i in range(CURVE_POINTS - 1)]
    return [y[i] - b[i] * x[i] for i in range(CURVE_POINTS - 1)] + b


def group_elements(elements: float, groups: int) -> tuple[float, float, float]:
    """
    How many elements each group of pulse valves has, as even as they go, the first group the most.

    >>> group_elements(7.0, 3)
    (3.0, 2.0, 2.0)
    """
    given = [0.0, 0.0, 0.0]
    for i in range(groups):
        left = elements - sum(given)
        given[i] = left if i == groups - 1 else float(math.ceil(left / (groups - i)))
    return given[0], given[1], given[2]


def each(groups: tuple[float, float, float], of_one: float) -> tuple[float, float, float]:
    """What the elements of each group make together."""
    first, second, third = groups
    return first * of_one, second * of_one, third * of_one


def derived(p: PlantParameters) -> Derived:
    """Work out the constants of a run."""
    groups = group_elements(p.tank_elements, round(p.tank_groups))
    air_pa = site_pressure_pa(p.site_altitude_m)
    density = air_density_kg_m3(air_pa, p.site_temperature_k)
    viscosity = air_viscosity_pa_s(p.site_temperature_k)
    friction = haaland_friction(
        reynolds(FRICTION_AT_M_S, p.line_bore_m, density, viscosity), p.line_roughness_m / p.line_bore_m
    )
    return Derived(
        air_pa,
        density,
        GAS_CONSTANT * p.site_temperature_k,
        circle_m2(p.line_bore_m),
        friction * p.line_length_m / p.line_bore_m + p.line_bend_loss * p.line_bends + 1.0,
        p.line_lift_m / p.line_length_m,
        *each(groups, p.tank_volume_m3),
        *each(groups, p.tank_valve_m3_s_pa),
        *each(groups, p.tank_fill_m3_s_pa),
        *each(groups, 1.0 / p.tank_elements),
        circle_m2(p.flap_bore_m),
        circle_m2(p.flap_cylinder_bore_m),
        p.vent_fitted * p.vent_discharge_coefficient * circle_m2(p.vent_bore_m),
        p.body_useful_volume_m3 * p.material_bulk_density_kg_m3,
        p.vessel_capacity_m3 * p.material_bulk_density_kg_m3,
        product_load_pa(p.material_bulk_density_kg_m3, p.flap_bore_m),
        *source_pieces(p),
    )


def flat(parameters: PlantParameters) -> Floats:
    """Parameters and derived constants as the flat array of the kernel."""
    return [*map(float, parameters), *derived(parameters)]


def at_rest(parameters: PlantParameters, seed: int = 1) -> Floats:
    """The state at power-up: no vacuum, flap closed, empty, supply and tanks charged."""
    d = derived(parameters)
    supply_pa = parameters.supply_network_pa_g + d.air_pa
    return list(
        State(
            body_pa=d.air_pa,
            body_gas_m3=parameters.body_gas_volume_m3,
            vessel_kg=parameters.vessel_start_kg,
            network_pa=supply_pa,
            header_pa=supply_pa,
            tank_pa=supply_pa,
            tank_2_pa=supply_pa,
            tank_3_pa=supply_pa,
            cylinder_pa=d.air_pa,
            cylinder_closing_pa=d.air_pa,
            bypass_open=parameters.source_bypass,
            supply_seen_pa_g=parameters.supply_network_pa_g,
            clean_pa=d.air_pa,
            vessel_pa=d.air_pa + parameters.vessel_pressure_pa_g,
            seed=float(seed % 2147483646 + 1),
            noise_seed=float((seed + 1_000_003) % 2147483646 + 1),
        )
    )
