"""
The process image: every point once, with its unit, its meaning and its safe value.

A contact is True while current flows. The names say what current means, so that a broken wire reads
as the cautious side: `stop_healthy` off is "stopped", `level_free` off is "full".
Analog inputs are the raw current of a 4-20 mA loop in whole microamperes; the facts of
`controller.sequence.transmitters` judge and scale them. The defaults of `Outputs` are the safe values:
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
    plant_enable: bool = True  # from the process below: product is wanted
    remote_selected: bool = False  # selector local/remote, closed = remote
    # field, wired
    level_free: bool = True  # high-level probe below, closed while free and powered (fail-high)
    level_low_covered: bool = False  # low-level probe below, closed while covered
    receiver_free: bool = True  # receiver-full probe, closed while free and powered (fail-high)
    flap_closed_fb: bool = True  # closed position switch, NO, closed contact = in place
    flap_open_fb: bool = False  # open position switch, NO, closed contact = in place
    vacuum_ua: int = 4_000  # body vacuum, dirty or clean side of the filter [uA]
    vacuum_switch: bool = False  # vacuum switch, closed = vacuum over its setting
    supply_air_ua: int = 13_600  # supply air pressure, gauge [uA]
    supply_air_ok: bool = True  # supply air switch, closed = over its setting
    filter_dp_ua: int = 4_000  # differential pressure of the filter [uA]
    source_running_fb: bool = False  # contactor of the motor, closed = running
    overload_healthy: bool = True  # motor overload relay, NC
    feed_present: bool = True  # product in the feed hopper, closed = present
    # quality of contacts whose failure is not the cautious side by itself; from remote I/O that reports it
    level_low_good: bool = True
    receiver_full_good: bool = True
    feed_present_good: bool = True
    # from the shell, true for one scan
    start_request: bool = False
    stop_request: bool = False
    halt_request: bool = False
    reset_request: bool = False
    acknowledge_request: bool = False
    clean_request: bool = False
    empty_request: bool = False
    manual_request: bool = False  # manual mode on
    automatic_request: bool = False  # manual mode off
    vessel_seen_request: bool = False  # somebody looked into the vessel below: there is room
    recipe_request: bool = False  # another product: what was learned of the old one is forgotten
    relearn_request: bool = False  # after work on the flap: its travel times are learned anew
    request_remote: bool = False  # the requests of this scan come from page or network, not from the machine
    # from the shell, standing
    remote_control: bool = False  # the remote place has control; counts where no selector is fitted
    jog: int = 0  # the output held in manual mode, one of JOG; renewed by the one who holds it
    image_age_ms: int = 0  # age of this snapshot [ms]; 0 in virtual time
    io_life: int = 0  # life counter of the remote I/O
    scans_late: int = 0  # scans in a row that began too late; 0 in virtual time


class Outputs(NamedTuple):
    """One consistent set of outputs, written once a scan. The defaults are the safe values."""

    source_cmd: bool = False  # ejector valve, or contactor of the motor
    bypass_close_cmd: bool = False  # bypass valve of a motor source, spring-open: energise to close
    flap_open_cmd: bool = False  # flap valve; with a spring off = closed
    flap_close_cmd: bool = False  # second coil of a flap valve that keeps its last place
    vent_close_cmd: bool = False  # vent valve, spring-open: energise to close
    pulse_1_cmd: bool = False  # reverse-pulse valves of the first group of elements
    pulse_2_cmd: bool = False  # of the second
    pulse_3_cmd: bool = False  # of the third
    fluidise_cmd: bool = False  # fluidising air of the discharge
    purge_cmd: bool = False  # line-purge (false-air) valve at the feed point
    feed_cmd: bool = False  # feed permissive
    run_lamp: bool = False  # steady: running; slow flash: armed and waiting
    fault_lamp: bool = False
    horn: bool = False  # sounds before the first movement of each run


FIELD_INPUTS = (
    "level_free", "level_low_covered", "receiver_free", "flap_closed_fb", "flap_open_fb", "vacuum_ua",
    "vacuum_switch", "supply_air_ua", "supply_air_ok", "filter_dp_ua", "source_running_fb",
    "overload_healthy", "feed_present",
)  # fmt: skip
"""The points that instruments drive; the rest come from people and from the shell."""

JOG = ("", "source_cmd", "bypass_close_cmd", "flap_open_cmd", "flap_close_cmd", "vent_close_cmd",
       "pulse_1_cmd", "pulse_2_cmd", "pulse_3_cmd", "fluidise_cmd", "purge_cmd", "feed_cmd")  # fmt: skip
"""What `Inputs.jog` counts: 0 is none; lamps and horn are not jogged."""
