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
    # compressed air
    network_pa: float = 0.0
    header_pa: float = 0.0
    tank_pa: float = 0.0  # all tanks of the group
    cylinder_pa: float = 0.0  # opening side of the flap cylinder
    # positions, 0 closed .. 1 open
    flap_open: float = 0.0
    source_open: float = 0.0
    vent_open: float = 1.0
    purge_open: float = 0.0
    pulse_s: float = 0.0  # how long the pulse valve has been open
    # instruments and chance
    vacuum_seen_pa_v: float = 0.0  # behind the lag of the transmitter
    supply_seen_pa_g: float = 0.0
    vacuum_ua: float = 4_000.0  # last current that was not frozen
    probe_covered: float = 0.0
    curtain_kg_s: float = 0.0  # product falling past the probe
    feed_deviation: float = 0.0
    seed: float = 1.0  # whole number 1..2147483646
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


# fmt: off
(
    BODY_PA, BODY_GAS_M3,
    LINE_KG, PLUG_KG, BODY_KG, ALOFT_KG, CAKE_KG_M2, VESSEL_KG,
    NETWORK_PA, HEADER_PA, TANK_PA, CYLINDER_PA,
    FLAP_OPEN, SOURCE_OPEN, VENT_OPEN, PURGE_OPEN, PULSE_S,
    VACUUM_SEEN_PA_V, SUPPLY_SEEN_PA_G, VACUUM_UA, PROBE_COVERED, CURTAIN_KG_S, FEED_DEVIATION, SEED,
    LINE_AIR_KG_S, SOURCE_AIR_KG_S, OPENING_AIR_KG_S, PULSE_AIR_KG_S,
    FEED_KG_S, ARRIVING_KG_S, FALLING_KG_S, CLEAN_PA, INLET_M_S,
    PICKED_UP_KG, ARRIVED_KG, DELIVERED_KG, CONSUMED_KG,
    LINE_AIR_KG, SOURCE_AIR_KG, OPENING_AIR_KG, PULSE_AIR_KG,
    MOTIVE_AIR_KG, CYLINDER_AIR_KG, NETWORK_AIR_KG,
) = range(len(State._fields))
# fmt: on
