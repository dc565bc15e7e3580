"""What must tell a failure of vessel, probes, switches and signals, by the step in which it begins."""
# ruff: noqa: E501 - tables, a line of expectations a row

from controller.campaign.detection.expectations import Mode, at_once, blind, shows, too_late
from controller.campaign.detection.machine_modes import (
    CLOSES,
    FILLS,
    HANGS,
    HELD,
    LOST,
    OPENS,
    PROBE,
    PROVES,
    RESTS,
    STANDS_SHUT,
    STARTS,
)

LOW = ("level_low_fitted", "yes")
FULL = ("vessel_not_consuming",)
SOON = {"level_never_clears_ms": 60_000}
# fmt: off
UP_TO_FULL = "900s"  # a vessel that nobody empties, from any level: capacity over rate, and some
FLAP_TELLS = "where LEVEL_NOT_SEEN is off nothing else sees the level: the flap tells it when the vessel stands up to it"
QUICK = "flutters faster than its delay, both ways"
FROM_NOW = "rest warning hold purge draw convey clear vent"  # steps in which the vacuum signal is used

UP_TO_HELD = f"{UP_TO_FULL} + level_never_clears_ms"
HELD_FULL = "LEVEL_HIGH was expected; it acts on a normal day too, so it tells nothing"

VESSEL = (
    Mode("vessel_not_consuming", "overfill", "batches come on top of each other", (
        at_once("LEVEL_NEVER_CLEARS", UP_TO_HELD, changed=HELD_FULL),), shortened=SOON),
    Mode("vessel_not_vented", "dust", "the flap breathes dust", (
        shows("FLAP_NOT_CLOSED", "convey > drain", HANGS, only=HELD),
        shows("FILL_TOO_FAST|RECEIVER_OVERFULL", "convey > convey > convey > convey", FILLS, only=PROBE),
        shows("VACUUM_TOO_HIGH|LINE_BLOCKED", "convey > convey > convey > convey", FILLS, begins="rest warning purge fault", changed="three batches were expected; the first one is a short one here"),
        shows("VACUUM_TOO_HIGH|LINE_BLOCKED", "convey > convey > convey", FILLS))),
    Mode("vessel_pressurised", "dust", "steam or dust blows up through the flap", (
        shows("FLAP_NOT_OPEN", "convey > open", OPENS, only=HELD),
        shows("RECEIVER_OVERFULL", "convey > drain", "3 drain_ms + 20s", only=PROBE),
        blind("the pressure presses the flap shut and the vent is open: nothing to read at rest; in the drain no row looks"))),
    Mode("vessel_rat_hole", "", "reads full: nothing is drawn", (
        at_once("LEVEL_DISAGREES|LEVEL_NEVER_CLEARS", UP_TO_FULL, only=LOW),
        at_once("LEVEL_NEVER_CLEARS", UP_TO_FULL)), beside=FULL, shortened=SOON),
    Mode("vessel_tipped_into", "overfill", "other product comes in besides the batches", (
        at_once("LEVEL_NEVER_CLEARS", UP_TO_HELD, begins="hold", changed=HELD_FULL),
        blind("the probe sees it, so no batch comes on top; that a vessel is full is no alarm", changed=HELD_FULL)), amount=0.1, shortened=SOON),
    Mode("heap_under_flap", "overfill", "the heap reaches the flap before the probe", (
        at_once("FLAP_NOT_CLOSED|RECEIVER_OVERFULL|LEVEL_NEVER_CLEARS", UP_TO_HELD, changed=HELD_FULL),), beside=FULL, shortened=SOON),
)

STANDS = "NO_VACUUM was expected; the vacuum of the trip still stands in the reading, so the reset is refused first"

