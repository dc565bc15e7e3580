"""What must tell a failure of flap, line, body, source or supply air, by the step in which it begins."""
# ruff: noqa: E501 - tables, a line of expectations a row

from controller.campaign.detection.expectations import Mode, at_once, blind, shows

HELD = ("flap_kind", "vacuum_held")
MOTOR = ("source_kind", "motor")
PROBE = ("receiver_full_fitted", "yes")
# fmt: off
CLOSES = "2 flap_travel_ms + flap_reopen_ms + 3s"  # seal: one retry with re-open, then trip
OPENS = "2 flap_travel_ms + vent_min_ms + release_settle_ms + 3s"  # open: one retry from vent, then trip
HANGS = "drain_ms + 4 pulse_ms + 4 recovery_ms + settle_ms + 3s"  # without command: still open after emptying and a clean
PROVES = "proving_ms + no_vacuum_ms + 1s"
BLOCKS = "proving_ms + vacuum_high_ms + 5s"
FILLS = "fill_ms + clear_ms + 5s"
RUNS_EMPTY = "no_material_arm_ms + no_material_ms + 4s"
LOST = "flap_lost_ms + contact_debounce_ms + 1s"
NO_DP = "no pressure drop is measured; on the dirty side"

STANDS_SHUT = "one move fewer was expected; the hold is entered from seal, with the flap shut already"

RESTS = "two minutes sooner were expected; seal waits until the motor has rested"
STARTS = "motor_off_min_ms + run_feedback_on_ms + spin_up_ms + 2s"  # seal: when the motor has rested

FLAP = (
    Mode("flap_sticks_open", "open flap", "the source would draw through it, and the batch falls through", (
        shows("FLAP_NOT_CLOSED", "drain", HANGS, only=HELD),
        shows("FLAP_NOT_CLOSED", "open > seal", CLOSES, begins="hold", changed=STANDS_SHUT),
        shows("FLAP_NOT_CLOSED", "seal", CLOSES))),
    Mode("flap_sticks_closed", "overfill", "the batch stays, and the next one comes on top", (
        shows("FLAP_NOT_OPEN", "convey > open", OPENS, only=HELD),  # with nothing on board an opening that fails passes
        shows("FLAP_NOT_OPEN", "open", OPENS))),
    Mode("flap_slow", "", "the source waits for the switch, the drain for the other", (
        shows("FLAP_NOT_CLOSED", "drain > drain > drain", HANGS, only=HELD),
        blind("at the first start of a new station no travel has been learned", begins="rest warning", changed="three slow moves were expected to tell it here too"),
        shows("FLAP_SLOW", "open > seal > open > seal > open > seal", "4 flap_travel_ms + 2s", begins="hold", changed=STANDS_SHUT),
        shows("FLAP_SLOW", "seal > open > seal > open > seal", "4 flap_travel_ms + 2s", changed="some seconds sooner were expected; slow moves make the cycles longer")), amount=0.5),  # three slow moves
    Mode("product_on_seat", "open flap", "a flap that stands open by a fifth", (
        shows("FLAP_NOT_CLOSED", "drain", HANGS, only=HELD),
        shows("FLAP_NOT_CLOSED", "open > seal", CLOSES, begins="hold", changed=STANDS_SHUT),
        shows("FLAP_NOT_CLOSED", "seal", CLOSES))),
    Mode("flap_leaking", "open flap", "air and dust of the vessel come in through a hole", (
        blind("feedback is right and no threshold is near; the mean vacuum shows it"),), amount=0.2),
    Mode("string_on_seat", "open flap", "the flap stands ajar under vacuum", (
        shows("FLAP_LOST_CLOSED|FLAP_NOT_CLOSED", "purge draw convey clear", "proving_ms + flap_lost_ms + 2s"),)),
    Mode("flap_hoses_swapped", "moves", "opens when it should close", (
        at_once("FLAP_MOVED|FLAP_NOT_CLOSED|FLAP_DISAGREES", "flap_travel_ms + 1s", begins="rests"),
        at_once("FLAP_LOST_CLOSED", LOST, begins="drawing"),
        at_once("FLAP_LOST_OPEN", LOST, begins="drain cleaning"),
        at_once("FLAP_NOT_CLOSED", CLOSES, begins="seal reopen"),
        at_once("FLAP_NOT_OPEN|FLAP_DISAGREES|FLAP_LOST_OPEN", "release_limit_ms + 2 flap_travel_ms + 3s", begins="vent open", changed="FLAP_LOST_OPEN was not expected; a flap that was let open reads so until the coil moves it away"),
        shows("FLAP_MOVED|FLAP_NOT_CLOSED", "rest", "flap_travel_ms + 1s"))),
)

PLUGGED = (
    at_once("LINE_BLOCKED|VACUUM_TOO_HIGH", "clear_ms + vacuum_high_ms + 5s", begins="purge",
            changed="LINE_BLOCKED alone was expected; the purge valve gives air behind the plug, so draw tells it"),
    shows("VACUUM_TOO_HIGH|LINE_BLOCKED", "purge draw convey", BLOCKS))  # in clear the purge valve gives air behind the plug
