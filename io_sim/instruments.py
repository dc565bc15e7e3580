"""Instruments: position switches, level probe and transmitters, with their lags, noise and failures."""

import math

from controller.image import Inputs
from io_sim.chance import draw
from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_powder import heap_height_m
from io_sim.formulas_signal import MEASURING_HIGH_UA, MEASURING_LOW_UA
from io_sim.state import (
    BODY_PA,
    CURTAIN_KG_S,
    FLAP_OPEN,
    HEADER_PA,
    PROBE_COVERED,
    SUPPLY_SEEN_PA_G,
    VACUUM_SEEN_PA_V,
    VACUUM_UA,
    VESSEL_KG,
    Floats,
    Ints,
)

LEVEL_FREE = Inputs._fields.index("level_free")
FLAP_CLOSED_FB = Inputs._fields.index("flap_closed_fb")
FLAP_OPEN_FB = Inputs._fields.index("flap_open_fb")
VACUUM_IN = Inputs._fields.index("vacuum_ua")
SUPPLY_IN = Inputs._fields.index("supply_air_ua")

P_AIR_PA = at("air_pa")
P_VACUUM_RANGE = at("transmitter_vacuum_range_pa_v")
P_VACUUM_LAG = at("transmitter_vacuum_lag_s")
P_SUPPLY_RANGE = at("transmitter_supply_range_pa_g")
P_SUPPLY_LAG = at("transmitter_supply_lag_s")
P_NOISE_UA = at("transmitter_noise_ua")
P_VESSEL_BORE = at("vessel_bore_m")
P_PROBE_HEIGHT = at("vessel_probe_height_m")
P_PROBE_RADIUS = at("vessel_probe_radius_m")
P_CURTAIN = at("vessel_curtain_kg_s")
P_BULK_DENSITY = at("material_bulk_density_kg_m3")
P_REPOSE = at("material_repose_rad")

FLAP_CLOSED_SWITCH_LOST = slot("flap_closed_switch_stuck_off")
FLAP_OPEN_SWITCH_LOST = slot("flap_open_switch_stuck_off")
LEVEL_PROBE_STUCK_COVERED = slot("level_probe_stuck_covered")
LEVEL_PROBE_STUCK_FREE = slot("level_probe_stuck_free")
VACUUM_BROKEN_WIRE = slot("vacuum_broken_wire")
VACUUM_FROZEN = slot("vacuum_frozen")

PROBE_HYSTERESIS_M = 0.01
CLOSED_SWITCH_AT = 0.05  # of the stroke
OPEN_SWITCH_AT = 0.95


def follow(state: Floats, par: Floats, vacuum_fade: float, supply_fade: float) -> None:
    """Let the transmitters follow their pressures for one step; a fade is exp(-step / lag)."""
    vacuum = par[P_AIR_PA] - state[BODY_PA]
    state[VACUUM_SEEN_PA_V] = vacuum + (state[VACUUM_SEEN_PA_V] - vacuum) * vacuum_fade
    supply = state[HEADER_PA] - par[P_AIR_PA]
    state[SUPPLY_SEEN_PA_G] = supply + (state[SUPPLY_SEEN_PA_G] - supply) * supply_fade


def fades(par: Floats, step_s: float) -> tuple[float, float]:
    """What is left of a deviation after one step, in the vacuum and in the supply transmitter."""
    return math.exp(-step_s / par[P_VACUUM_LAG]), math.exp(-step_s / par[P_SUPPLY_LAG])


def current_ua(value: float, span: float, noise_ua: float) -> int:
    """Current of a healthy transmitter with its noise, whole uA, saturated after NE 43."""
    current = min(max(4_000.0 + 16_000.0 * value / span + noise_ua, MEASURING_LOW_UA), MEASURING_HIGH_UA)
    return int(current + 0.5)


def probe(state: Floats, par: Floats) -> None:
    """Work out whether the high-level probe is covered: by the heap, or by the product falling past it."""
    volume = state[VESSEL_KG] / par[P_BULK_DENSITY]
    height = heap_height_m(volume, par[P_VESSEL_BORE], par[P_PROBE_RADIUS], par[P_REPOSE])
    limit = par[P_PROBE_HEIGHT] - PROBE_HYSTERESIS_M * state[PROBE_COVERED]
    covered = height >= limit or state[CURTAIN_KG_S] >= par[P_CURTAIN]
    state[PROBE_COVERED] = 1.0 if covered else 0.0


def read(state: Floats, par: Floats, failures: Floats, inputs: Ints) -> None:
    """Write the readings into their places of the input image; all other places stay as they are."""
    probe(state, par)
    free = state[PROBE_COVERED] < 0.5 and failures[LEVEL_PROBE_STUCK_COVERED] == 0.0
    inputs[LEVEL_FREE] = 1 if free or failures[LEVEL_PROBE_STUCK_FREE] > 0.0 else 0
    closed = state[FLAP_OPEN] <= CLOSED_SWITCH_AT and failures[FLAP_CLOSED_SWITCH_LOST] == 0.0
    inputs[FLAP_CLOSED_FB] = 1 if closed else 0
    opened = state[FLAP_OPEN] >= OPEN_SWITCH_AT and failures[FLAP_OPEN_SWITCH_LOST] == 0.0
    inputs[FLAP_OPEN_FB] = 1 if opened else 0
    noise = par[P_NOISE_UA] * 1.7320508075688772  # an even spread of that width has the stated deviation
    vacuum_ua = current_ua(state[VACUUM_SEEN_PA_V], par[P_VACUUM_RANGE], noise * draw(state))
    if failures[VACUUM_FROZEN] == 0.0:
        state[VACUUM_UA] = float(vacuum_ua)
    inputs[VACUUM_IN] = 0 if failures[VACUUM_BROKEN_WIRE] > 0.0 else int(state[VACUUM_UA])
    inputs[SUPPLY_IN] = current_ua(state[SUPPLY_SEEN_PA_G], par[P_SUPPLY_RANGE], noise * draw(state))
