"""
State of the plant: one flat array of floats, its fields named here, and where each stands.

The kernel reads `state[BODY_PA]`; a person reads `State(*state).body_pa`. Pressures are absolute.
"""

from typing import NamedTuple

Floats = list[float]  # interpreted; a numpy float64 array when compiled
Ints = list[int]  # interpreted; a numpy int64 array when compiled


class State(NamedTuple):
    """Everything the plant remembers, and what it last computed, in the order of the flat array."""

    # gas in the body, dirty side of the filter
    body_pa: float = 0.0
    body_gas_m3: float = 0.0  # gas volume at the last step: the body less its solids
    # solids
    line_kg: float = 0.0  # moving or lying in the line, without the plug
    plug_kg: float = 0.0  # fallen back to the foot of the riser
    body_kg: float = 0.0
    aloft_kg: float = 0.0  # dust cloud in the body after a pulse
    cake_kg_m2: float = 0.0  # on the cloth
    vessel_kg: float = 0.0
    blinded_kg_m2: float = 0.0  # part of the cake that no pulse takes off
    # vessel below
    vessel_pa: float = 0.0  # under the flap
    heap_at_flap: float = 0.0  # product keeps the flap so far open
    # compressed air
    network_pa: float = 0.0
    header_pa: float = 0.0
    tank_pa: float = 0.0  # pulse tanks of the first group of elements
    tank_2_pa: float = 0.0
    tank_3_pa: float = 0.0
    cylinder_pa: float = 0.0  # opening side of the flap cylinder
    cylinder_closing_pa: float = 0.0  # closing side; at atmosphere where a spring closes
    # positions, 0 closed .. 1 open
    flap_open: float = 0.0
    source_open: float = 0.0  # valve of the ejector; of a motor its speed as a share
    bypass_open: float = 0.0
    vent_open: float = 1.0
    purge_open: float = 0.0
    flap_valve_open: float = 0.0  # where the flap valve stands: 1 opens
    pulse_s: float = 0.0  # how long the pulse valve of the first group has been open
    pulse_2_s: float = 0.0
    pulse_3_s: float = 0.0
    # motor, 0 or 1
    contactor_closed: float = 0.0
    overload_tripped: float = 0.0
    # what builds up in a failure
    ejector_ice: float = 0.0  # share of the worst
    liner_on_lance: float = 0.0  # 1: sucked onto the pick-up
    # instruments and chance
    vacuum_seen_pa_v: float = 0.0  # behind the lag of the transmitter
    supply_seen_pa_g: float = 0.0
    filter_dp_seen_pa: float = 0.0
    vacuum_ua: float = 4_000.0  # last current that was not frozen
    supply_ua: float = 4_000.0
    filter_dp_ua: float = 4_000.0
    probe_covered: float = 0.0
    low_probe_covered: float = 0.0
    curtain_kg_s: float = 0.0  # product falling past the probe
    # contacts: over 0 is closed, under it open; the size is the time left before it follows [s]
    level_probe_s: float = 1.0
    low_level_probe_s: float = -1.0
    receiver_full_probe_s: float = 1.0
    flap_closed_switch_s: float = 1.0
    flap_open_switch_s: float = -1.0
    vacuum_switch_s: float = -1.0
    supply_switch_s: float = 1.0
    run_contact_s: float = -1.0
    overload_contact_s: float = 1.0
    feed_switch_s: float = 1.0
    feed_deviation: float = 0.0
    seed: float = 1.0  # whole number 1..2147483646
    noise_seed: float = 1.0  # of instruments that fail or splash, so that they leave the other alone
    clock_s: float = 0.0  # since power-up
    # flows of the last step
    line_air_kg_s: float = 0.0  # into the body; negative: blown back
    source_air_kg_s: float = 0.0  # out of the body
    opening_air_kg_s: float = 0.0  # into the body through flap, vent, leaks, stopped source
    pulse_air_kg_s: float = 0.0
    feed_kg_s: float = 0.0  # picked up
    arriving_kg_s: float = 0.0
    falling_kg_s: float = 0.0  # out of the body into the vessel
    clean_pa: float = 0.0  # clean side of the filter
    inlet_m_s: float = 0.0  # air velocity at the pick-up
    # totals since power-up
    picked_up_kg: float = 0.0
    arrived_kg: float = 0.0
    delivered_kg: float = 0.0
    consumed_kg: float = 0.0
    line_air_kg: float = 0.0
    source_air_kg: float = 0.0
    opening_air_kg: float = 0.0
    pulse_air_kg: float = 0.0
    motive_air_kg: float = 0.0
    cylinder_air_kg: float = 0.0
    network_air_kg: float = 0.0  # out of the network into the header
    neighbour_air_kg: float = 0.0  # out of the header to other machines
    tipped_in_kg: float = 0.0  # into the vessel from elsewhere
    exhausted_kg: float = 0.0  # dust and product through a hole in the filter


# fmt: off
(
    BODY_PA, BODY_GAS_M3,
    LINE_KG, PLUG_KG, BODY_KG, ALOFT_KG, CAKE_KG_M2, VESSEL_KG, BLINDED_KG_M2, VESSEL_PA, HEAP_AT_FLAP,
    NETWORK_PA, HEADER_PA, TANK_PA, TANK_2_PA, TANK_3_PA, CYLINDER_PA, CYLINDER_CLOSING_PA,
    FLAP_OPEN, SOURCE_OPEN, BYPASS_OPEN, VENT_OPEN, PURGE_OPEN, FLAP_VALVE_OPEN,
    PULSE_S, PULSE_2_S, PULSE_3_S,
    CONTACTOR_CLOSED, OVERLOAD_TRIPPED, EJECTOR_ICE, LINER_ON_LANCE,
    VACUUM_SEEN_PA_V, SUPPLY_SEEN_PA_G, FILTER_DP_SEEN_PA, VACUUM_UA, SUPPLY_UA, FILTER_DP_UA,
    PROBE_COVERED, LOW_PROBE_COVERED, CURTAIN_KG_S,
    LEVEL_PROBE_S, LOW_LEVEL_PROBE_S, RECEIVER_FULL_PROBE_S, FLAP_CLOSED_SWITCH_S, FLAP_OPEN_SWITCH_S,
    VACUUM_SWITCH_S, SUPPLY_SWITCH_S, RUN_CONTACT_S, OVERLOAD_CONTACT_S, FEED_SWITCH_S,
    FEED_DEVIATION, SEED, NOISE_SEED, CLOCK_S,
    LINE_AIR_KG_S, SOURCE_AIR_KG_S, OPENING_AIR_KG_S, PULSE_AIR_KG_S,
    FEED_KG_S, ARRIVING_KG_S, FALLING_KG_S, CLEAN_PA, INLET_M_S,
    PICKED_UP_KG, ARRIVED_KG, DELIVERED_KG, CONSUMED_KG,
    LINE_AIR_KG, SOURCE_AIR_KG, OPENING_AIR_KG, PULSE_AIR_KG,
    MOTIVE_AIR_KG, CYLINDER_AIR_KG, NETWORK_AIR_KG, NEIGHBOUR_AIR_KG, TIPPED_IN_KG, EXHAUSTED_KG,
) = range(len(State._fields))
# fmt: on