LINES_AND_SWITCHES = (
    Mode("vacuum_line_caked", "open flap", "the reading crawls: vacuum that is there is not read yet", (
        shows("VACUUM_NOT_RELEASED", "vent", "release_limit_ms + 2s", begins="filling vent"),
        at_once("RESET_REFUSED", "25s", begins="fault", changed=STANDS),
        shows("NO_VACUUM|VACUUM_NOT_RELEASED", "purge draw", "proving_ms + fill_ms + clear_ms + release_limit_ms + 3s"))),
    Mode("filter_dp_line_caked", "", "a mean of the batches is read", (
        blind("a mean of the batches lies between its limits", begins="convey clear vent"),
        shows("FILTER_DP_LOW", "convey", "dp_mask_ms + dp_ms + 2s", changed="nothing was expected; the reading crawls up from nothing, which looks like an element missing"))),
    Mode("flap_closed_switch_loose", "", "flickers towards the cautious side", (blind("debounce and delay hold it, as they must"),)),
    Mode("flap_closed_switch_shifted", "open flap", "says closed before the flap is", (blind("closing seems quicker by a third of the stroke; the switch is on its place all the same"),)),
)

DEAF = (shows("FILL_TIME_OVER", "convey > convey > convey", "3 fill_ms + clear_ms + 5s", changed="some seconds sooner were expected; each of the fills lasts its whole time"),)
PROBES = (
    Mode("level_probe_stuck_free", "overfill", "nothing stops the batches", (
        at_once("LEVEL_NOT_SEEN", UP_TO_FULL, only=("not_seen_batches", ">0")),
        too_late("FLAP_NOT_CLOSED|RECEIVER_OVERFULL|FLAP_NOT_OPEN", "seal", UP_TO_FULL, FLAP_TELLS)), beside=FULL),
    Mode("level_probe_stuck_covered", "", "nothing is drawn", (
        at_once("LEVEL_DISAGREES|LEVEL_NEVER_CLEARS", UP_TO_FULL, only=LOW),
        shows("LEVEL_NEVER_CLEARS", "seal drain settle hold", "level_never_clears_ms + 60s")), shortened=SOON),
    Mode("level_probe_chattering", "", "flutter counts as full", (at_once("LEVEL_CHATTERS", "60s"),)),
    Mode("level_probe_delayed", "", "five seconds are within the freeboard", (blind("the freeboard holds what comes meanwhile"),)),
    Mode("low_level_probe_stuck_covered", "", "the refill waits", (
        blind("nothing contradicts it: refill on low then waits, and LEVEL_NEVER_CLEARS tells it half an hour into a hold"),)),
    Mode("low_level_probe_stuck_free", "", "the refill begins early", (at_once("LEVEL_DISAGREES", UP_TO_FULL),), beside=FULL),
    Mode("low_level_probe_chattering", "", "the refill begins late", (blind(QUICK),)),
    Mode("low_level_probe_delayed", "", "the refill begins late", (blind("the refill begins five seconds later"),)),
    Mode("receiver_full_probe_stuck_free", "overfill", "the time alone ends the batch", DEAF),
    Mode("receiver_full_probe_stuck_covered", "", "the batch ends at once", (
        at_once("RECEIVER_OVERFULL", "3 drain_ms + 20s", begins="drain cleaning"),
        shows("RECEIVER_OVERFULL", "drain", "3 drain_ms + 20s"))),
    Mode("receiver_full_probe_chattering", "overfill", "the time alone ends the batch", DEAF),
    Mode("receiver_full_probe_delayed", "overfill", "five seconds of feed more", (blind("batches get heavier by five seconds of feed; the records show it"),)),
)

