"""
Switches: probes, position switches, pressure switches and contactor contacts, as contacts of the image.

Each contact follows its cause after its own delay and then shows what is wrong with it: late, chattering,
stuck.
"""

import math

from controller.image import Inputs
from io_sim.chance import draw_noise
from io_sim.constants import at
from io_sim.failures import CONTACTS, OF_A_CONTACT, slot
from io_sim.formulas_powder import heap_height_m
from io_sim.state import (
    ARRIVING_KG_S,
    BODY_KG,
    CLOCK_S,
    CURTAIN_KG_S,
    FLAP_OPEN,
    LEVEL_PROBE_S,
    LOW_PROBE_COVERED,
    OVERLOAD_TRIPPED,
    PROBE_COVERED,
    SOURCE_OPEN,
    SUPPLY_SEEN_PA_G,
    SUPPLY_SWITCH_S,
    VACUUM_SEEN_PA_V,
    VACUUM_SWITCH_S,
    VESSEL_KG,
    Floats,
    Ints,
)
from io_sim.vacuum_source import source_runs
from io_sim.vessel_below import heap_repose_rad

LEVEL_FREE = Inputs._fields.index("level_free")
LEVEL_LOW_COVERED = Inputs._fields.index("level_low_covered")
RECEIVER_FREE = Inputs._fields.index("receiver_free")
FLAP_CLOSED_FB = Inputs._fields.index("flap_closed_fb")
FLAP_OPEN_FB = Inputs._fields.index("flap_open_fb")
VACUUM_SWITCH = Inputs._fields.index("vacuum_switch")
SUPPLY_AIR_OK = Inputs._fields.index("supply_air_ok")
SOURCE_RUNNING_FB = Inputs._fields.index("source_running_fb")
OVERLOAD_HEALTHY = Inputs._fields.index("overload_healthy")
FEED_PRESENT = Inputs._fields.index("feed_present")

P_VESSEL_BORE = at("vessel_bore_m")
P_PROBE_HEIGHT = at("vessel_probe_height_m")
P_PROBE_RADIUS = at("vessel_probe_radius_m")
P_PROBE_DELAY = at("vessel_probe_delay_s")
P_LOW_PROBE_HEIGHT = at("vessel_low_probe_height_m")
P_LOW_PROBE_RADIUS = at("vessel_low_probe_radius_m")
P_CURTAIN = at("vessel_curtain_kg_s")
P_BULK_DENSITY = at("material_bulk_density_kg_m3")
P_BODY_LIMIT = at("body_limit_kg")
P_BODY_PROBE = at("body_probe_share")
P_SPLASH = at("body_probe_splash")
P_VACUUM_SETTING = at("switch_vacuum_pa_v")
P_VACUUM_BAND = at("switch_vacuum_band_pa")
P_SUPPLY_SETTING = at("switch_supply_pa_g")
P_SUPPLY_BAND = at("switch_supply_band_pa")
P_SWITCH_FILTER = at("switch_filter_s")

FIRST_CONTACT = slot(f"{CONTACTS[0].name}_stuck_{CONTACTS[0].on}")
(
    LEVEL_PROBE, LOW_LEVEL_PROBE, RECEIVER_FULL_PROBE, FLAP_CLOSED_SWITCH, FLAP_OPEN_SWITCH,
    VACUUM_CONTACT, SUPPLY_CONTACT, RUN_CONTACT, OVERLOAD_CONTACT, FEED_CONTACT,
) = range(len(CONTACTS))  # fmt: skip
FEED_EMPTY = slot("feed_empty")
VESSEL_RAT_HOLE = slot("vessel_rat_hole")
FLAP_CLOSED_SWITCH_LOOSE = slot("flap_closed_switch_loose")
FLAP_CLOSED_SWITCH_SHIFTED = slot("flap_closed_switch_shifted")

PROBE_HYSTERESIS_M = 0.01
CLOSED_SWITCH_AT = 0.05  # of the stroke
OPEN_SWITCH_AT = 0.95
SHIFTED_BY = 0.30  # of the stroke, at the worst
DELAYED_S = 5.0  # at the worst
CHATTER_S = 0.12  # right for one half, wrong for the other, at the worst
LOOSE_S = 0.08  # of this a loose switch is open for up to a half while the machine shakes
AT_ONCE_S = 1e-9


def report(
    state: Floats, failures: Floats, inputs: Ints, place: int, number: int, on: bool, delay_s: float, s: float
) -> None:
    """
    Show a contact in the image: its delay first, then what is wrong with it.

    Args:
        state: Flat `State`.
        failures: Amounts of the failure modes.
        inputs: Flat image.
        place: Of the contact in the image.
        number: Of the contact in `CONTACTS`.
        on: What its cause says.
        delay_s: Its own delay on both edges, when healthy.
        s: Time since the last reading.
    """
    first = FIRST_CONTACT + OF_A_CONTACT * number
    delay_s = max(delay_s + DELAYED_S * failures[first + 3], AT_ONCE_S)
    left = state[LEVEL_PROBE_S + number]
    shown = left > 0.0
    if shown == on:
        left = delay_s
    else:
        left = min(abs(left), delay_s) - s
        if left <= AT_ONCE_S:
            shown = on
            left = delay_s
    state[LEVEL_PROBE_S + number] = left if shown else -left
    if failures[first + 2] > 0.0:
        turns = state[CLOCK_S] * failures[first + 2] / CHATTER_S
        shown = shown == (turns - math.floor(turns) < 0.5)
    if failures[first] > 0.0:
        shown = True
    if failures[first + 1] > 0.0:
        shown = False
    inputs[place] = 1 if shown else 0