NO_VACUUM = (
    shows("NO_VACUUM|FLAP_NOT_CLOSED|FLAP_LOST_CLOSED", "purge draw convey", PROVES, only=HELD),
    shows("NO_VACUUM", "purge draw convey", PROVES))
LINE = (
    Mode("line_blocked", "", "nothing is drawn", PLUGGED),
    Mode("feed_empty", "", "nothing is drawn", (shows("NO_MATERIAL", "convey", RUNS_EMPTY),)),
    Mode("inlet_hose_off", "", "room air is drawn, nothing leaves", NO_VACUUM),
    Mode("lance_lifted", "", "room air is drawn", (shows("NO_MATERIAL", "convey", RUNS_EMPTY),)),
    Mode("sack_liner_in_lance", "", "nothing is drawn", PLUGGED),
    Mode("slugging_line", "", "the hose kicks, the batch is the same", (
        blind("swings shorter than the delay must not act; the peak of the vacuum shows it"),)),
    Mode("line_floods", "overfill", "three times the feed into the same fill time", (
        blind("the ejector is too weak to pass the limit; the peak of the vacuum shows it", only=HELD),
        blind("too fast for what is usual, and that is not known before some batches of a new station", begins="rest warning", only=PROBE, changed="FILL_TOO_FAST was expected"),
        shows("FILL_TOO_FAST", "convey > convey > convey", FILLS, only=PROBE),
        shows("VACUUM_TOO_HIGH|LINE_BLOCKED", "convey > convey", FILLS))),
    Mode("purge_valve_stuck_shut", "", "the line takes longer to run empty", (
        blind("the pick-up lets air in too, so the line still runs empty"),)),
    Mode("purge_valve_stuck_open", "", "less product is drawn", (
        shows("NO_MATERIAL", "convey", RUNS_EMPTY, only=HELD),
        blind("the vacuum stays over its threshold: less product; the fill rate shows it"))),
)

TWO = "one batch fewer was expected; the body holds a second one over the first"

BODY = (
    Mode("vent_stuck_shut", "", "flap-open is withheld while vacuum stands", (
        blind("the open line lets the air in; only behind a plug is the vacuum not released"),)),
    Mode("vent_stuck_open", "", "less vacuum", (blind("a leak of a tenth of the line: under no limit"),)),
    Mode("vent_filter_clogged", "", "the release takes longer", (blind("the open line lets the air in"),)),
    Mode("body_leaking", "", "room air is drawn in", (
        blind("no threshold is near; draw time and mean vacuum show it"),), amount=0.04),
    Mode("body_bridging", "overfill", "the batch stays, and the next one comes on top", (
        shows("FLAP_NOT_CLOSED", "convey > drain", HANGS, begins="drain cleaning rests seal reopen purge draw fault", only=HELD),
        shows("FLAP_NOT_CLOSED", "drain", HANGS, only=HELD),
        shows("RECEIVER_OVERFULL", "convey > drain", "3 drain_ms + vent_min_ms + 15s", begins="drain cleaning rests seal reopen purge draw fault", only=PROBE),
        shows("RECEIVER_OVERFULL", "drain", "3 drain_ms + vent_min_ms + 15s", only=PROBE),
        shows("LINE_BLOCKED|VACUUM_TOO_HIGH", "convey > convey", FILLS, begins="vent open", changed=TWO),
        shows("LINE_BLOCKED|VACUUM_TOO_HIGH", "convey > convey > convey", FILLS, changed=TWO))),
    Mode("fluidising_dead", "", "product comes slower", (blind("the emptying time is fixed and long enough without it"),)),
)

SOURCE = (
    Mode("source_dead", "", "nothing is drawn", (
        shows("SOURCE_NOT_RUNNING", "seal", STARTS, begins="rest warning fault", only=MOTOR, changed=RESTS),
        at_once("SOURCE_NOT_RUNNING", "run_feedback_on_ms + run_feedback_lost_ms + 1s", only=MOTOR),
        *NO_VACUUM)),
    Mode("source_weak", "", "less is drawn", (
        shows("NO_VACUUM|NO_MATERIAL|FLAP_NOT_CLOSED|FLAP_LOST_CLOSED", "purge draw convey", RUNS_EMPTY, only=HELD),
        shows("NO_VACUUM|NO_MATERIAL", "purge draw convey", RUNS_EMPTY))),
    Mode("ejector_iced", "", "less is drawn", (blind("it thaws in every pause; the air-only vacuum sinks"),)),
    Mode("motor_overload", "", "the relay stops the motor", (at_once("SOURCE_OVERLOAD", "1s"),)),
    Mode("motor_wrong_rotation", "", "hardly draws", (shows("NO_VACUUM|NO_MATERIAL", "purge draw convey", RUNS_EMPTY),)),
    # it shows when the motor is told to stop, and only then; so stop is pressed
    Mode("contactor_welded", "moves", "the motor runs when it should not", (
        shows("SOURCE_RUNS_UNCOMMANDED", "seal > rest", "run_down_ms + 3s"),), stopped=True),
    Mode("bypass_stuck_shut", "open flap", "the source acts on the body while the flap opens", (
        shows("VACUUM_NOT_RELEASED", "convey > vent", "release_limit_ms + 2s", begins="rest warning fault"),
        at_once("VACUUM_IN_IDLE", "idle_vacuum_ms + 3s", begins="hold"),
        shows("VACUUM_NOT_RELEASED", "vent", "release_limit_ms + 2s"))),
    Mode("bypass_stuck_open", "", "nothing is drawn", (shows("NO_VACUUM", "purge draw convey", PROVES),)),
    Mode("source_valve_passing", "open flap", "draws a little through the open flap", (
        blind("with the vent open it stays under the release threshold; the release time shows it"),)),
)