SHUT = "rests fault drawing vent open"  # the flap stands closed
AJAR = "FLAP_DISAGREES|FLAP_LOST_CLOSED"
SWITCHES = (
    Mode("flap_closed_switch_stuck_on", "open flap", "the source would draw through an open flap that reads closed", (
        at_once("FLAP_DISAGREES|FLAP_NOT_OPEN", "flap_travel_ms + flap_both_ms + 1s", begins="reopen", only=("flap_kind", "driven")),
        shows("FLAP_NOT_OPEN", "convey > open", OPENS, only=HELD),
        shows("FLAP_DISAGREES|FLAP_NOT_OPEN", "open", "2 flap_travel_ms + 2s", begins="seal", changed="both switches were expected at once; the flap leaves its open switch within the delay"),
        shows("FLAP_DISAGREES|FLAP_NOT_OPEN", "open drain cleaning", "2 flap_travel_ms + 2s"))),
    Mode("flap_closed_switch_stuck_off", "", "not proven closed: nothing is drawn", (
        at_once("FLAP_LOST_CLOSED|FLAP_NOT_CLOSED", "flap_lost_ms + contact_debounce_ms + flap_pull_in_ms + 1s", begins="drawing"),
        shows("FLAP_NOT_CLOSED", "drain cleaning purge draw", HANGS, only=HELD),
        at_once("FLAP_MOVED|FLAP_NOT_CLOSED", LOST, begins="rests"),
        shows("FLAP_MOVED|FLAP_NOT_CLOSED", "rest", "flap_travel_ms + 2s", begins="fault"),
        shows("FLAP_NOT_CLOSED|FLAP_DISAGREES", "seal", CLOSES))),
    Mode("flap_closed_switch_chattering", "", "not proven closed: nothing is drawn", (
        shows("FLAP_LOST_CLOSED|FLAP_NOT_CLOSED", "purge draw convey clear", "flap_pull_in_ms + 2s", only=HELD),
        at_once("FLAP_MOVED|FLAP_NOT_CLOSED", "flap_travel_ms + 2s", begins="rests"),
        shows("FLAP_LOST_CLOSED|FLAP_NOT_CLOSED|FLAP_MOVED|FLAP_DISAGREES", "rest seal purge draw convey clear", CLOSES)), amount=0.3),
    Mode("flap_closed_switch_delayed", "open flap", "says closed for five seconds after it is open", (
        shows("FLAP_NOT_OPEN|FLAP_NOT_CLOSED", "convey > open", HANGS, begins="rest warning fault", only=HELD, changed="the first opening was expected to tell it; with an unknown batch it passes after its time"),
        shows("FLAP_NOT_OPEN|FLAP_NOT_CLOSED", "open drain", HANGS, only=HELD),
        shows("FLAP_DISAGREES|FLAP_NOT_OPEN", "open", CLOSES, begins="hold", changed=STANDS_SHUT),
        shows("FLAP_DISAGREES|FLAP_NOT_OPEN|FLAP_NOT_CLOSED", "open seal", CLOSES))),
    Mode("flap_open_switch_stuck_on", "dust", "pulses would come with the flap shut", (
        at_once(AJAR, "flap_both_ms + contact_debounce_ms + 1s", begins="rests fault drawing vent"),
        shows(f"{AJAR}|FLAP_NOT_CLOSED", "seal", CLOSES))),
    Mode("flap_open_switch_stuck_off", "", "not proven open: nothing is emptied", (
        at_once("FLAP_LOST_OPEN", LOST, begins="drain cleaning"), shows("FLAP_NOT_OPEN", "open", OPENS))),
    Mode("flap_open_switch_chattering", "", "both ways, within delays", (
        at_once("FLAP_LOST_OPEN", "2s", begins="drain cleaning"),
        at_once(AJAR, "2s", begins="rests fault drawing vent"),
        at_once(f"{AJAR}|FLAP_NOT_OPEN|FLAP_NOT_CLOSED|FLAP_LOST_OPEN", CLOSES)), amount=0.3),
    Mode("flap_open_switch_delayed", "dust", "pulses could come when the flap is shut again", (
        shows("FLAP_NOT_OPEN", "open", OPENS, begins="hold", changed=STANDS_SHUT),
        shows("FLAP_NOT_OPEN", "open", OPENS, begins="reopen", changed="seal was expected to tell it; re-opening ends by its time, before the switch is on"),
        shows("FLAP_NOT_OPEN|FLAP_NOT_CLOSED|FLAP_DISAGREES", "open seal", OPENS))),
)