def move_probes(state: Floats, par: Floats, failures: Floats) -> None:
    """Work out whether the probes of the vessel are covered: by the heap, or by product falling past."""
    volume = state[VESSEL_KG] / par[P_BULK_DENSITY]
    repose = heap_repose_rad(par, failures)
    height = heap_height_m(volume, par[P_VESSEL_BORE], par[P_PROBE_RADIUS], repose)
    limit = par[P_PROBE_HEIGHT] - PROBE_HYSTERESIS_M * state[PROBE_COVERED]
    covered = height >= limit or state[CURTAIN_KG_S] >= par[P_CURTAIN]
    standing = state[PROBE_COVERED] > 0.5 and failures[VESSEL_RAT_HOLE] >= 0.5
    state[PROBE_COVERED] = 1.0 if covered or standing else 0.0
    height = heap_height_m(volume, par[P_VESSEL_BORE], par[P_LOW_PROBE_RADIUS], repose)
    limit = par[P_LOW_PROBE_HEIGHT] - PROBE_HYSTERESIS_M * state[LOW_PROBE_COVERED]
    state[LOW_PROBE_COVERED] = 1.0 if height >= limit else 0.0


def receiver_is_full(state: Floats, par: Floats) -> bool:
    """Whether product stands or splashes at the receiver-full probe."""
    share = state[BODY_KG] / par[P_BODY_LIMIT]
    splash = 0.0
    if state[ARRIVING_KG_S] > 0.0 and par[P_SPLASH] > 0.0:
        splash = par[P_SPLASH] * abs(draw_noise(state))
    return share + splash >= par[P_BODY_PROBE]


def flap_reads_closed(state: Floats, failures: Floats) -> bool:
    """Whether the closed switch is made, by a flap that may shake and a switch that may have moved."""
    loose = failures[FLAP_CLOSED_SWITCH_LOOSE]
    if loose > 0.0 and 0.05 < state[SOURCE_OPEN] < 0.95:
        turns = state[CLOCK_S] / LOOSE_S
        if turns - math.floor(turns) < 0.5 * loose:
            return False
    return state[FLAP_OPEN] <= CLOSED_SWITCH_AT + SHIFTED_BY * failures[FLAP_CLOSED_SWITCH_SHIFTED]


def read_contacts(state: Floats, par: Floats, failures: Floats, inputs: Ints, s: float) -> None:
    """Write every contact into its place of the image, `s` seconds after the last time."""
    move_probes(state, par, failures)
    slow = par[P_PROBE_DELAY]
    free = state[PROBE_COVERED] < 0.5
    report(state, failures, inputs, LEVEL_FREE, LEVEL_PROBE, free, slow, s)
    low_covered = state[LOW_PROBE_COVERED] > 0.5
    report(state, failures, inputs, LEVEL_LOW_COVERED, LOW_LEVEL_PROBE, low_covered, slow, s)
    room = not receiver_is_full(state, par)
    report(state, failures, inputs, RECEIVER_FREE, RECEIVER_FULL_PROBE, room, 0.0, s)
    closed = flap_reads_closed(state, failures)
    report(state, failures, inputs, FLAP_CLOSED_FB, FLAP_CLOSED_SWITCH, closed, 0.0, s)
    opened = state[FLAP_OPEN] >= OPEN_SWITCH_AT
    report(state, failures, inputs, FLAP_OPEN_FB, FLAP_OPEN_SWITCH, opened, 0.0, s)
    quick = par[P_SWITCH_FILTER]
    setting = par[P_VACUUM_SETTING] - (par[P_VACUUM_BAND] if state[VACUUM_SWITCH_S] > 0.0 else 0.0)
    vacuum = state[VACUUM_SEEN_PA_V] >= setting
    report(state, failures, inputs, VACUUM_SWITCH, VACUUM_CONTACT, vacuum, quick, s)
    setting = par[P_SUPPLY_SETTING] - (par[P_SUPPLY_BAND] if state[SUPPLY_SWITCH_S] > 0.0 else 0.0)
    supply = state[SUPPLY_SEEN_PA_G] >= setting
    report(state, failures, inputs, SUPPLY_AIR_OK, SUPPLY_CONTACT, supply, quick, s)
    report(state, failures, inputs, SOURCE_RUNNING_FB, RUN_CONTACT, source_runs(state), 0.0, s)
    cool = state[OVERLOAD_TRIPPED] < 0.5
    report(state, failures, inputs, OVERLOAD_HEALTHY, OVERLOAD_CONTACT, cool, 0.0, s)
    report(state, failures, inputs, FEED_PRESENT, FEED_CONTACT, failures[FEED_EMPTY] < 0.5, 0.0, s)
