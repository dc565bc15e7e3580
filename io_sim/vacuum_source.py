"""
Vacuum source: an ejector behind its valve, or a motor with its bypass, as a curve of straight pieces.

A motor ramps up and down. Its run feedback is the contactor picked up and the motor turning, which is neither
vacuum nor its absence: the motor coasts, and through the open bypass it draws room air. The bypass is taken
as wide: its own pressure drop is left out.
"""

from controller.image import Outputs
from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_air import ejector_dead_end_pa_v, ejector_strength
from io_sim.lag import lagged
from io_sim.state import (
    BYPASS_OPEN,
    CONTACTOR_CLOSED,
    EJECTOR_ICE,
    HEADER_PA,
    OVERLOAD_TRIPPED,
    SOURCE_OPEN,
    Floats,
    Ints,
)

SOURCE_CMD = Outputs._fields.index("source_cmd")
BYPASS_CLOSE_CMD = Outputs._fields.index("bypass_close_cmd")

P_AIR_PA = at("air_pa")
P_KIND = at("source_kind")
P_FREE_FLOW = at("source_free_flow_kg_s")
P_VACUUM_MAX = at("source_vacuum_max_pa_v")
P_MOTIVE = at("source_motive_m3_s_pa")
P_NOMINAL = at("source_supply_nominal_pa_g")
P_NONE = at("source_supply_none_pa")
P_VALVE_S = at("source_valve_s")
P_SPIN_UP_S = at("source_spin_up_s")
P_RUN_DOWN_S = at("source_run_down_s")
P_BYPASS = at("source_bypass")
P_RELIEF = at("source_relief_pa_v")
P_SHARE_1 = at("source_vacuum_share_1")
P_A_0 = at("source_a_0")
P_B_0 = at("source_b_0")

SOURCE_DEAD = slot("source_dead")
SOURCE_WEAK = slot("source_weak")
SOURCE_VALVE_PASSING = slot("source_valve_passing")
EJECTOR_ICED = slot("ejector_iced")
MOTOR_OVERLOAD = slot("motor_overload")
MOTOR_WRONG_ROTATION = slot("motor_wrong_rotation")
CONTACTOR_WELDED = slot("contactor_welded")
BYPASS_STUCK_SHUT = slot("bypass_stuck_shut")
BYPASS_STUCK_OPEN = slot("bypass_stuck_open")

EJECTOR, BLOWER = 0.0, 1.0  # and 2 a vane pump
TURNING_AT = 0.1  # of full speed: the motor counts as turning; estimate
ICING_S, THAWING_S = 1_200.0, 120.0  # time constants of ice while running and at rest; estimates


