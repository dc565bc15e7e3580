"""
Where line, filter and source meet: the steady conveying point, air and solids.

Algebra with the loading ratio mu = solids / air: drop = air + (acceleration + friction + lift of solids), the
usual additional-pressure-drop form. Published solids friction differs by a factor of 20; this is no sizing.
"""

from typing import Literal, NamedTuple

from controller.station_check.air import (
    air_drop_pa,
    circle_m2,
    dead_end_pa_v,
    filter_drop_pa,
    leak_kg_s,
    root,
    site,
    suction_kg_s,
)
from io_sim.formulas_line import GRAVITY, carried_share, transit_time_s
from io_sim.parameters import PlantParameters

Limit = Literal["feed", "loading", "pick-up", "none"]


class Point(NamedTuple):
    """A steady operating point of line, filter and source."""

    header_pa_g: float
    line_air_kg_s: float
    solids_kg_s: float
    limited_by: Limit  # what keeps the solids rate from being higher; "none": no product asked for
    feed_point_m_s: float  # air velocity at the feed point, at the density of the room
    line_m_s: float  # air velocity at mean pressure
    body_pa_v: float  # dirty side
    clean_pa_v: float
    line_content_kg: float
    transit_s: float

    @property
    def loading(self) -> float:
        """Solids / air, by mass."""
        return self.solids_kg_s / self.line_air_kg_s if self.line_air_kg_s > 0.0 else 0.0


def line_velocity_m_s(plant: PlantParameters, air_kg_s: float, body_pa_v: float) -> float:
    """Air velocity at the mean pressure of the line."""
    place = site(plant)
    return air_kg_s * place.gas_j_kg / ((place.air_pa - body_pa_v / 2.0) * circle_m2(plant.line_bore_m))


def solids_drop_pa_s_kg(plant: PlantParameters, air_kg_s: float, body_pa_v: float) -> float:
    """
    Drop that each kg/s of solids adds [Pa per kg/s].

    mu rho u^2 (c (1 + regained after bends) + lambda_s L / (2 D)) + mu rho g H / c, divided by the rate.
    """
    u = max(line_velocity_m_s(plant, air_kg_s, body_pa_v), 1e-6)
    c = plant.material_velocity_ratio
    regained = 1.0 + plant.line_bends * plant.line_bend_acceleration
    friction = plant.line_solids_friction * plant.line_length_m / (2.0 * plant.line_bore_m)
    lift = GRAVITY * plant.line_lift_m / (c * u)
    return (u * (c * regained + friction) + lift) / circle_m2(plant.line_bore_m)


def solids_kg_s(plant: PlantParameters, air_kg_s: float) -> tuple[float, Limit]:
    """Solids rate at this air flow, and what limits it."""
    offered = min(plant.feed_limit_kg_s, plant.line_loading_max * air_kg_s)
    velocity = air_kg_s / (site(plant).air_kg_m3 * circle_m2(plant.line_bore_m))
    share = carried_share(velocity, plant.material_pick_up_m_s)
    if share < 0.98:
        return offered * share, "pick-up"
    return offered * share, "feed" if offered == plant.feed_limit_kg_s else "loading"


def conveying_point(plant: PlantParameters, header_pa_g: float, cake_kg_m2: float) -> Point:
    """
    The point that a line sucked from air-only settles at.

    With product a line may have several equilibria; it comes from the fastest, so that is the one taken.
    """
    return _point(plant, header_pa_g, cake_kg_m2, product=True, purge_open=False)


def air_only_point(
    plant: PlantParameters, header_pa_g: float, cake_kg_m2: float = 0.0, *, purge_open: bool = False
) -> Point:
    """The point with no product in the line."""
    return _point(plant, header_pa_g, cake_kg_m2, product=False, purge_open=purge_open)


def _point(
    plant: PlantParameters, header_pa_g: float, cake_kg_m2: float, *, product: bool, purge_open: bool
) -> Point:
    def solids(air_kg_s: float) -> tuple[float, Limit]:
        return solids_kg_s(plant, air_kg_s) if product else (0.0, "none")

    def body_vacuum(air_kg_s: float) -> float:
        rate = solids(air_kg_s)[0]

        def spare(vacuum: float) -> float:
            drop = air_drop_pa(plant, air_kg_s, vacuum, purge_open)
            return vacuum - drop - rate * solids_drop_pa_s_kg(plant, air_kg_s, vacuum)

        return root(spare, 0.0, deepest)

    def excess(air_kg_s: float) -> float:
        """Air asked of the source less what it draws there: rises with the air flow."""
        vacuum = body_vacuum(air_kg_s)
        drawn = air_kg_s + leak_kg_s(plant, vacuum)
        clean = vacuum + filter_drop_pa(plant, drawn, site(plant).air_pa - vacuum, cake_kg_m2)
        return drawn - suction_kg_s(plant, header_pa_g, clean)

    deepest = min(dead_end_pa_v(plant, header_pa_g), 0.95 * site(plant).air_pa)
    most = suction_kg_s(plant, header_pa_g, 0.0)
    steps = [most * k / 40.0 for k in range(40, 0, -1)]
    upper = most
    for lower in steps:
        if excess(lower) < 0.0:
            break
        upper = lower
    air = root(excess, lower if lower < upper else 0.0, upper)
    return _described(plant, header_pa_g, cake_kg_m2, air, body_vacuum(air), solids(air))


def _described(
    plant: PlantParameters,
    header_pa_g: float,
    cake_kg_m2: float,
    air_kg_s: float,
    body_pa_v: float,
    solids: tuple[float, Limit],
) -> Point:
    place = site(plant)
    drawn = air_kg_s + leak_kg_s(plant, body_pa_v)
    u = line_velocity_m_s(plant, air_kg_s, body_pa_v)
    transit_s = transit_time_s(plant.line_length_m, max(u, 1e-6), plant.material_velocity_ratio)
    return Point(
        header_pa_g,
        air_kg_s,
        *solids,
        air_kg_s / (place.air_kg_m3 * circle_m2(plant.line_bore_m)),
        u,
        body_pa_v,
        body_pa_v + filter_drop_pa(plant, drawn, place.air_pa - body_pa_v, cake_kg_m2),
        solids[0] * transit_s,
        transit_s,
    )
