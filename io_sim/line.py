"""
Conveying line: one run with one riser, its air flow and the product in it.

The solids terms use the product held in the line, so a line that floods slows down and plugs by itself.
In a stopped riser the column falls to the foot and forms a plug with a break-away resistance.
"""

import math

from controller.image import Outputs
from io_sim.chance import draw
from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_air import ROUNDING_PA
from io_sim.formulas_line import (
    GRAVITY,
    carried_share,
    plug_break_away_pa,
    smooth_step,
    solids_loss_kg_m3,
)
from io_sim.lag import lagged
from io_sim.state import (
    ARRIVED_KG,
    ARRIVING_KG_S,
    BODY_KG,
    BODY_PA,
    CLOCK_S,
    FEED_DEVIATION,
    FEED_KG_S,
    INLET_M_S,
    LINE_AIR_KG_S,
    LINE_KG,
    LINER_ON_LANCE,
    PICKED_UP_KG,
    PLUG_KG,
    PURGE_OPEN,
    Floats,
    Ints,
)

PURGE_CMD = Outputs._fields.index("purge_cmd")
FEED_CMD = Outputs._fields.index("feed_cmd")

P_AIR_PA = at("air_pa")
P_AIR_KG_M3 = at("air_kg_m3")
P_GAS = at("gas_j_kg")
P_BORE = at("line_bore_m")
P_LENGTH = at("line_length_m")
P_LIFT = at("line_lift_m")
P_BENDS = at("line_bends")
P_BEND_ACCELERATION = at("line_bend_acceleration")
P_LINE_AREA = at("line_area_m2")
P_LINE_LOSS = at("line_loss")
P_RISER_SHARE = at("riser_share")
P_INLET_LOSS = at("line_inlet_loss")
P_PURGE_FITTED = at("purge_fitted")
P_PURGE_LOSS = at("purge_loss")
P_HOSE_OFF_LOSS = at("line_hose_off_loss")
P_SOLIDS_FRICTION = at("line_solids_friction")
P_LOADING_MAX = at("line_loading_max")
P_PLUG_WALL = at("line_plug_wall")
P_FALL_BACK = at("line_fall_back_m_s")
P_VENT_VALVE_S = at("vent_valve_s")
P_FEED_LIMIT = at("feed_limit_kg_s")
P_VARIATION = at("feed_variation")
P_VARIATION_S = at("feed_variation_s")
P_BULK_DENSITY = at("material_bulk_density_kg_m3")
P_VELOCITY_RATIO = at("material_velocity_ratio")
P_PICK_UP = at("material_pick_up_m_s")
P_BODY_LIMIT = at("body_limit_kg")

FEED_EMPTY = slot("feed_empty")
INLET_HOSE_OFF = slot("inlet_hose_off")
LINE_BLOCKED = slot("line_blocked")
LANCE_LIFTED = slot("lance_lifted")
LINE_FLOODS = slot("line_floods")
PURGE_VALVE_STUCK_OPEN = slot("purge_valve_stuck_open")
PURGE_VALVE_STUCK_SHUT = slot("purge_valve_stuck_shut")
SACK_LINER_IN_LANCE = slot("sack_liner_in_lance")
SLUGGING_LINE = slot("slugging_line")

SLUG_HZ, SLUG_PA, SLUG_FROM_KG_M3 = 0.4, 15_000.0, 5.0  # 0.2-1 Hz; full from this hold-up on; estimates
SLUG_LIFT_KG_S = 0.002  # of air that lifts a slug whole; an estimate
LINER_ON_PA_V, LINER_OFF_PA_V = 2_000.0, 500.0  # a liner is sucked on, and falls off; estimates