SUPPLY = (
    Mode("supply_falls", "", "everything goes to the place that its spring gives it", (
        at_once("START_REFUSED|SUPPLY_AIR_LOW|SUPPLY_AIR_LOST", "25s", begins="rest warning"),
        at_once("SUPPLY_AIR_LOW|SUPPLY_AIR_LOST", "supply_low_ms + 8s"))),
    Mode("supply_falls_slowly", "", "as above, over minutes", (
        at_once("START_REFUSED|SUPPLY_AIR_LOW|SUPPLY_AIR_LOST", "260s"),)),
    Mode("supply_dumped", "", "as above, at once", (
        at_once("START_REFUSED|SUPPLY_AIR_LOW", "13s", begins="rest warning"),
        at_once("SUPPLY_AIR_LOW", "supply_low_ms + 2s", begins="hold"),
        at_once("SUPPLY_AIR_LOST", "supply_lost_ms + 2s"))),
    Mode("supply_half_shut", "", "less is drawn", (
        blind("a quarter of this line still feeds the small ejector", only=HELD),
        blind("a blower takes no air and the pulses have their time", only=MOTOR),
        shows("SUPPLY_WEAK", "draw", "supply_low_ms + 10s"))),
    Mode("neighbour_draws", "", "a dip that passes", (blind("a dip shorter than the delay must be silent"),)),
    Mode("compressor_band", "", "a swing that passes", (blind("over every limit at its bottom"),), amount=0.5),
)

PULSES = (
    Mode("pulse_valve_stuck_open", "dust", "blows into the body with the flap shut", (
        shows("FLAP_LOST_CLOSED|FLAP_NOT_CLOSED|NO_MATERIAL", "purge draw convey clear", RUNS_EMPTY, only=HELD,
              changed="the flap alone was expected, and sooner; the air that it lets in looks like an empty line first"),
        at_once("VACUUM_IN_IDLE|START_REFUSED", "25s", begins="warning hold fault", only=("source_kind", "ejector"), changed="nothing was expected; a full tank blows the reading under zero, and a loaded line keeps it there"),
        blind("no transmitter at the tank; the air that it lets in lowers the vacuum"))),
    Mode("pulse_valve_stuck_shut", "", "the cake grows", (blind("no transmitter at the tank; other groups still clean, or the vacuum falls slowly"),)),
    Mode("pulse_valve_passing", "", "too little to raise the pressure of the body", (blind("the tank fills faster than it hisses"),)),
    Mode("tank_not_charging", "", "the cake grows", (
        shows("FILTER_DP_HIGH|CLEANING_WEAK", "pulse", "350s", only=("dp_fitted", "yes")),
        blind("no transmitter at the tank and no pressure drop: the cake grows, the vacuum falls slowly"))),
)

FILTERS = (
    Mode("filter_blinded", "", "less is drawn", (
        shows("FILTER_DP_HIGH", "convey > convey", FILLS, only=("dp_fitted", "yes")), blind(f"{NO_DP} a blinded filter lowers the vacuum"))),
    Mode("filter_blinding", "", "less is drawn from week to week", (blind("a hundredth of the dust of a batch is nothing in a few cycles; drift shows it"),)),
    Mode("filter_torn", "dust", "product passes to the source and its exhaust", (
        shows("FILTER_DP_LOW", "convey", "dp_mask_ms + dp_ms + 2s", only=("dp_fitted", "yes")), blind(f"{NO_DP} a torn filter raises the vacuum a little"))),
    Mode("filter_not_refitted", "dust", "product passes to the source and its exhaust", (
        shows("FILTER_DP_LOW", "convey", "dp_mask_ms + dp_ms + 2s", only=("dp_fitted", "yes")), blind(f"{NO_DP} a missing element raises the vacuum a little"))),
    Mode("filter_wet", "", "the cake sticks", (
        shows("FILTER_DP_HIGH", "convey > convey > convey", FILLS, only=("dp_fitted", "yes")), blind(f"{NO_DP} it lowers the vacuum"))),
)

MACHINE = (*FLAP, *LINE, *BODY, *SOURCE, *SUPPLY, *PULSES, *FILTERS)
