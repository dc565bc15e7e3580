"""
Filters: all elements as one cloth with a cake, cleaned by pulses; the cake falls as a cloud of dust.

A part of the cake may stay for good (blinding); through a torn or missing element dust leaves with the
exhaust.
"""

import math

from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_powder import pulse_effect
from io_sim.state import (
    ALOFT_KG,
    ARRIVING_KG_S,
    BLINDED_KG_M2,
    BODY_GAS_M3,
    BODY_KG,
    BODY_PA,
    CAKE_KG_M2,
    EXHAUSTED_KG,
    PULSE_S,
    SOURCE_AIR_KG_S,
    TANK_PA,
    Floats,
)

P_AIR_PA = at("air_pa")
P_GAS = at("gas_j_kg")
P_CLOTH = at("filter_area_m2")
P_CLEAN_DRAG = at("filter_clean_drag_pa_s_m")
P_CAKE_RESISTANCE = at("filter_cake_resistance_1_s")
P_FINES = at("filter_fines_share")
P_CLEANING_MAX = at("filter_cleaning_max")
P_CLEANING_OFFSET = at("filter_cleaning_offset_pa_g")
P_CLEANING_SCALE = at("filter_cleaning_scale_pa")
P_UNDER_SUCTION = at("filter_under_suction")
P_USEFUL_S = at("filter_pulse_useful_s")
P_SETTLING_S = at("filter_dust_settling_s")
P_GROUP_SHARE = at("group_1_share")

FILTER_BLINDED = slot("filter_blinded")
FILTER_BLINDING = slot("filter_blinding")
FILTER_TORN = slot("filter_torn")
FILTER_NOT_REFITTED = slot("filter_not_refitted")
FILTER_WET = slot("filter_wet")

PULSE_GROUPS = 3
NO_CLOUD_KG = 1e-6  # less dust than this has settled
SUCTION_PA_V = 500.0  # above this vacuum a pulse works against the suction
STAYS = 0.01  # of the dust caught, at the worst of blinding; 1e-4 to 1e-3 is usual (estimate)
TORN = 0.9  # of the air passes beside the cloth at the worst
MISSING_DRAG = 0.02  # of the whole filter's, through the hole of a missing element
MISSING_PASSES = 0.1  # of the product arriving goes through that hole


def hole_share(failures: Floats) -> float:
    """Share of the air, and of its dust, that passes through a hole instead of the cloth."""
    if failures[FILTER_NOT_REFITTED] >= 0.5:
        return 1.0 - MISSING_DRAG
    return TORN * failures[FILTER_TORN]


def filter_pa_s_kg(state: Floats, par: Floats, failures: Floats) -> float:
    """Pressure drop of the filter per mass flow of air, at the body's density [Pa s/kg]."""
    drag = par[P_CLEAN_DRAG] + par[P_CAKE_RESISTANCE] * state[CAKE_KG_M2]
    drag *= 1.0 + 7.0 * failures[FILTER_BLINDED]
    drag *= (1.0 + 2.0 * failures[FILTER_WET]) * (1.0 - hole_share(failures))
    return drag * par[P_GAS] / (par[P_CLOTH] * state[BODY_PA])


def pulsed_kg_m2(state: Floats, par: Floats, failures: Floats, step_s: float) -> float:
    """Cake that pulses take off in this step, as an average over the whole cloth."""
    removed = 0.0
    for group in range(PULSE_GROUPS):
        if 0.0 < state[PULSE_S + group] <= par[P_USEFUL_S] + 0.5 * step_s:
            effect = pulse_effect(
                state[TANK_PA + group] - par[P_AIR_PA],
                par[P_CLEANING_MAX],
                par[P_CLEANING_OFFSET],
                par[P_CLEANING_SCALE],
            )
            effect *= 1.0 - 0.9 * failures[FILTER_WET]
            if par[P_AIR_PA] - state[BODY_PA] > SUCTION_PA_V:
                effect *= par[P_UNDER_SUCTION]
            loose = (state[CAKE_KG_M2] - state[BLINDED_KG_M2]) * par[P_GROUP_SHARE + group]
            removed += loose * (1.0 - math.pow(1.0 - effect, step_s / par[P_USEFUL_S]))
    return removed


def move_dust(state: Floats, par: Floats, failures: Floats, step_s: float) -> None:
    """Share what arrives between cloth and body, clean it while a pulse works, let the cloud settle."""
    cloth = par[P_CLOTH]
    arrived = state[ARRIVING_KG_S] * step_s
    fines = par[P_FINES] * arrived
    state[BODY_KG] += arrived - fines
    removed = pulsed_kg_m2(state, par, failures, step_s)
    state[CAKE_KG_M2] -= removed
    aloft = state[ALOFT_KG] + removed * cloth
    if 0.0 < aloft < NO_CLOUD_KG:
        state[BODY_KG] += aloft
        aloft = 0.0
    elif aloft > 0.0:
        settled = aloft * (1.0 - math.exp(-step_s / par[P_SETTLING_S]))
        air_m3_s = max(state[SOURCE_AIR_KG_S], 0.0) * par[P_GAS] / state[BODY_PA]
        caught = (aloft - settled) * (1.0 - math.exp(-step_s * air_m3_s / state[BODY_GAS_M3]))
        aloft -= settled + caught
        state[BODY_KG] += settled
        fines += caught
    state[ALOFT_KG] = aloft
    hole = hole_share(failures)
    if hole > 0.0:
        lost = 0.0
        if failures[FILTER_NOT_REFITTED] >= 0.5:
            lost = MISSING_PASSES * (1.0 - par[P_FINES]) * arrived
        state[BODY_KG] -= lost
        state[EXHAUSTED_KG] += lost + hole * fines
        fines *= 1.0 - hole
    state[CAKE_KG_M2] += fines / cloth
    state[BLINDED_KG_M2] += STAYS * failures[FILTER_BLINDING] * fines / cloth
