"""
Flap: closed by a spring, opened by a single-acting cylinder, held shut by vacuum.

It moves where the sum of forces at its middle points. A weak cylinder cannot open it against vacuum; with no
air the spring closes it.
"""

from controller.image import Outputs
from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_line import GRAVITY
from io_sim.lag import lagged
from io_sim.state import (
    BODY_KG,
    BODY_PA,
    CYLINDER_AIR_KG,
    CYLINDER_PA,
    FLAP_OPEN,
    HEADER_PA,
    VESSEL_KG,
    Floats,
    Ints,
)

FLAP_OPEN_CMD = Outputs._fields.index("flap_open_cmd")

P_AIR_PA = at("air_pa")
P_GAS = at("gas_j_kg")
P_FLAP_AREA = at("flap_area_m2")
P_HEADER_M3 = at("supply_header_volume_m3")
P_TRAVEL_S = at("flap_travel_s")
P_CYLINDER_AREA = at("cylinder_area_m2")
P_STROKE = at("flap_cylinder_stroke_m")
P_CYLINDER_LAG = at("flap_cylinder_lag_s")
P_LEVER = at("flap_lever")
P_SPRING = at("flap_spring_n")
P_PRODUCT_LOAD = at("product_load_pa")
P_VESSEL_CAPACITY = at("vessel_capacity_kg")

FLAP_SLOW = slot("flap_slow")
FLAP_STICKS_CLOSED = slot("flap_sticks_closed")
FLAP_STICKS_OPEN = slot("flap_sticks_open")
PRODUCT_ON_SEAT = slot("product_on_seat")

FULL_SPEED_AT = 0.2  # of the spring force: less surplus than this moves the flap slower
STANDING_PRODUCT = 0.3  # a vessel full up to the flap keeps it so far open


def move_cylinder(state: Floats, par: Floats, outputs: Ints, step_s: float) -> None:
    """Fill the cylinder from the header, or vent it, for one step; it never passes their common pressure."""
    before = state[CYLINDER_PA]
    target = par[P_AIR_PA]
    volume = par[P_CYLINDER_AREA] * par[P_STROKE]
    if outputs[FLAP_OPEN_CMD]:
        header = par[P_HEADER_M3]
        target = max((state[HEADER_PA] * header + before * volume) / (header + volume), target)
    after = lagged(before, target, par[P_CYLINDER_LAG], step_s)
    state[CYLINDER_PA] = after
    if after > before:
        state[CYLINDER_AIR_KG] += (after - before) * volume / par[P_GAS]
        state[HEADER_PA] -= (after - before) * volume / par[P_HEADER_M3]


def flap_force_n(state: Floats, par: Floats) -> float:
    """Force at the middle of the flap, positive opens: cylinder and product against spring and vacuum."""
    area = par[P_FLAP_AREA]
    cylinder = (state[CYLINDER_PA] - par[P_AIR_PA]) * par[P_CYLINDER_AREA] * par[P_LEVER]
    product = min(state[BODY_KG] * GRAVITY, par[P_PRODUCT_LOAD] * area) * (1.0 - state[FLAP_OPEN])
    vacuum = (par[P_AIR_PA] - state[BODY_PA]) * area
    return cylinder + product - par[P_SPRING] - vacuum


def move_flap(state: Floats, par: Floats, failures: Floats, step_s: float) -> None:
    """Move the flap for one step where its forces point."""
    effort = min(max(flap_force_n(state, par) / (FULL_SPEED_AT * par[P_SPRING]), -1.0), 1.0)
    moved = effort * step_s / (par[P_TRAVEL_S] * (1.0 + 5.0 * failures[FLAP_SLOW]))
    before = state[FLAP_OPEN]
    if moved > 0.0:
        if failures[FLAP_STICKS_CLOSED] == 0.0:
            state[FLAP_OPEN] = min(before + moved, 1.0)
    elif failures[FLAP_STICKS_OPEN] == 0.0:
        lowest = 0.2 * failures[PRODUCT_ON_SEAT]
        if state[VESSEL_KG] >= par[P_VESSEL_CAPACITY] and state[BODY_KG] > 0.0:
            lowest = max(lowest, STANDING_PRODUCT)
        state[FLAP_OPEN] = max(before + moved, min(before, lowest))
