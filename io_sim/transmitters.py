"""
Transmitters: vacuum, supply pressure and filter pressure drop as 4-20 mA, with lag, noise and failures.

A pulse blows backwards through the cloth: the clean side and the pressure drop see it.
"""

import math

from controller.image import Inputs
from io_sim.chance import draw, draw_noise
from io_sim.constants import at
from io_sim.failures import OF_A_SIGNAL, SIGNALS, slot
from io_sim.filters import filter_pa_s_kg
from io_sim.formulas_air import STANDARD_PA
from io_sim.formulas_signal import SHORTED_UA, current_ua
from io_sim.state import (
    BODY_PA,
    CLEAN_PA,
    FILTER_DP_SEEN_PA,
    HEADER_PA,
    PULSE_AIR_KG_S,
    SUPPLY_SEEN_PA_G,
    VACUUM_SEEN_PA_V,
    VACUUM_UA,
    Floats,
    Ints,
)

VACUUM_IN = Inputs._fields.index("vacuum_ua")
SUPPLY_IN = Inputs._fields.index("supply_air_ua")
FILTER_DP_IN = Inputs._fields.index("filter_dp_ua")

P_AIR_PA = at("air_pa")
P_VACUUM_RANGE = at("transmitter_vacuum_range_pa_v")
P_VACUUM_SIDE = at("transmitter_vacuum_side")
P_VACUUM_ZERO = at("transmitter_vacuum_zero")
P_VACUUM_LAG = at("transmitter_vacuum_lag_s")
P_SUPPLY_RANGE = at("transmitter_supply_range_pa_g")
P_SUPPLY_LAG = at("transmitter_supply_lag_s")
P_DP_RANGE = at("transmitter_dp_range_pa")
P_DP_LAG = at("transmitter_dp_lag_s")
P_NOISE_UA = at("transmitter_noise_ua")

FIRST_SIGNAL = slot(f"{SIGNALS[0].name}_broken_wire")
VACUUM, SUPPLY_PRESSURE, FILTER_DP = range(len(SIGNALS))
VACUUM_LINE_CAKED = slot("vacuum_line_caked")
FILTER_DP_LINE_CAKED = slot("filter_dp_line_caked")

CAKED_S = 30.0  # lag of an impulse line at the worst; 10-30 s, estimate
DRIFT_UA = 3_200.0  # 20 % of span at the worst
NOISY_UA = 800.0  # standard deviation of 5 % of span at the worst
EVEN_SPREAD = 1.7320508075688772  # half width of an even spread / its standard deviation


def fades(par: Floats, failures: Floats, step_s: float) -> tuple[float, float, float]:
    """What is left of a deviation after one step, in the vacuum, supply and filter dp transmitter."""
    vacuum_lag = par[P_VACUUM_LAG] + CAKED_S * failures[VACUUM_LINE_CAKED]
    dp_lag = par[P_DP_LAG] + CAKED_S * failures[FILTER_DP_LINE_CAKED]
    supply_fade = math.exp(-step_s / par[P_SUPPLY_LAG])
    return math.exp(-step_s / vacuum_lag), supply_fade, math.exp(-step_s / dp_lag)


def follow(
    state: Floats, par: Floats, failures: Floats, vacuum_fade: float, supply_fade: float, dp_fade: float
) -> None:
    """Let the transmitters follow their pressures for one step; a fade is exp(-step / lag)."""
    clean_pa = state[CLEAN_PA]
    if state[PULSE_AIR_KG_S] > 0.0:
        clean_pa += state[PULSE_AIR_KG_S] * filter_pa_s_kg(state, par, failures)
    vacuum = par[P_AIR_PA] - (clean_pa if par[P_VACUUM_SIDE] > 0.5 else state[BODY_PA])
    state[VACUUM_SEEN_PA_V] = vacuum + (state[VACUUM_SEEN_PA_V] - vacuum) * vacuum_fade
    supply = state[HEADER_PA] - par[P_AIR_PA]
    state[SUPPLY_SEEN_PA_G] = supply + (state[SUPPLY_SEEN_PA_G] - supply) * supply_fade
    drop = state[BODY_PA] - clean_pa
    state[FILTER_DP_SEEN_PA] = drop + (state[FILTER_DP_SEEN_PA] - drop) * dp_fade


def send(
    state: Floats,
    failures: Floats,
    inputs: Ints,
    place: int,
    number: int,
    value: float,
    span: float,
    noise_ua: float,
) -> None:
    """
    Write a current into the image: measured, then what is wrong with the signal.

    Args:
        state: Flat `State`.
        failures: Amounts of the failure modes.
        inputs: Flat image.
        place: Of the signal in the image.
        number: Of the signal in `SIGNALS`.
        value: What the transmitter measures, in the unit of `span`.
        span: Value at 20 mA.
        noise_ua: Deviation of the healthy current in this reading.
    """
    first = FIRST_SIGNAL + OF_A_SIGNAL * number
    wrong_ua = DRIFT_UA * (failures[first + 3] - failures[first + 4])
    if failures[first + 5] > 0.0:
        wrong_ua += NOISY_UA * EVEN_SPREAD * failures[first + 5] * draw_noise(state)
    if failures[first + 2] == 0.0:
        state[VACUUM_UA + number] = float(current_ua(value, span, noise_ua + wrong_ua))
    current = int(state[VACUUM_UA + number])
    if failures[first + 1] > 0.0:
        current = SHORTED_UA
    if failures[first] > 0.0:
        current = 0
    inputs[place] = current


def read_signals(state: Floats, par: Floats, failures: Floats, inputs: Ints) -> None:
    """Write every 4-20 mA signal into its place of the image."""
    spread = par[P_NOISE_UA] * EVEN_SPREAD
    vacuum = state[VACUUM_SEEN_PA_V]
    if par[P_VACUUM_ZERO] > 0.5:
        vacuum += STANDARD_PA - par[P_AIR_PA]
    noise = spread * draw(state)
    send(state, failures, inputs, VACUUM_IN, VACUUM, vacuum, par[P_VACUUM_RANGE], noise)
    supply = state[SUPPLY_SEEN_PA_G]
    noise = spread * draw(state)
    send(state, failures, inputs, SUPPLY_IN, SUPPLY_PRESSURE, supply, par[P_SUPPLY_RANGE], noise)
    drop = state[FILTER_DP_SEEN_PA]
    noise = spread * draw_noise(state)
    send(state, failures, inputs, FILTER_DP_IN, FILTER_DP, drop, par[P_DP_RANGE], noise)