CONTACTS = (
    Mode("vacuum_switch_stuck_on", "", "flap-open is withheld", (shows("VACUUM_NOT_RELEASED", "vent", "release_limit_ms + 2s"),)),
    Mode("vacuum_switch_stuck_off", "open flap", "reads released under vacuum", (shows("NO_VACUUM", "purge draw convey", PROVES),)),
    Mode("vacuum_switch_chattering", "", "within delays", (blind(QUICK),)),
    Mode("vacuum_switch_delayed", "open flap", "reads released five seconds late, and vacuum five seconds late", (shows("NO_VACUUM", "purge draw", PROVES),)),
    Mode("supply_switch_stuck_on", "moves", "air that is lost and returns moves what waits for it", (blind("until the air is lost; then the vacuum goes"),)),
    Mode("supply_switch_stuck_off", "", "no air is read", (
        at_once("START_REFUSED|SUPPLY_AIR_LOW", "15s", begins="rest warning fault"), at_once("SUPPLY_AIR_LOW", "supply_low_ms + 1s"))),
    Mode("supply_switch_chattering", "", "within delays", (blind(QUICK),)),
    Mode("supply_switch_delayed", "moves", "a loss of air is read five seconds late", (blind("five seconds late is nothing while the air is there"),)),
    Mode("run_contact_stuck_on", "", "a motor that stands reads running: the flap waits", (
        at_once("SOURCE_RUNS_UNCOMMANDED", "run_down_ms + 3s", begins="rest warning fault"),
        shows("SOURCE_RUNS_UNCOMMANDED", "rest", "run_down_ms + 3s")), stopped=True),
    Mode("run_contact_stuck_off", "open flap", "a motor that runs reads stopped", (
        shows("SOURCE_NOT_RUNNING", "seal", STARTS, begins="rest warning fault", changed=RESTS),
        at_once("SOURCE_NOT_RUNNING", "run_feedback_on_ms + 1s"))),
    Mode("run_contact_chattering", "", "within delays, or not running", (
        shows("START_REFUSED|SOURCE_NOT_RUNNING", "seal", STARTS, begins="rest warning fault", changed="a refused start was not expected; it asks for a motor that is proven off"),
        at_once("SOURCE_NOT_RUNNING", "run_feedback_lost_ms + 2s")), amount=0.1),
    Mode("run_contact_delayed", "open flap", "a motor that runs reads stopped for five seconds", (
        shows("SOURCE_NOT_RUNNING", "seal", STARTS, begins="rest warning fault", changed=RESTS),
        blind("it is told at the next start of the motor, which runs on between batches"))),
    Mode("overload_contact_stuck_on", "", "the relay itself stops the motor", (
        shows("SOURCE_NOT_RUNNING", "seal", STARTS, begins="rest warning fault", changed=RESTS),
        at_once("SOURCE_NOT_RUNNING", "run_feedback_on_ms + 1s")), beside=("motor_overload",)),
    Mode("overload_contact_stuck_off", "", "the motor is stopped", (at_once("SOURCE_OVERLOAD", "1s"),)),
    Mode("overload_contact_chattering", "", "the motor is stopped", (at_once("SOURCE_OVERLOAD", "1s"),)),
    Mode("overload_contact_delayed", "", "the relay itself stops the motor", (
        at_once("SOURCE_OVERLOAD|SOURCE_NOT_RUNNING", "7s"),), beside=("motor_overload",)),
    Mode("feed_switch_stuck_on", "", "nothing is drawn", (blind("until the hopper is empty; then NO_MATERIAL"),)),
    Mode("feed_switch_stuck_off", "", "nothing is drawn", (blind("a hold for want of product: a reason, no alarm"),)),
    Mode("feed_switch_chattering", "", "within delays", (blind(QUICK),)),
    Mode("feed_switch_delayed", "", "five seconds of air", (blind("five seconds late is nothing while there is product"),)),
)