def move_source(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """Let valve or motor follow the command, and the bypass its own."""
    if par[P_KIND] == EJECTOR:
        target = outputs[SOURCE_CMD] * (1.0 - failures[SOURCE_DEAD])
        target = max(target, 0.3 * failures[SOURCE_VALVE_PASSING])
        state[SOURCE_OPEN] = lagged(state[SOURCE_OPEN], target, par[P_VALVE_S], step_s)
        move_ice(state, failures, step_s)
        return
    move_motor(state, par, failures, outputs, step_s)
    if par[P_BYPASS] > 0.0:
        target = (1.0 - outputs[BYPASS_CLOSE_CMD]) * (1.0 - failures[BYPASS_STUCK_SHUT])
        target = max(target, failures[BYPASS_STUCK_OPEN])
        state[BYPASS_OPEN] = lagged(state[BYPASS_OPEN], target, par[P_VALVE_S], step_s)


def move_ice(state: Floats, failures: Floats, step_s: float) -> None:
    """Let ice grow in the nozzles while wet air flows, and thaw at rest: batch work settles in between."""
    if state[SOURCE_OPEN] > 0.5 and failures[EJECTOR_ICED] > 0.0:
        state[EJECTOR_ICE] = lagged(state[EJECTOR_ICE], failures[EJECTOR_ICED], ICING_S, step_s)
    elif state[EJECTOR_ICE] > 0.0:
        state[EJECTOR_ICE] = lagged(state[EJECTOR_ICE], 0.0, THAWING_S, step_s)


def move_motor(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """Trip or reset the overload relay, switch the contactor, ramp the speed."""
    state[OVERLOAD_TRIPPED] = 1.0 if failures[MOTOR_OVERLOAD] >= 0.5 else 0.0
    called = outputs[SOURCE_CMD] > 0 and state[OVERLOAD_TRIPPED] == 0.0 and failures[SOURCE_DEAD] < 0.5
    welded = state[CONTACTOR_CLOSED] > 0.0 and failures[CONTACTOR_WELDED] >= 0.5
    state[CONTACTOR_CLOSED] = 1.0 if called or welded else 0.0
    if state[CONTACTOR_CLOSED] > 0.0:
        state[SOURCE_OPEN] = min(state[SOURCE_OPEN] + step_s / par[P_SPIN_UP_S], 1.0)
    else:
        state[SOURCE_OPEN] = max(state[SOURCE_OPEN] - step_s / par[P_RUN_DOWN_S], 0.0)


def source_runs(state: Floats) -> bool:
    """The run feedback of a motor: contactor picked up and motor turning; an ejector has none."""
    return state[CONTACTOR_CLOSED] > 0.0 and state[SOURCE_OPEN] >= TURNING_AT


def source_health(state: Floats, par: Floats, failures: Floats) -> float:
    """Share of flow and dead end that wear and ice, or wear and wrong rotation, leave."""
    health = 1.0 - 0.7 * failures[SOURCE_WEAK]
    if par[P_KIND] == EJECTOR:
        return health * (1.0 - 0.8 * state[EJECTOR_ICE])
    return health * (1.0 - 0.8 * failures[MOTOR_WRONG_ROTATION])


def source_strength(state: Floats, par: Floats, failures: Floats) -> tuple[float, float]:
    """
    Free flow [kg/s] and dead-end vacuum [Pa] that act on the body now.

    An ejector follows its supply pressure and the opening of its valve. A motor's flow goes with its speed;
    its dead end with the square of the speed in a blower (affinity laws of turbomachines, any textbook), and
    with the speed in a vane pump whose slip goes with the difference of pressure.
    """
    health = source_health(state, par, failures)
    if par[P_KIND] == EJECTOR:
        strength = 1.0
        if par[P_MOTIVE] > 0.0:
            strength = ejector_strength(state[HEADER_PA], par[P_NOMINAL] + par[P_AIR_PA], par[P_NONE])
        dead_end_pa = ejector_dead_end_pa_v(par[P_VACUUM_MAX], strength) * health
        return par[P_FREE_FLOW] * strength * state[SOURCE_OPEN] * health, dead_end_pa
    speed = state[SOURCE_OPEN]
    head = speed * speed if par[P_KIND] == BLOWER else speed
    drawn = speed * (1.0 - state[BYPASS_OPEN]) * health
    return par[P_FREE_FLOW] * drawn, max(par[P_VACUUM_MAX] * head * health, 1.0)


def source_kg_s(
    body_pa: float, par: Floats, free_kg_s: float, dead_end_pa: float, filter_pa_s_kg: float
) -> tuple[float, float, float]:
    """
    Air drawn through the filter: flow [kg/s], its slope over body pressure, vacuum on the clean side [Pa].

    Each straight piece of the curve and the filter's drag are solved together, without iteration; the piece
    that holds its own solution is the right one. `filter_pa_s_kg` is the filter drop per mass flow. A relief
    valve lets in what keeps the clean side at its setting.
    """
    vacuum_pa = par[P_AIR_PA] - body_pa
    if free_kg_s <= 0.0:
        return 0.0, 0.0, vacuum_pa
    share = vacuum_pa / dead_end_pa
    for i in range(8):
        slope = par[P_B_0 + i]
        below = 1.0 - free_kg_s * slope * filter_pa_s_kg / dead_end_pa
        flow = free_kg_s * (par[P_A_0 + i] + slope * share) / below
        clean_share = share + filter_pa_s_kg * flow / dead_end_pa
        if clean_share <= par[P_SHARE_1 + i]:
            if 0.0 < par[P_RELIEF] < clean_share * dead_end_pa:
                return relieved(vacuum_pa, par[P_RELIEF], filter_pa_s_kg)
            return flow, -free_kg_s * slope / (dead_end_pa * below), clean_share * dead_end_pa
    return 0.0, 0.0, vacuum_pa


def relieved(vacuum_pa: float, relief_pa_v: float, filter_pa_s_kg: float) -> tuple[float, float, float]:
    """Flow, slope and clean-side vacuum while the relief valve is open."""
    if vacuum_pa >= relief_pa_v:
        return 0.0, 0.0, vacuum_pa
    return (relief_pa_v - vacuum_pa) / filter_pa_s_kg, 1.0 / filter_pa_s_kg, relief_pa_v
