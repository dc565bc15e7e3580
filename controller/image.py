"""
The process image: every point once, with its unit, its meaning and its safe value.

A contact is True while current flows. The names say what current means, so that a broken wire reads
as the cautious side: `stop_healthy` off is "stopped", `level_free` off is "full".
Analog inputs are the raw current of a 4-20 mA loop in whole microamperes; the facts of
`controller.sequence.signals` judge and scale them. The defaults of `Outputs` are the safe values:
vent open by spring, flap closed by spring, everything else off.
"""

from typing import NamedTuple

# NAMUR NE 43 in microamperes: within measured the loop measures, at or beyond failed it says that it failed
FAILED_LOW_UA, MEASURED_LOW_UA = 3_600, 3_800
MEASURED_HIGH_UA, FAILED_HIGH_UA = 20_500, 21_000


class Inputs(NamedTuple):
    """One consistent snapshot of the inputs, taken once a scan."""

    # panel, wired
    start_pb: bool = False  # start push button, NO
    reset_pb: bool = False  # reset push button, NO
    acknowledge_pb: bool = False  # acknowledge push button, NO
    stop_healthy: bool = True  # stop push button, NC: off is pressed or wire broken
    safety_chain_healthy: bool = True  # status of the hardwired safety circuit, read only
    # field, wired
    level_free: bool = True  # high-level probe below, closed while free and powered (fail-high)
    flap_closed_fb: bool = True  # closed position switch, NO, closed contact = in place
    flap_open_fb: bool = False  # open position switch, NO, closed contact = in place
    vacuum_ua: int = 4_000  # body vacuum, dirty side [uA]
    supply_air_ua: int = 13_600  # supply air pressure, gauge [uA]
    # from the shell, true for one scan
    start_request: bool = False
    stop_request: bool = False
    halt_request: bool = False
    reset_request: bool = False
    acknowledge_request: bool = False
    clean_request: bool = False
    empty_request: bool = False
    image_age_ms: int = 0  # age of this snapshot [ms]; 0 in virtual time


class Outputs(NamedTuple):
    """One consistent set of outputs, written once a scan. The defaults are the safe values."""

    source_cmd: bool = False  # ejector valve
    flap_open_cmd: bool = False  # flap valve, single coil: off = closed by spring
    vent_close_cmd: bool = False  # vent valve, spring-open: energise to close
    pulse_cmd: bool = False  # reverse-pulse valves of group 1, all three elements
    purge_cmd: bool = False  # line-purge (false-air) valve at the feed point
    feed_cmd: bool = False  # feed permissive
    run_lamp: bool = False  # steady: running; slow flash: armed and waiting
    fault_lamp: bool = False
    horn: bool = False  # sounds before the first movement of each run


FIELD_INPUTS = ("level_free", "flap_closed_fb", "flap_open_fb", "vacuum_ua", "supply_air_ua")
"""The points that instruments drive; the rest come from people and from the shell."""
