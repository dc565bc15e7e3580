"""
Vessel below: what falls through the flap, what else comes in, what the consumer takes.

Its heap is a cone of the angle of repose, filled on the axis; where the peak reaches the edge of the open
flap it keeps the flap from closing. Its own pressure holds the product up and blows through the flap.
"""

import math

from controller.image import Outputs
from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_powder import beverloo_kg_s, heap_height_m
from io_sim.lag import lagged
from io_sim.state import (
    BODY_KG,
    BODY_PA,
    CONSUMED_KG,
    CURTAIN_KG_S,
    DELIVERED_KG,
    FALLING_KG_S,
    FLAP_OPEN,
    HEADER_PA,
    HEAP_AT_FLAP,
    TIPPED_IN_KG,
    VESSEL_KG,
    VESSEL_PA,
    Floats,
    Ints,
)

FLUIDISE_CMD = Outputs._fields.index("fluidise_cmd")

P_AIR_PA = at("air_pa")
P_BULK_DENSITY = at("material_bulk_density_kg_m3")
P_PARTICLE_SIZE = at("material_particle_size_m")
P_BEVERLOO_C = at("material_beverloo_c")
P_BEVERLOO_K = at("material_beverloo_k")
P_FLOW_FACTOR = at("material_flow_factor")
P_FLUIDISED_FACTOR = at("material_fluidised_factor")
P_TAIL = at("material_tail_kg")
P_HOLD = at("material_hold_pa_v")
P_REPOSE = at("material_repose_rad")
P_FLAP_BORE = at("flap_bore_m")
P_DEMAND = at("vessel_demand_kg_h")
P_INFLOW = at("vessel_inflow_kg_h")
P_VESSEL_PRESSURE = at("vessel_pressure_pa_g")
P_VESSEL_BORE = at("vessel_bore_m")
P_VESSEL_M3 = at("vessel_capacity_m3")
P_VESSEL_CAPACITY = at("vessel_capacity_kg")

BODY_BRIDGING = slot("body_bridging")
FLUIDISING_DEAD = slot("fluidising_dead")
VESSEL_NOT_CONSUMING = slot("vessel_not_consuming")
VESSEL_NOT_VENTED = slot("vessel_not_vented")
VESSEL_PRESSURISED = slot("vessel_pressurised")
VESSEL_TIPPED_INTO = slot("vessel_tipped_into")
HEAP_UNDER_FLAP = slot("heap_under_flap")

CURTAIN_S = 0.2  # time of fall past the probe
SEALED_AT = 0.02  # a flap less open than this lets no product through
FLUIDISE_PA_G = 100e3  # less supply than this does not fluidise
STANDING_PRODUCT = 0.3  # product up to the edge of the open flap keeps it so far open
STEEPER = 2.0  # the slope of a heap that builds up under the flap grows by so much, as a share
PRESSURISED_PA = 4e3
GULP_PA = 1.5e3  # in a vessel without vent while product falls fast into it
GULP_KG_S = 0.3  # half of that pressure at this rate
GULP_SLOWS = 0.85  # share of the discharge lost to air that comes up; fines 3 to 10 times slower


def flow_factor(state: Floats, par: Floats, failures: Floats, outputs: Ints) -> float:
    """Share of the free discharge that this product reaches, fluidised or not, bridging or not."""
    factor = par[P_FLOW_FACTOR]
    if outputs[FLUIDISE_CMD] and state[HEADER_PA] - par[P_AIR_PA] > FLUIDISE_PA_G:
        better = max(par[P_FLUIDISED_FACTOR] - factor, 0.0)
        factor += better * (1.0 - failures[FLUIDISING_DEAD])
    return factor * (1.0 - failures[BODY_BRIDGING]) * (1.0 - GULP_SLOWS * failures[VESSEL_NOT_VENTED])


def falling_kg_s(state: Floats, par: Floats, failures: Floats, outputs: Ints) -> float:
    """Product through the open flap: Beverloo, slowed by fine powder, dying away, held by vacuum."""
    if state[FLAP_OPEN] <= SEALED_AT or state[BODY_KG] <= 0.0:
        return 0.0
    bore = par[P_FLAP_BORE] * state[FLAP_OPEN]
    free = beverloo_kg_s(
        par[P_BULK_DENSITY], bore, par[P_PARTICLE_SIZE], par[P_BEVERLOO_C], par[P_BEVERLOO_K]
    )
    held = min(max(1.0 - (state[VESSEL_PA] - state[BODY_PA]) / par[P_HOLD], 0.0), 1.0)
    trickle = 1.0 - math.exp(-state[BODY_KG] / (par[P_TAIL] + 1e-9))
    return free * flow_factor(state, par, failures, outputs) * held * trickle


def heap_repose_rad(par: Floats, failures: Floats) -> float:
    """Angle of the heap in the vessel."""
    if failures[HEAP_UNDER_FLAP] == 0.0:
        return par[P_REPOSE]
    return math.atan(math.tan(par[P_REPOSE]) * (1.0 + STEEPER * failures[HEAP_UNDER_FLAP]))


def heap_at_flap(state: Floats, par: Floats, failures: Floats) -> float:
    """How far the product below keeps the flap open: full up to the flap, or with a peak that reaches it."""
    if state[VESSEL_KG] >= par[P_VESSEL_CAPACITY] and state[BODY_KG] > 0.0:
        return STANDING_PRODUCT
    if failures[HEAP_UNDER_FLAP] == 0.0:
        return 0.0
    bore = par[P_VESSEL_BORE]
    edge_m = heap_height_m(par[P_VESSEL_M3], bore, 0.0, par[P_REPOSE])
    volume = state[VESSEL_KG] / par[P_BULK_DENSITY]
    peak_m = heap_height_m(volume, bore, 0.0, heap_repose_rad(par, failures))
    return STANDING_PRODUCT if peak_m >= edge_m else 0.0


def move_vessel(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """Drop, tip in, consume and let the curtain build and fade, for one step."""
    room = max(par[P_VESSEL_CAPACITY] - state[VESSEL_KG], 0.0)
    fallen = min(falling_kg_s(state, par, failures, outputs) * step_s, state[BODY_KG], room)
    inflow = par[P_INFLOW] / 3600.0 + failures[VESSEL_TIPPED_INTO] * par[P_VESSEL_CAPACITY] / 60.0
    tipped = min(inflow * step_s, room - fallen)
    demand = par[P_DEMAND] / 3600.0 * (1.0 - failures[VESSEL_NOT_CONSUMING]) * step_s
    taken = min(demand, state[VESSEL_KG])
    state[BODY_KG] -= fallen
    state[VESSEL_KG] += fallen + tipped - taken
    state[DELIVERED_KG] += fallen
    state[TIPPED_IN_KG] += tipped
    state[CONSUMED_KG] += taken
    state[FALLING_KG_S] = fallen / step_s
    state[CURTAIN_KG_S] = lagged(state[CURTAIN_KG_S], state[FALLING_KG_S], CURTAIN_S, step_s)
    state[HEAP_AT_FLAP] = heap_at_flap(state, par, failures)
    over = par[P_VESSEL_PRESSURE] + PRESSURISED_PA * failures[VESSEL_PRESSURISED]
    gulp = GULP_PA * state[CURTAIN_KG_S] / (state[CURTAIN_KG_S] + GULP_KG_S)
    state[VESSEL_PA] = par[P_AIR_PA] + over + gulp * failures[VESSEL_NOT_VENTED]
