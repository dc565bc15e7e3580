"""Reverse-pulse tanks: one for each filter element, lumped; filled from the header, blown into the body."""

import math

from controller.image import Outputs
from io_sim.constants import at
from io_sim.failures import PULSE_VALVE_STUCK_OPEN
from io_sim.formulas_air import iso_6358_kg_s
from io_sim.state import BODY_PA, HEADER_PA, PULSE_AIR_KG, PULSE_AIR_KG_S, PULSE_S, TANK_PA, Floats, Ints

PULSE_CMD = Outputs._fields.index("pulse_1_cmd")

P_GAS = at("gas_j_kg")
P_TEMPERATURE = at("site_temperature_k")
P_HEADER_M3 = at("supply_header_volume_m3")
P_TANKS = at("tanks_m3")
P_VALVE = at("tanks_valve_m3_s_pa")
P_FILL = at("tanks_fill_m3_s_pa")
P_RATIO = at("tank_critical_ratio")


def move_tanks(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """
    Fill the tanks from the header and blow them for one step.

    Filling is explicit and never passes the common pressure of both. Blowing is the exact exponential of a
    choked outflow, and never falls under the body's pressure.
    """
    tank_pa = state[TANK_PA]
    per_kg = par[P_GAS] / par[P_TANKS]
    filled = 0.0
    if state[HEADER_PA] > tank_pa:
        flow = iso_6358_kg_s(par[P_FILL], par[P_RATIO], state[HEADER_PA], tank_pa, par[P_TEMPERATURE])
        header_per_kg = par[P_GAS] / par[P_HEADER_M3]
        filled = min(flow * step_s, (state[HEADER_PA] - tank_pa) / (per_kg + header_per_kg))
        state[HEADER_PA] -= filled * header_per_kg
    opening = max(float(outputs[PULSE_CMD]), failures[PULSE_VALVE_STUCK_OPEN])
    blown = 0.0
    if opening > 0.0:
        state[PULSE_S] += step_s
        valve = par[P_VALVE] * opening
        flow = iso_6358_kg_s(valve, par[P_RATIO], tank_pa, state[BODY_PA], par[P_TEMPERATURE])
        if flow > 0.0:
            blown = tank_pa / per_kg * (1.0 - math.exp(-flow * per_kg * step_s / tank_pa))
            blown = min(blown, (tank_pa - state[BODY_PA]) / per_kg)
    else:
        state[PULSE_S] = 0.0
    state[TANK_PA] = tank_pa + (filled - blown) * per_kg
    state[PULSE_AIR_KG_S] = blown / step_s
    state[PULSE_AIR_KG] += blown
