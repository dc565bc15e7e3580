"""
Reverse-pulse tanks: one for each filter element, lumped by group of valves.

They are filled from the header and blown into the body, each group by its own valve.
"""

import math

from controller.image import Outputs
from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_air import iso_6358_kg_s
from io_sim.state import BODY_PA, HEADER_PA, PULSE_AIR_KG, PULSE_AIR_KG_S, PULSE_S, TANK_PA, Floats, Ints

PULSE_CMD = Outputs._fields.index("pulse_1_cmd")  # then second and third group, as in the state

P_GAS = at("gas_j_kg")
P_TEMPERATURE = at("site_temperature_k")
P_HEADER_M3 = at("supply_header_volume_m3")
P_GROUP_M3 = at("group_1_m3")
P_VALVE = at("group_1_valve_m3_s_pa")
P_FILL = at("group_1_fill_m3_s_pa")
P_RATIO = at("tank_critical_ratio")

PULSE_VALVE_STUCK_OPEN = slot("pulse_valve_stuck_open")
PULSE_VALVE_STUCK_SHUT = slot("pulse_valve_stuck_shut")
PULSE_VALVE_PASSING = slot("pulse_valve_passing")
TANK_NOT_CHARGING = slot("tank_not_charging")

GROUPS_MAX = 3
PASSING = 0.02  # of the open pulse valve: a hiss; estimate


def move_tanks(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """Fill the tanks of each group from the header and blow them for one step."""
    blown = 0.0
    for group in range(GROUPS_MAX):
        if par[P_GROUP_M3 + group] > 0.0:
            tank_pa = state[TANK_PA + group]
            per_kg = par[P_GAS] / par[P_GROUP_M3 + group]
            filled = filled_kg(state, par, failures, group, step_s)
            opening = pulse_opening(failures, outputs, group)
            left = blown_kg(state, par, group, opening, step_s)
            state[PULSE_S + group] = state[PULSE_S + group] + step_s if opening > PASSING else 0.0
            state[TANK_PA + group] = tank_pa + (filled - left) * per_kg
            blown += left
    state[PULSE_AIR_KG_S] = blown / step_s
    state[PULSE_AIR_KG] += blown


def pulse_opening(failures: Floats, outputs: Ints, group: int) -> float:
    """How far the pulse valve of a group is open; it is the first group's that fails."""
    opening = float(outputs[PULSE_CMD + group])
    if group == 0:
        opening *= 1.0 - failures[PULSE_VALVE_STUCK_SHUT]
        opening = max(opening, failures[PULSE_VALVE_STUCK_OPEN], PASSING * failures[PULSE_VALVE_PASSING])
    return opening


def filled_kg(state: Floats, par: Floats, failures: Floats, group: int, step_s: float) -> float:
    """Air from the header in one step, explicit; never passes the common pressure of both."""
    tank_pa = state[TANK_PA + group]
    if state[HEADER_PA] <= tank_pa:
        return 0.0
    per_kg = par[P_GAS] / par[P_GROUP_M3 + group]
    header_per_kg = par[P_GAS] / par[P_HEADER_M3]
    line = par[P_FILL + group] * (1.0 - failures[TANK_NOT_CHARGING])
    flow = iso_6358_kg_s(line, par[P_RATIO], state[HEADER_PA], tank_pa, par[P_TEMPERATURE])
    filled = min(flow * step_s, (state[HEADER_PA] - tank_pa) / (per_kg + header_per_kg))
    state[HEADER_PA] -= filled * header_per_kg
    return filled


def blown_kg(state: Floats, par: Floats, group: int, opening: float, step_s: float) -> float:
    """Air into the body in one step: exact exponential of a choked outflow, never under its pressure."""
    if opening <= 0.0:
        return 0.0
    tank_pa = state[TANK_PA + group]
    per_kg = par[P_GAS] / par[P_GROUP_M3 + group]
    valve = par[P_VALVE + group] * opening
    flow = iso_6358_kg_s(valve, par[P_RATIO], tank_pa, state[BODY_PA], par[P_TEMPERATURE])
    if flow <= 0.0:
        return 0.0
    blown = tank_pa / per_kg * (1.0 - math.exp(-flow * per_kg * step_s / tank_pa))
    return min(blown, (tank_pa - state[BODY_PA]) / per_kg)