OFFSET = "VACUUM_IN_IDLE|START_REFUSED|RESET_REFUSED|VACUUM_NOT_RELEASED"
SIGNALS = (
    Mode("vacuum_broken_wire", "open flap", "reads released under vacuum", (shows("SIGNAL_BAD", FROM_NOW, "signal_failed_ms + 1s"),)),
    Mode("vacuum_shorted", "", "flap-open is withheld", (shows("SIGNAL_BAD", FROM_NOW, "signal_failed_ms + 1s"),)),
    Mode("vacuum_frozen", "open flap", "reads released under vacuum, if it froze so", (
        shows("SIGNAL_BAD|VACUUM_NOT_RELEASED", "vent", "release_limit_ms + 2s", begins="convey clear vent"),
        at_once("RESET_REFUSED", "25s", begins="fault", changed=STANDS),
        shows("NO_VACUUM|SIGNAL_BAD|FLAP_NOT_CLOSED", "purge draw", PROVES))),
    Mode("vacuum_drifting", "", "reads too much: flap-open is withheld", (
        at_once(OFFSET, "idle_vacuum_ms + 3s", begins="rests"),
        shows(OFFSET, "vent rest", "release_limit_ms + 20s", begins="fault"),
        shows("VACUUM_NOT_RELEASED", "vent", "release_limit_ms + 5s", changed="a second sooner was expected; a purge takes longer with it")), amount=0.1),
    Mode("vacuum_drifting_down", "open flap", "reads released while some vacuum stands", (
        at_once("VACUUM_IN_IDLE|START_REFUSED", "idle_vacuum_ms + 3s", begins="rests"),
        shows("VACUUM_IN_IDLE", "rest", "idle_vacuum_ms + 25s", changed="some seconds sooner were expected; the stop comes in another moment of the batch")), amount=0.07, stopped=True),
    Mode("vacuum_noisy", "", "reads too much in turn: flap-open is withheld", (
        at_once(OFFSET, "idle_vacuum_ms + 6s", begins="rests"),
        shows(OFFSET, "vent rest", "release_limit_ms + 20s"))),
    Mode("supply_pressure_broken_wire", "", "reads no air", (shows("SIGNAL_BAD", "rest warning running", "signal_failed_ms + 1s", changed="from the interlock table at once in FAULT was generated; the signal is not looked at there"),)),
    Mode("supply_pressure_shorted", "moves", "reads air that may not be there", (shows("SIGNAL_BAD", "rest warning running", "signal_failed_ms + 1s", changed="from the interlock table at once in FAULT was generated; the signal is not looked at there"),)),
    Mode("supply_pressure_frozen", "moves", "reads air that may not be there", (blind("it stands where the pressure usually is, and nothing compares it"),)),
    Mode("supply_pressure_drifting", "moves", "reads two bar that are not there", (blind("it reads good air; the limits come two bar too low"),)),
    Mode("supply_pressure_drifting_down", "", "reads too little air", (
        at_once("START_REFUSED|SUPPLY_AIR_LOW", "15s", begins="rest warning", only=HELD),
        shows("START_REFUSED|SUPPLY_AIR_LOW", "rest suction", "20s", only=HELD),
        shows("SUPPLY_WEAK", "draw convey clear", "supply_low_ms + 2s", begins="drawing", changed="begun in purge nothing was expected; the draw that follows tells it"),
        blind("4.9 bar reads good where 6.9 are; only a fall while it draws reads as a sag"))),
    Mode("supply_pressure_noisy", "", "within delays", (blind("no value stays under a limit for its delay"),)),
    Mode("filter_dp_broken_wire", "", "reads low: an element missing", (shows("SIGNAL_BAD", "convey", "signal_failed_ms + dp_mask_ms + 1s"),)),
    Mode("filter_dp_shorted", "dust", "reads high: hides a torn element", (shows("SIGNAL_BAD", "convey", "signal_failed_ms + dp_mask_ms + 1s"),)),
    Mode("filter_dp_frozen", "dust", "hides a torn element", (
        shows("SIGNAL_BAD|FILTER_DP_LOW", "convey > convey > convey", "dp_mask_ms + dp_ms + 3s", changed="SIGNAL_BAD alone was expected; frozen at nothing it reads an element missing"),)),
    Mode("filter_dp_drifting", "dust", "hides a torn element", (shows("FILTER_DP_HIGH", "convey > convey > convey", FILLS),)),
    Mode("filter_dp_drifting_down", "", "reads an element missing", (shows("FILTER_DP_LOW", "convey", "dp_mask_ms + dp_ms + 2s"),)),
    Mode("filter_dp_noisy", "", "within delays", (blind("no value stays over a limit for its delay"),)),
)

INSTRUMENTS = (*VESSEL, *LINES_AND_SWITCHES, *PROBES, *SWITCHES, *CONTACTS, *SIGNALS)
