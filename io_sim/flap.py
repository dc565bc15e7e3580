"""
Flap: driven by a cylinder, or hanging by itself; held shut by vacuum.

It moves where the sum of forces at its middle points. Driven with a spring valve: a single-acting cylinder
opens, a spring closes; a weak cylinder cannot open it against vacuum, and with no air the spring closes it.
Driven with two coils: a double-acting cylinder and no spring; the valve keeps its last place, without air
product and vacuum alone move the flap, and when air returns it goes where the valve stands. Hanging:
product opens it when the vacuum is gone and the counterweight closes it when the body is nearly empty;
held by vacuum it hangs a little ajar, and the vacuum closes the last bit.
"""

from controller.image import Outputs
from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_line import GRAVITY
from io_sim.formulas_powder import FULL_SPEED_AT, HANGING_SWING
from io_sim.lag import lagged
from io_sim.state import (
    BODY_KG,
    BODY_PA,
    CYLINDER_AIR_KG,
    CYLINDER_CLOSING_PA,
    CYLINDER_PA,
    FLAP_OPEN,
    FLAP_VALVE_OPEN,
    HEADER_PA,
    HEAP_AT_FLAP,
    VESSEL_PA,
    Floats,
    Ints,
)

FLAP_OPEN_CMD = Outputs._fields.index("flap_open_cmd")
FLAP_CLOSE_CMD = Outputs._fields.index("flap_close_cmd")

P_AIR_PA = at("air_pa")
P_GAS = at("gas_j_kg")
P_FLAP_AREA = at("flap_area_m2")
P_FLAP_CD = at("flap_discharge_coefficient")
P_HEADER_M3 = at("supply_header_volume_m3")
P_FLAP_KIND = at("flap_kind")
P_FLAP_VALVE = at("flap_valve")
P_TRAVEL_S = at("flap_travel_s")
P_CYLINDER_AREA = at("cylinder_area_m2")
P_STROKE = at("flap_cylinder_stroke_m")
P_CYLINDER_LAG = at("flap_cylinder_lag_s")
P_LEVER = at("flap_lever")
P_SPRING = at("flap_spring_n")
P_COUNTERWEIGHT = at("flap_counterweight_n")
P_AJAR = at("flap_ajar")
P_PRODUCT_LOAD = at("product_load_pa")

FLAP_SLOW = slot("flap_slow")
FLAP_STICKS_CLOSED = slot("flap_sticks_closed")
FLAP_STICKS_OPEN = slot("flap_sticks_open")
FLAP_HOSES_SWAPPED = slot("flap_hoses_swapped")
FLAP_LEAKING = slot("flap_leaking")
PRODUCT_ON_SEAT = slot("product_on_seat")
STRING_ON_SEAT = slot("string_on_seat")

DRIVEN, VACUUM_HELD = 0.0, 2.0  # and 1 a counterweight
CYLINDER_AT_PA_G = 6e5  # a cylinder's force is stated at 6 bar; common practice, no source
LEAKING_M2, STRING_M2 = 1e-4, 3e-5  # estimates
ROCKED_OPEN, ROCKING_PA_V = 0.07, 3_000.0  # a string: vacuum over this tilts the flap on it; estimates