def move_purge(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """Let the line-purge valve follow its command."""
    target = outputs[PURGE_CMD] * (1.0 - failures[PURGE_VALVE_STUCK_SHUT])
    target = max(target, failures[PURGE_VALVE_STUCK_OPEN]) * par[P_PURGE_FITTED]
    state[PURGE_OPEN] = lagged(state[PURGE_OPEN], target, par[P_VENT_VALVE_S], step_s)


def move_pick_up(state: Floats, par: Floats, failures: Floats) -> None:
    """Let a sack liner be sucked on or fall off."""
    vacuum_pa = par[P_AIR_PA] - state[BODY_PA]
    if failures[SACK_LINER_IN_LANCE] == 0.0 or vacuum_pa < LINER_OFF_PA_V:
        state[LINER_ON_LANCE] = 0.0
    elif vacuum_pa > LINER_ON_PA_V:
        state[LINER_ON_LANCE] = 1.0


def pick_up_openings(state: Floats, par: Floats, failures: Floats) -> tuple[float, float]:
    """Openings of the pick-up and of the purge valve, each as 1/sqrt(K) on the line bore."""
    free = 1.0 - state[LINER_ON_LANCE] * failures[SACK_LINER_IN_LANCE]
    pick_up = free * (1.0 - failures[LINE_BLOCKED]) / math.sqrt(par[P_INLET_LOSS] + 1e-9)
    return pick_up, state[PURGE_OPEN] / math.sqrt(par[P_PURGE_LOSS])


def line_terms(state: Floats, par: Floats, failures: Floats) -> tuple[float, float, float, float]:
    """
    What the line opposes to the air in this step.

    Returns:
        Loss factor of the air / 2 [-]; solids loss per u^2 [kg/m3]; weight of the riser column [Pa];
        break-away pressure of the plug [Pa].
        A slug weighs on the line as a column that comes and goes.
    """
    if failures[INLET_HOSE_OFF] >= 0.5:
        return 0.5 * par[P_HOSE_OFF_LOSS], 0.0, 0.0, 0.0
    pick_up, purge = pick_up_openings(state, par, failures)
    opening = max(pick_up + purge, 1e-6)
    air = 0.5 * (par[P_LINE_LOSS] + 1.0 / (opening * opening))
    area = par[P_LINE_AREA]
    held = state[LINE_KG] / (par[P_LENGTH] * area)
    bends_share = par[P_BENDS] * par[P_BEND_ACCELERATION]
    ratio = par[P_VELOCITY_RATIO]
    solids = solids_loss_kg_m3(held, ratio, par[P_SOLIDS_FRICTION], par[P_LENGTH], par[P_BORE], bends_share)
    break_away = 0.0
    if state[PLUG_KG] > 0.0:
        break_away = plug_break_away_pa(state[PLUG_KG], par[P_BORE], par[P_BULK_DENSITY], par[P_PLUG_WALL])
    column = hanging_kg(state, par) * GRAVITY / area
    if failures[SLUGGING_LINE] > 0.0:
        swing = 0.5 - 0.5 * math.cos(2.0 * math.pi * SLUG_HZ * state[CLOCK_S])
        lifted = min(max(state[LINE_AIR_KG_S], 0.0) / SLUG_LIFT_KG_S, 1.0)  # at rest nothing swings
        column += failures[SLUGGING_LINE] * SLUG_PA * swing * lifted * min(held / SLUG_FROM_KG_M3, 1.0)
    return air, solids, column, break_away


def hanging_kg(state: Floats, par: Floats) -> float:
    """Product in the riser that has not fallen back."""
    return max(par[P_RISER_SHARE] * (state[LINE_KG] + state[PLUG_KG]) - state[PLUG_KG], 0.0)


def line_kg_s(
    body_pa: float, par: Floats, air_loss: float, solids_loss: float, column_pa: float, break_away_pa: float
) -> tuple[float, float]:
    """
    Air through the line into the body [kg/s], negative when blown back, and its slope over body pressure.

    u = sqrt(drive / (rho_m air_loss + solids_loss)), straightened below 20 Pa, density at mean pressure. The
    slope leaves out the change of density: it only guides the root search.
    """
    drive = par[P_AIR_PA] - body_pa - column_pa
    if drive > break_away_pa:
        drive -= break_away_pa
    elif drive < -break_away_pa:
        drive += break_away_pa
    else:
        return 0.0, 0.0
    density = 0.5 * (par[P_AIR_PA] + body_pa) / par[P_GAS]
    size = abs(drive)
    loss = density * air_loss + solids_loss
    per_root = density * par[P_LINE_AREA] / math.sqrt(loss * (size + ROUNDING_PA))
    return per_root * drive, -per_root * (0.5 * size + ROUNDING_PA) / (size + ROUNDING_PA)


def feed_on_offer_kg_s(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> float:
    """What the feed point offers in this step, with its slow random variation."""
    if par[P_VARIATION] > 0.0:
        fade = step_s / par[P_VARIATION_S]
        kick = par[P_VARIATION] * math.sqrt(6.0 * fade) * draw(state)
        state[FEED_DEVIATION] += kick - fade * state[FEED_DEVIATION]
    limit = par[P_FEED_LIMIT] * outputs[FEED_CMD] * (1.0 - failures[FEED_EMPTY])
    limit *= (1.0 - failures[LANCE_LIFTED]) * (1.0 + 2.0 * failures[LINE_FLOODS])
    return limit * max(1.0 + state[FEED_DEVIATION], 0.0)


def move_product(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """Pick up, carry, deliver into the body, let fall back and start again, for one step."""
    offer = feed_on_offer_kg_s(state, par, failures, outputs, step_s)
    air = state[LINE_AIR_KG_S]
    area = par[P_LINE_AREA]
    inlet_m_s = air / (par[P_AIR_KG_M3] * area)
    mean_m_s = air * par[P_GAS] / (0.5 * (par[P_AIR_PA] + state[BODY_PA]) * area)
    state[INLET_M_S] = inlet_m_s
    if failures[INLET_HOSE_OFF] >= 0.5:
        inlet_m_s = mean_m_s = 0.0
    carried = par[P_PICK_UP]
    loading = par[P_LOADING_MAX] * (1.0 + 9.0 * failures[LINE_FLOODS])
    capacity = loading * air * step_s if inlet_m_s > 0.0 else 0.0
    restart = min(capacity, state[PLUG_KG])
    picked = 0.0
    if offer > 0.0 and capacity > restart:
        pick_up, purge = pick_up_openings(state, par, failures)
        own = pick_up / (pick_up + purge + 1e-9)  # share of the air that comes through the pick-up
        picked = min(offer * step_s, (capacity - restart) * own) * carried_share(inlet_m_s * own, carried)
    crowded = 1.0 - smooth_step(state[BODY_KG], 1.15 * par[P_BODY_LIMIT], 1.30 * par[P_BODY_LIMIT])
    carrying = smooth_step(inlet_m_s, 0.3 * carried, 0.7 * carried) * crowded
    arrived = state[LINE_KG] * min(par[P_VELOCITY_RATIO] * mean_m_s * carrying * step_s / par[P_LENGTH], 1.0)
    fallen = 0.0
    if par[P_LIFT] > 0.0 and mean_m_s < 0.4 * carried:
        falling = 1.0 - smooth_step(mean_m_s, 0.2 * carried, 0.4 * carried)
        fall = par[P_FALL_BACK] * falling * step_s / par[P_LIFT]
        fallen = min(hanging_kg(state, par) * min(fall, 1.0), state[LINE_KG] - arrived)
    state[PLUG_KG] += fallen - restart
    state[LINE_KG] += picked + restart - arrived - fallen
    state[FEED_KG_S] = picked / step_s
    state[ARRIVING_KG_S] = arrived / step_s
    state[PICKED_UP_KG] += picked
    state[ARRIVED_KG] += arrived
