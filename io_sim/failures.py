"""
Failure modes: what can go wrong with each part, and where its amount stands in the flat array.

An amount of 0 is healthy and 1 is failed; between, the effect is in proportion unless the text says
otherwise. Parts and instruments apply the effect; nothing else in the simulator knows of failures.
"""

from typing import NamedTuple


class FailureMode(NamedTuple):
    """One row of the catalogue."""

    id: str
    part: str
    effect: str
    seen: str  # what a person at the machine would notice


M = FailureMode  # a row reads: M(id, part, effect, what a person sees)

# fmt: off
CATALOGUE = (
    M("flap_sticks_open", "flap", "does not move towards closed", "flap hangs open, product falls through"),
    M("flap_sticks_closed", "flap", "does not move towards open", "flap stays shut, nothing falls"),
    M("flap_slow", "flap", "travel time x 6 at 1", "flap creeps"),
    M("product_on_seat", "flap", "closes only to 20 % open at 1", "lump on the seat, air whistles"),
    M("flap_closed_switch_lost", "instruments", "closed switch stays off", "flap shut, switch lamp dark"),
    M("flap_open_switch_lost", "instruments", "open switch stays off", "flap open, switch lamp dark"),
    M("level_probe_stuck_covered", "instruments", "probe reads covered", "vessel low, probe says full"),
    M("level_probe_stuck_free", "instruments", "probe reads free", "vessel heaps up, probe says free"),
    M("vacuum_broken_wire", "instruments", "vacuum current is 0", "display dashes"),
    M("vacuum_frozen", "instruments", "vacuum current keeps its value", "display never moves"),
    M("supply_falls", "supply_air", "network falls at its ramp", "gauge drops, ejector dies away"),
    M("supply_half_shut", "supply_air", "line keeps a quarter at 1", "gauge fine at rest, drops on draw"),
    M("line_blocked", "line", "pick-up closed in proportion", "hose sucks tight, gauge rises to dead end"),
    M("feed_empty", "line", "feed falls in proportion", "hopper empty, line rattles and runs clear"),
    M("inlet_hose_off", "line", "inlet open to the room, from 0.5 on", "hose on the floor, loud"),
    M("vent_stuck_shut", "body", "vent does not open", "vacuum stays after the source stops"),
    M("vent_stuck_open", "body", "vent does not close", "whistling vent, less vacuum"),
    M("purge_valve_stuck_open", "line", "false air at the feed point", "less product, more air"),
    M("source_dead", "vacuum_source", "valve stays shut in proportion", "silence at the ejector"),
    M("source_valve_passing", "vacuum_source", "valve keeps 30 % open at 1", "hiss and some vacuum at rest"),
    M("pulse_valve_stuck_open", "pulse_tank", "valves stay open in proportion", "steady hiss, tanks empty"),
    M("filter_blinded", "filters", "drag x 8 at 1", "exhaust weak, line slow, vacuum low at the body"),
    M("vessel_not_consuming", "vessel_below", "demand falls in proportion", "vessel stays full"),
)

(
    FLAP_STICKS_OPEN, FLAP_STICKS_CLOSED, FLAP_SLOW, PRODUCT_ON_SEAT,
    FLAP_CLOSED_SWITCH_LOST, FLAP_OPEN_SWITCH_LOST, LEVEL_PROBE_STUCK_COVERED, LEVEL_PROBE_STUCK_FREE,
    VACUUM_BROKEN_WIRE, VACUUM_FROZEN, SUPPLY_FALLS, SUPPLY_HALF_SHUT, LINE_BLOCKED, FEED_EMPTY,
    INLET_HOSE_OFF, VENT_STUCK_SHUT, VENT_STUCK_OPEN, PURGE_VALVE_STUCK_OPEN, SOURCE_DEAD,
    SOURCE_VALVE_PASSING, PULSE_VALVE_STUCK_OPEN, FILTER_BLINDED, VESSEL_NOT_CONSUMING,
) = range(len(CATALOGUE))
# fmt: on

SLOTS = {mode.id: slot for slot, mode in enumerate(CATALOGUE)}


def slot(failure_id: str) -> int:
    """
    Where the amount of a failure mode stands in the flat array.

    Raises:
        ValueError: No such failure mode; the text lists those there are.
    """
    if failure_id not in SLOTS:
        text = f"no failure mode {failure_id!r}; there are: {', '.join(sorted(SLOTS))}"
        raise ValueError(text)
    return SLOTS[failure_id]
