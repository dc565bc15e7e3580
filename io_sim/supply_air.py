"""Supply air: a network behind a line with resistance, and the header that ejector, tanks and flap use."""

from io_sim.constants import at
from io_sim.failures import slot
from io_sim.formulas_air import iso_6358_kg_s
from io_sim.state import HEADER_PA, MOTIVE_AIR_KG, NETWORK_AIR_KG, NETWORK_PA, SOURCE_OPEN, Floats

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
SUPPLY_HALF_SHUT = slot("supply_half_shut")

NOZZLE_RATIO = 0.528  # critical ratio of an ideal nozzle


def move_supply(state: Floats, par: Floats, failures: Floats, step_s: float) -> None:
    """Move network and header for one step, and feed the ejector; tanks and cylinder have had theirs."""
    target = par[P_AIR_PA] + par[P_NETWORK] * (1.0 - failures[SUPPLY_FALLS])
    if state[NETWORK_PA] != target:
        most = par[P_RAMP] * step_s
        state[NETWORK_PA] += min(max(target - state[NETWORK_PA], -most), most)
    header_pa = state[HEADER_PA]
    network_pa = state[NETWORK_PA]
    per_kg = par[P_GAS] / par[P_HEADER_M3]
    conductance = par[P_NETWORK_C] * (1.0 - 0.75 * failures[SUPPLY_HALF_SHUT])
    if network_pa >= header_pa:
        flow = iso_6358_kg_s(conductance, par[P_NETWORK_RATIO], network_pa, header_pa, par[P_TEMPERATURE])
        passed = min(flow * step_s, (network_pa - header_pa) / per_kg)
    else:
        flow = -iso_6358_kg_s(conductance, par[P_NETWORK_RATIO], header_pa, network_pa, par[P_TEMPERATURE])
        passed = max(flow * step_s, (network_pa - header_pa) / per_kg)
    motive = 0.0
    if state[SOURCE_OPEN] > 0.0:
        nozzle = par[P_MOTIVE] * state[SOURCE_OPEN]
        flow = iso_6358_kg_s(nozzle, NOZZLE_RATIO, header_pa, par[P_AIR_PA], par[P_TEMPERATURE])
        motive = min(flow * step_s, max((header_pa - par[P_AIR_PA]) / per_kg + passed, 0.0))
    state[HEADER_PA] = header_pa + (passed - motive) * per_kg
    state[NETWORK_AIR_KG] += passed
    state[MOTIVE_AIR_KG] += motive
