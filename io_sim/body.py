"""
Body: one volume of gas between line, openings, pulse and source.

Its pressure settles in 0.1 ms while the flap is open, so it is the one state that is stepped implicitly:
backward Euler, one scalar equation that rises strictly with the new pressure, solved by a bracketed Newton.
"""

import math

from controller.image import Outputs
from io_sim.constants import at
from io_sim.failures import slot
from io_sim.filters import filter_pa_s_kg
from io_sim.flap import flap_gap_m2
from io_sim.formulas_air import ROUNDING_PA, orifice_kg_s
from io_sim.lag import lagged
from io_sim.line import line_kg_s, line_terms
from io_sim.state import (
    BODY_GAS_M3,
    BODY_KG,
    BODY_PA,
    BYPASS_OPEN,
    CLEAN_PA,
    LINE_AIR_KG,
    LINE_AIR_KG_S,
    OPENING_AIR_KG,
    OPENING_AIR_KG_S,
    PULSE_AIR_KG_S,
    SOURCE_AIR_KG,
    SOURCE_AIR_KG_S,
    SOURCE_OPEN,
    VENT_OPEN,
    VESSEL_PA,
    Floats,
    Ints,
)
from io_sim.vacuum_source import source_kg_s, source_strength

VENT_CLOSE_CMD = Outputs._fields.index("vent_close_cmd")

P_AIR_PA = at("air_pa")
P_GAS = at("gas_j_kg")
P_TEMPERATURE = at("site_temperature_k")
P_VOLUME = at("body_gas_volume_m3")
P_LEAK = at("body_leak_m2")
P_PARTICLE_DENSITY = at("material_particle_density_kg_m3")
P_VENT_AREA = at("vent_area_m2")
P_VENT_VALVE_S = at("vent_valve_s")
P_BACK_FLOW = at("source_back_flow_m2")
P_CHECK_VALVE = at("source_check_valve")
P_BYPASS_M2 = at("source_bypass_m2")

VENT_STUCK_OPEN = slot("vent_stuck_open")
BODY_LEAKING = slot("body_leaking")
VENT_STUCK_SHUT = slot("vent_stuck_shut")
VENT_FILTER_CLOGGED = slot("vent_filter_clogged")

COVER_LEAK_M2 = 5e-4  # estimate
CLOGGED = 0.9  # of the vent's opening at the worst
LOWEST_PA = 2_000.0
HIGHEST_PA = 400_000.0
TOLERANCE_PA = 1e-2  # of the last step taken, which leaves a far smaller error
EVALUATIONS_MAX = 80


def move_vent(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """Let the spring-open vent valve follow its command."""
    target = (1.0 - outputs[VENT_CLOSE_CMD]) * (1.0 - failures[VENT_STUCK_SHUT])
    target = max(target, failures[VENT_STUCK_OPEN]) * (1.0 - CLOGGED * failures[VENT_FILTER_CLOGGED])
    state[VENT_OPEN] = lagged(state[VENT_OPEN], target, par[P_VENT_VALVE_S], step_s)


def openings_m2(state: Floats, par: Floats, failures: Floats) -> tuple[float, float]:
    """Effective area open to the room, inwards and outwards: vent, leaks, stopped source and bypass."""
    both = par[P_LEAK] + COVER_LEAK_M2 * failures[BODY_LEAKING] + par[P_VENT_AREA] * state[VENT_OPEN]
    through_source = par[P_BACK_FLOW] * (1.0 - state[SOURCE_OPEN]) + par[P_BYPASS_M2] * state[BYPASS_OPEN]
    return both + through_source * (1.0 - par[P_CHECK_VALVE]), both + through_source


def opening_kg_s(area_m2: float, body_pa: float, outside_pa: float, par: Floats) -> tuple[float, float]:
    """Air through an opening into the body [kg/s], and its slope over body pressure, choking left out."""
    flow = orifice_kg_s(area_m2, body_pa, outside_pa, par[P_TEMPERATURE])
    size = abs(outside_pa - body_pa) + ROUNDING_PA
    root_density = math.sqrt(2.0 * outside_pa / par[P_GAS])
    return flow, -area_m2 * root_density * 0.5 * (size + ROUNDING_PA) / (size * math.sqrt(size))


def move_gas(state: Floats, par: Floats, failures: Floats, step_s: float) -> None:
    """
    Step the body's pressure by backward Euler, and note the flows at the new pressure.

    g(p) = p V - p_old V_old - h R T (line + openings + pulse - source) rises strictly, so a bracket always
    holds the root. The step is taken before its size is judged: to judge first would freeze slow drifts.
    A step that does not halve is replaced by a bisection. The pressure kept is the one that balances the
    flows noted, so that gas is conserved to rounding.
    """
    air_pa, gas = par[P_AIR_PA], par[P_GAS]
    air_loss, solids_loss, column_pa, break_away_pa = line_terms(state, par, failures)
    drag = filter_pa_s_kg(state, par, failures) * state[BODY_PA]
    free, dead_end = source_strength(state, par, failures)
    inwards_m2, outwards_m2 = openings_m2(state, par, failures)
    gap_m2 = flap_gap_m2(state, par, failures)
    volume = par[P_VOLUME] - state[BODY_KG] / par[P_PARTICLE_DENSITY]
    before = state[BODY_PA] * state[BODY_GAS_M3]
    pulse = state[PULSE_AIR_KG_S]
    pressure, low, high = state[BODY_PA], LOWEST_PA, HIGHEST_PA
    last = high - low
    line = opening = source = 0.0
    for _ in range(EVALUATIONS_MAX):
        line, line_slope = line_kg_s(pressure, par, air_loss, solids_loss, column_pa, break_away_pa)
        source, source_slope, clean_vacuum = source_kg_s(pressure, par, free, dead_end, drag / pressure)
        area = inwards_m2 if pressure < air_pa else outwards_m2
        opening, opening_slope = opening_kg_s(area, pressure, air_pa, par)
        if gap_m2 > 0.0:
            flap, flap_slope = opening_kg_s(gap_m2, pressure, state[VESSEL_PA], par)
            opening += flap
            opening_slope += flap_slope
        miss = pressure * volume - before - step_s * gas * (line + opening + pulse - source)
        if miss > 0.0:
            high = pressure
        else:
            low = pressure
        step = miss / (volume - step_s * gas * (line_slope + opening_slope - source_slope))
        if abs(step) > 0.5 * abs(last) or not low <= pressure - step <= high:
            step = pressure - 0.5 * (low + high)
        last = step
        pressure -= step
        if abs(step) < TOLERANCE_PA:
            break
    state[BODY_PA] = (before + step_s * gas * (line + opening + pulse - source)) / volume
    state[BODY_GAS_M3] = volume
    note_flows(state, step_s, line, opening, source)
    state[CLEAN_PA] = air_pa - clean_vacuum


def note_flows(state: Floats, step_s: float, line: float, opening: float, source: float) -> None:
    """Keep the flows of this step and add them to the totals."""
    state[LINE_AIR_KG_S] = line
    state[OPENING_AIR_KG_S] = opening
    state[SOURCE_AIR_KG_S] = source
    state[LINE_AIR_KG] += line * step_s
    state[OPENING_AIR_KG] += opening * step_s
    state[SOURCE_AIR_KG] += source * step_s
