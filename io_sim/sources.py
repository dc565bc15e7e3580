"""
Ready-made motor sources: a blower and a vane pump with curves from their laws, to replace the ejector.

A plant file types such a curve as two lists; these are for tests, examples and for working a list out.
"""

from io_sim.formulas_air import air_density_kg_m3, site_pressure_pa
from io_sim.parameters import CURVE_POINTS, PlantParameters, limits


def blower_flow_share(vacuum_share: float, dead_end_pa_v: float, air_pa: float) -> float:
    """
    Mass flow of a side-channel blower as a share of its free flow [-].

    Its volume flow at the inlet falls in a straight line to the dead end, and the air thins:
    (1 - x) (1 - x dead end / air).

    >>> blower_flow_share(0.5, 30e3, 101_325)
    0.426

    Source: near-linear characteristic, dead end 20 to 40 kPa; from memory.
    """
    return (1.0 - vacuum_share) * (1.0 - vacuum_share * dead_end_pa_v / air_pa)


def vane_pump_flow_share(vacuum_share: float) -> float:
    """
    Mass flow of a rotary-vane pump as a share of its free flow, 1 - x [-].

    The volume flow S0 (1 - p_u / p), p_u the lowest pressure that the pump reaches, times the density is
    straight in p, and the dead end lies at p_u.

    >>> vane_pump_flow_share(0.25)
    0.75

    Source: speed of a pump with back-leakage, any vacuum textbook; p_u of dry pumps 2 to 15 kPa, from memory.
    """
    return 1.0 - vacuum_share


def with_motor(
    parameters: PlantParameters, kind: str, free_m3_s: float, dead_end_pa_v: float, relief_pa_v: float = 0.0
) -> PlantParameters:
    """
    These parameters with a motor source in place of the ejector.

    Args:
        parameters: Of the station.
        kind: blower or vane_pump, as in `source_kind`.
        free_m3_s: Volume flow of room air without vacuum [m3/s].
        dead_end_pa_v: Vacuum with nothing to draw [Pa].
        relief_pa_v: Setting of a relief valve; 0 is none [Pa].
    """
    air_pa = site_pressure_pa(parameters.site_altitude_m)
    curve: dict[str, float] = {}
    for i in range(CURVE_POINTS):
        x = i / (CURVE_POINTS - 1)
        vane = kind == "vane_pump"
        share = vane_pump_flow_share(x) if vane else blower_flow_share(x, dead_end_pa_v, air_pa)
        curve |= {f"source_vacuum_share_{i}": x, f"source_flow_share_{i}": share}
    return parameters._replace(
        **curve,
        source_kind=float(limits()["source_kind"].choices.index(kind)),
        source_free_flow_kg_s=free_m3_s * air_density_kg_m3(air_pa, parameters.site_temperature_k),
        source_vacuum_max_pa_v=dead_end_pa_v,
        source_relief_pa_v=relief_pa_v,
        source_motive_m3_s_pa=0.0,
        source_supply_none_pa=0.0,
    )
