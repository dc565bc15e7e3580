"""Findings of the line: velocity against minimum velocity and saltation, loading, rate, plug."""

from collections.abc import Container
from importlib.util import find_spec

from controller.station_check.air import circle_m2, site
from controller.station_check.conveying import Point
from controller.station_check.findings import Finding, finding, place, quantity
from controller.station_check.prediction import Prediction
from io_sim.formulas_line import pick_up_velocity_m_s, plug_break_away_pa
from io_sim.parameters import PlantParameters

MILLS = "pick-up velocity of the product, 20 % over its minimum: D. Mills, Pickup velocity, 2010"
SCATTER = "named correlations through the library fluids; they scatter, so this is never more than a warning"
RATE_PER_LITRE_KG_H = 300.0
LOADING_MIN, LOADING_MAX = 1.0, 20.0
NOTHING_CARRIED = 0.1  # solids / air; an estimate
PLUG_BORES = 5.0


def line_findings(
    plant: PlantParameters, predicted: Prediction, wired: Container[str], *, scatter: bool = True
) -> list[Finding]:
    """
    All findings of the line; `wired` says whether a line-purge valve is fitted.

    Without `scatter` no saltation: it is never an error, and its library takes a second to import.
    """
    found = []
    for said, point in (("full air", predicted.conveying), ("low air", predicted.conveying_low)):
        found.append(_velocity(plant, said, point))
        found += _saltation(plant, said, point) if scatter else []
    litres = plant.body_useful_volume_m3 * 1e3
    found += [
        finding(
            "solids / air in the line", predicted.conveying.loading, "",
            _loading(predicted.conveying.loading),
            "range of dilute suction, 1-20 kg/kg; encyclopaedia entry, a rule of thumb",
            low=LOADING_MIN, high=LOADING_MAX,
            fails="error" if predicted.conveying.loading < NOTHING_CARRIED else "warning",
        ),
        finding(
            "kg/h per litre useful", predicted.rate_kg_h / litres, "",
            "correct plant.yaml: no such receiver is known",
            "common practice, no source", high=RATE_PER_LITRE_KG_H,
        ),
        finding(
            "rate against demand", predicted.rate_kg_h, "kg/h",
            "shorten the cycle or raise the feed: the vessel runs empty",
            f"{place('vessel_demand_kg_h')}; under half of it, or nothing at all, is an error",
            low=max(plant.vessel_demand_kg_h, 1.0),
            fails="error" if predicted.rate_kg_h < max(0.5 * plant.vessel_demand_kg_h, 1.0) else "warning",
        ),
        _plug(plant, predicted, purge="purge_cmd" in wired),
    ]  # fmt: skip
    return found


def _loading(loading: float) -> str:
    if loading > LOADING_MAX:
        return f"more air, or less feed: {place('feed_limit_kg_s')}"
    return f"air runs nearly empty: more feed ({place('feed_limit_kg_s')}), or air enough to lift the product"


MORE_AIR = {
    "full air": "feed less, shorten the line, or fit a smaller bore or a stronger source",
    "low air": "raise {supply_low}, feed less, or a smaller bore",
}


def _velocity(plant: PlantParameters, said: str, point: Point) -> Finding:
    wanted = plant.material_pick_up_m_s
    minimum = wanted / pick_up_velocity_m_s(1.0)
    return finding(
        f"feed-point velocity, {said}", point.feed_point_m_s, "m/s",
        f"{MORE_AIR[said].format(supply_low=place('supply_low_pa_g'))}; {minimum:.3g} m/s is the minimum",
        MILLS, low=wanted, fails="error" if point.feed_point_m_s < minimum else "warning",
    )  # fmt: skip


def saltation_m_s(plant: PlantParameters, rate_kg_s: float) -> dict[str, float]:
    """
    Saltation velocity at the feed point after several authors, through the library `fluids`.

    Empty without that library (extra `check`) or without product.
    """
    if find_spec("fluids") is None or rate_kg_s <= 0.0:
        return {}
    from fluids import saltation, v_terminal

    place_air = site(plant)
    size, density = plant.material_particle_size_m, plant.material_particle_density_kg_m3
    air = place_air.air_kg_m3
    terminal = v_terminal(size, density, air, place_air.viscosity_pa_s)
    common = {"mp": rate_kg_s, "rhog": air, "D": plant.line_bore_m}
    grain = {"rhop": density, "dp": size}
    return {
        "Rizk": saltation.Rizk(dp=size, **common),
        "Matsumoto 1977": saltation.Matsumoto_1977(**grain, Vterminal=terminal, **common),
        "Schade": saltation.Schade(**grain, **common),
        "Weber": saltation.Weber_saltation(**grain, Vterminal=terminal, **common),
        "Geldart-Ling": saltation.Geldart_Ling(mug=place_air.viscosity_pa_s, **common),
    }


def _saltation(plant: PlantParameters, said: str, point: Point) -> list[Finding]:
    velocities = saltation_m_s(plant, point.solids_kg_s)
    if not velocities:
        return []
    each = ", ".join(f"{name} {velocity:.1f}" for name, velocity in velocities.items())
    return [
        finding(
            f"against saltation, {said}", point.feed_point_m_s, "m/s",
            "more air or less feed: product may settle in the horizontal run",
            f"highest of {each} m/s; {SCATTER}", low=max(velocities.values()), fails="warning",
        )
    ]  # fmt: skip


def _plug(plant: PlantParameters, predicted: Prediction, *, purge: bool) -> Finding:
    """What hangs in the riser falls to the foot bend when the source stops."""
    point = predicted.conveying
    hanging = point.line_content_kg * plant.line_lift_m / plant.line_length_m
    length = hanging / (plant.material_bulk_density_kg_m3 * circle_m2(plant.line_bore_m))
    breaks_at_pa = plug_break_away_pa(
        hanging, plant.line_bore_m, plant.material_bulk_density_kg_m3, plant.line_plug_wall
    )
    return finding(
        "plug after a stop, in bores", length / plant.line_bore_m if length else 0.0, "",
        "fit a purge valve at the feed point, or a bend that can be opened at the foot; "
        f"the plug takes {quantity(breaks_at_pa, 'kPa')} to start, a guess",
        "common practice, no source: 5 bores; with a purge valve as long as the source can start it",
        high=None if purge and breaks_at_pa < 0.7 * predicted.dead_end_pa_v else PLUG_BORES, fails="warning",
    )  # fmt: skip
