"""Vessel below: what falls through the flap, what the consumer takes, and the curtain past the probe."""

import math

from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_powder import beverloo_kg_s
from io_sim.lag import lagged
from io_sim.state import (
    BODY_KG,
    BODY_PA,
    CONSUMED_KG,
    CURTAIN_KG_S,
    DELIVERED_KG,
    FALLING_KG_S,
    FLAP_OPEN,
    VESSEL_KG,
    Floats,
)

P_AIR_PA = at("air_pa")
P_BULK_DENSITY = at("material_bulk_density_kg_m3")
P_PARTICLE_SIZE = at("material_particle_size_m")
P_BEVERLOO_C = at("material_beverloo_c")
P_BEVERLOO_K = at("material_beverloo_k")
P_FLOW_FACTOR = at("material_flow_factor")
P_TAIL = at("material_tail_kg")
P_HOLD = at("material_hold_pa_v")
P_FLAP_BORE = at("flap_bore_m")
P_DEMAND = at("vessel_demand_kg_h")
P_VESSEL_CAPACITY = at("vessel_capacity_kg")

VESSEL_NOT_CONSUMING = slot("vessel_not_consuming")

CURTAIN_S = 0.2  # time of fall past the probe
SEALED_AT = 0.02  # a flap less open than this lets no product through


def falling_kg_s(state: Floats, par: Floats) -> float:
    """Product through the open flap: Beverloo, slowed by fine powder, dying away, held by vacuum."""
    if state[FLAP_OPEN] <= SEALED_AT or state[BODY_KG] <= 0.0:
        return 0.0
    bore = par[P_FLAP_BORE] * state[FLAP_OPEN]
    free = beverloo_kg_s(
        par[P_BULK_DENSITY], bore, par[P_PARTICLE_SIZE], par[P_BEVERLOO_C], par[P_BEVERLOO_K]
    )
    held = min(max(1.0 - (par[P_AIR_PA] - state[BODY_PA]) / par[P_HOLD], 0.0), 1.0)
    trickle = 1.0 - math.exp(-state[BODY_KG] / (par[P_TAIL] + 1e-9))
    return free * par[P_FLOW_FACTOR] * held * trickle


def move_vessel(state: Floats, par: Floats, failures: Floats, step_s: float) -> None:
    """Drop, consume and let the curtain build and fade, for one step."""
    room = max(par[P_VESSEL_CAPACITY] - state[VESSEL_KG], 0.0)
    fallen = min(falling_kg_s(state, par) * step_s, state[BODY_KG], room)
    demand = par[P_DEMAND] / 3600.0 * (1.0 - failures[VESSEL_NOT_CONSUMING]) * step_s
    taken = min(demand, state[VESSEL_KG])
    state[BODY_KG] -= fallen
    state[VESSEL_KG] += fallen - taken
    state[DELIVERED_KG] += fallen
    state[CONSUMED_KG] += taken
    state[FALLING_KG_S] = fallen / step_s
    state[CURTAIN_KG_S] = lagged(state[CURTAIN_KG_S], state[FALLING_KG_S], CURTAIN_S, step_s)
