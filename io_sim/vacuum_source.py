"""Vacuum source: a compressed-air ejector behind its valve (or a motor), as a curve of straight pieces."""

from controller.image import Outputs
from io_sim.constants import at
from io_sim.failures import SOURCE_DEAD, SOURCE_VALVE_PASSING
from io_sim.formulas_air import ejector_dead_end_pa_v, ejector_strength
from io_sim.lag import lagged
from io_sim.state import HEADER_PA, SOURCE_OPEN, Floats, Ints

SOURCE_CMD = Outputs._fields.index("source_cmd")

P_AIR_PA = at("air_pa")
P_FREE_FLOW = at("source_free_flow_kg_s")
P_VACUUM_MAX = at("source_vacuum_max_pa_v")
P_MOTIVE = at("source_motive_m3_s_pa")
P_NOMINAL = at("source_supply_nominal_pa_g")
P_NONE = at("source_supply_none_pa")
P_VALVE_S = at("source_valve_s")
P_SHARE_1 = at("source_vacuum_share_1")
P_A_0 = at("source_a_0")
P_B_0 = at("source_b_0")


def move_source(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """Let the source valve follow its command."""
    target = outputs[SOURCE_CMD] * (1.0 - failures[SOURCE_DEAD])
    target = max(target, 0.3 * failures[SOURCE_VALVE_PASSING])
    state[SOURCE_OPEN] = lagged(state[SOURCE_OPEN], target, par[P_VALVE_S], step_s)


def source_strength(state: Floats, par: Floats) -> tuple[float, float]:
    """Free flow [kg/s] and dead-end vacuum [Pa] at the present supply pressure and valve opening."""
    strength = 1.0
    if par[P_MOTIVE] > 0.0:
        strength = ejector_strength(state[HEADER_PA], par[P_NOMINAL] + par[P_AIR_PA], par[P_NONE])
    dead_end_pa = ejector_dead_end_pa_v(par[P_VACUUM_MAX], strength)
    return par[P_FREE_FLOW] * strength * state[SOURCE_OPEN], dead_end_pa


def source_kg_s(
    body_pa: float, par: Floats, free_kg_s: float, dead_end_pa: float, filter_pa_s_kg: float
) -> tuple[float, float, float]:
    """
    Air drawn through the filter: flow [kg/s], its slope over body pressure, vacuum on the clean side [Pa].

    Each straight piece of the curve and the filter's drag are solved together, without iteration; the piece
    that holds its own solution is the right one. `filter_pa_s_kg` is the filter drop per mass flow.
    """
    if free_kg_s <= 0.0:
        return 0.0, 0.0, par[P_AIR_PA] - body_pa
    share = (par[P_AIR_PA] - body_pa) / dead_end_pa
    for i in range(8):
        slope = par[P_B_0 + i]
        below = 1.0 - free_kg_s * slope * filter_pa_s_kg / dead_end_pa
        flow = free_kg_s * (par[P_A_0 + i] + slope * share) / below
        clean_share = share + filter_pa_s_kg * flow / dead_end_pa
        if clean_share <= par[P_SHARE_1 + i]:
            return flow, -free_kg_s * slope / (dead_end_pa * below), clean_share * dead_end_pa
    return 0.0, 0.0, par[P_AIR_PA] - body_pa
