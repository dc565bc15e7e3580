"""Supply air: a network behind a line with resistance, and the header that ejector, tanks and flap use."""

import math

from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_air import NOZZLE_RATIO, iso_6358_kg_s
from io_sim.state import (
    CLOCK_S,
    HEADER_PA,
    MOTIVE_AIR_KG,
    NEIGHBOUR_AIR_KG,
    NETWORK_AIR_KG,
    NETWORK_PA,
    SOURCE_OPEN,
    Floats,
)

P_AIR_PA = at("air_pa")
P_GAS = at("gas_j_kg")
P_TEMPERATURE = at("site_temperature_k")
P_NETWORK = at("supply_network_pa_g")
P_NETWORK_C = at("supply_network_m3_s_pa")
P_NETWORK_RATIO = at("supply_network_critical_ratio")
P_RAMP = at("supply_network_ramp_pa_s")
P_HEADER_M3 = at("supply_header_volume_m3")
P_MOTIVE = at("source_motive_m3_s_pa")

SUPPLY_FALLS = slot("supply_falls")
SUPPLY_FALLS_SLOWLY = slot("supply_falls_slowly")
SUPPLY_DUMPED = slot("supply_dumped")
SUPPLY_HALF_SHUT = slot("supply_half_shut")
NEIGHBOUR_DRAWS = slot("neighbour_draws")
COMPRESSOR_BAND = slot("compressor_band")

SLOWLY = 0.02  # of the ramp
DUMP = 20.0  # times the ramp, and the widest way out: safe exhaust valves are large
DUMP_WIDER = 5.0  # than the line
BAND_PA, BAND_S, BAND_FALLS = 150e3, 120.0, 0.8  # depth, period and falling share of the compressor's band
DIP_PA, DIP_S, DIP_EVERY_S = 150e3, 0.5, 20.0  # taken by a neighbour; the line makes half good


def move_network(state: Floats, par: Floats, failures: Floats, step_s: float) -> None:
    """Let the network follow its pressure, never faster than its ramp."""
    lost = max(failures[SUPPLY_FALLS], failures[SUPPLY_FALLS_SLOWLY])
    most = par[P_RAMP] * step_s
    if failures[SUPPLY_FALLS] < failures[SUPPLY_FALLS_SLOWLY]:
        most *= SLOWLY
    target = par[P_AIR_PA] + par[P_NETWORK] * (1.0 - lost)
    if failures[COMPRESSOR_BAND] > 0.0:
        phase = state[CLOCK_S] / BAND_S - math.floor(state[CLOCK_S] / BAND_S)
        depth = min(phase / BAND_FALLS, (1.0 - phase) / (1.0 - BAND_FALLS))
        target = max(target - BAND_PA * failures[COMPRESSOR_BAND] * depth, par[P_AIR_PA])
    if failures[SUPPLY_DUMPED] >= 0.5:
        target = par[P_AIR_PA]
        most = par[P_RAMP] * step_s * DUMP
    if state[NETWORK_PA] != target:
        state[NETWORK_PA] += min(max(target - state[NETWORK_PA], -most), most)


def neighbour_kg(state: Floats, par: Floats, failures: Floats, step_s: float) -> float:
    """Air that another machine takes out of the header in this step."""
    if failures[NEIGHBOUR_DRAWS] == 0.0:
        return 0.0
    since = state[CLOCK_S] - math.floor(state[CLOCK_S] / DIP_EVERY_S) * DIP_EVERY_S
    if since >= DIP_S:
        return 0.0
    return DIP_PA * failures[NEIGHBOUR_DRAWS] * par[P_HEADER_M3] / par[P_GAS] * step_s / DIP_S


def move_supply(state: Floats, par: Floats, failures: Floats, step_s: float) -> None:
    """Move network and header for one step, and feed the ejector; tanks and cylinder have had theirs."""
    move_network(state, par, failures, step_s)
    header_pa = state[HEADER_PA]
    network_pa = state[NETWORK_PA]
    per_kg = par[P_GAS] / par[P_HEADER_M3]
    conductance = par[P_NETWORK_C] * (1.0 - 0.75 * failures[SUPPLY_HALF_SHUT])
    if failures[SUPPLY_DUMPED] >= 0.5:
        conductance *= DUMP_WIDER
    if network_pa >= header_pa:
        flow = iso_6358_kg_s(conductance, par[P_NETWORK_RATIO], network_pa, header_pa, par[P_TEMPERATURE])
        passed = min(flow * step_s, (network_pa - header_pa) / per_kg)
    else:
        flow = -iso_6358_kg_s(conductance, par[P_NETWORK_RATIO], header_pa, network_pa, par[P_TEMPERATURE])
        passed = max(flow * step_s, (network_pa - header_pa) / per_kg)
    left = max((header_pa - par[P_AIR_PA]) / per_kg + passed, 0.0)
    motive = 0.0
    if state[SOURCE_OPEN] > 0.0:
        nozzle = par[P_MOTIVE] * state[SOURCE_OPEN]
        flow = iso_6358_kg_s(nozzle, NOZZLE_RATIO, header_pa, par[P_AIR_PA], par[P_TEMPERATURE])
        motive = min(flow * step_s, left)
    others = min(neighbour_kg(state, par, failures, step_s), left - motive)
    state[HEADER_PA] = header_pa + (passed - motive - others) * per_kg
    state[NETWORK_AIR_KG] += passed
    state[MOTIVE_AIR_KG] += motive
    state[NEIGHBOUR_AIR_KG] += others