def move_cylinder(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """Switch the flap valve, and fill or vent both sides of the cylinder, for one step."""
    if par[P_FLAP_KIND] != DRIVEN:
        return
    opens, closes = outputs[FLAP_OPEN_CMD] > 0, outputs[FLAP_CLOSE_CMD] > 0
    if par[P_FLAP_VALVE] == 0.0 or opens != closes:
        state[FLAP_VALVE_OPEN] = 1.0 if opens else 0.0
    towards_open = (state[FLAP_VALVE_OPEN] > 0.0) != (failures[FLAP_HOSES_SWAPPED] >= 0.5)
    fill_or_vent(state, par, CYLINDER_PA, towards_open, step_s)
    if par[P_FLAP_VALVE] > 0.0:
        fill_or_vent(state, par, CYLINDER_CLOSING_PA, not towards_open, step_s)


def fill_or_vent(state: Floats, par: Floats, side: int, filled: bool, step_s: float) -> None:
    """One side of the cylinder, from the header or to the room; it never passes their common pressure."""
    before = state[side]
    target = par[P_AIR_PA]
    volume = par[P_CYLINDER_AREA] * par[P_STROKE]
    if filled:
        header = par[P_HEADER_M3]
        target = max((state[HEADER_PA] * header + before * volume) / (header + volume), target)
    after = lagged(before, target, par[P_CYLINDER_LAG], step_s)
    state[side] = after
    if after > before:
        state[CYLINDER_AIR_KG] += (after - before) * volume / par[P_GAS]
        state[HEADER_PA] -= (after - before) * volume / par[P_HEADER_M3]


def gravity_arm(state: Floats, par: Floats) -> float:
    """
    Arm of a weight on the flap, as a share of that on the closed one.

    It shortens as the flap swings down. On a hanging flap that holds for product and counterweight alike, so
    it swings wide open while the product is the heavier one, and shut when it no longer is.
    """
    return 1.0 - (1.0 if par[P_FLAP_KIND] == DRIVEN else HANGING_SWING) * state[FLAP_OPEN]


def closing_force_n(state: Floats, par: Floats) -> float:
    """What closes the flap without air and vacuum: spring, counterweight, or the hinge's bias to its rest."""
    if par[P_FLAP_KIND] == DRIVEN:
        return par[P_SPRING] if par[P_FLAP_VALVE] == 0.0 else 0.0
    weight = par[P_COUNTERWEIGHT] * gravity_arm(state, par)
    if par[P_FLAP_KIND] == VACUUM_HELD:
        return weight * min(max(2.0 * (state[FLAP_OPEN] / par[P_AJAR] - 1.0), -1.0), 1.0)
    return weight


def flap_force_n(state: Floats, par: Floats) -> float:
    """Force at the middle of the flap, positive opens: cylinder, product, closing force, vacuum."""
    area = par[P_FLAP_AREA]
    cylinder = (state[CYLINDER_PA] - state[CYLINDER_CLOSING_PA]) * par[P_CYLINDER_AREA] * par[P_LEVER]
    product = min(state[BODY_KG] * GRAVITY, par[P_PRODUCT_LOAD] * area) * gravity_arm(state, par)
    vacuum = (state[VESSEL_PA] - state[BODY_PA]) * area
    return cylinder + product - closing_force_n(state, par) - vacuum


def full_speed_n(par: Floats) -> float:
    """
    Surplus of force for the full speed, a share of what drives it home.

    That is the spring; with two coils, which have none, the cylinder at its stated pressure. A hanging flap
    is slowed by what it carries.
    """
    if par[P_FLAP_KIND] == DRIVEN:
        cylinder = CYLINDER_AT_PA_G * par[P_CYLINDER_AREA] * par[P_LEVER]
        return FULL_SPEED_AT * (par[P_SPRING] if par[P_FLAP_VALVE] == 0.0 else cylinder)
    return FULL_SPEED_AT * (par[P_COUNTERWEIGHT] + par[P_PRODUCT_LOAD] * par[P_FLAP_AREA])


def lowest_open(state: Floats, failures: Floats) -> float:
    """How far product on the seat or standing under it keeps the flap open."""
    return max(0.2 * failures[PRODUCT_ON_SEAT], state[HEAP_AT_FLAP])


def move_flap(state: Floats, par: Floats, failures: Floats, step_s: float) -> None:
    """Move the flap for one step where its forces point."""
    effort = min(max(flap_force_n(state, par) / full_speed_n(par), -1.0), 1.0)
    moved = effort * step_s / (par[P_TRAVEL_S] * (1.0 + 5.0 * failures[FLAP_SLOW]))
    before = state[FLAP_OPEN]
    if moved > 0.0:
        if failures[FLAP_STICKS_CLOSED] == 0.0:
            state[FLAP_OPEN] = min(before + moved, 1.0)
    elif failures[FLAP_STICKS_OPEN] == 0.0:
        state[FLAP_OPEN] = max(before + moved, min(before, lowest_open(state, failures)))
    if failures[STRING_ON_SEAT] > 0.0 and par[P_AIR_PA] - state[BODY_PA] > ROCKING_PA_V:
        state[FLAP_OPEN] = max(state[FLAP_OPEN], ROCKED_OPEN * failures[STRING_ON_SEAT])


def flap_gap_m2(state: Floats, par: Floats, failures: Floats) -> float:
    """Effective area Cd A open to air; a flap that rocks on a string leaks at the string only."""
    leaks = par[P_FLAP_CD] * (LEAKING_M2 * failures[FLAP_LEAKING] + STRING_M2 * failures[STRING_ON_SEAT])
    if state[FLAP_OPEN] <= ROCKED_OPEN * failures[STRING_ON_SEAT]:
        return leaks
    return leaks + par[P_FLAP_CD] * par[P_FLAP_AREA] * state[FLAP_OPEN]
