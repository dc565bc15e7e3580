"""
What facts and inputs are called on sheets and in explanations, where the bare name would not read as words.

A condition is a statement with one verb of `VERBS`; what is said of it when it is off is made by "not", of
"a" thing by "no"; where that is not its contrary, `CONTRARIES` has it. A delayed fact is called by its cause.
A number is a noun. A name without a line here is said as it stands, with blanks for its underscores.
"""

import re

from controller.sequence.interlocks import INTERLOCKS
from controller.units import split

VERBS = "is|are|was|were|has|have|may"

# fmt: off
PHRASES = {
    # ---- people and places
    "start_pb": "the start button is pressed", "start_request": "a start is asked for",
    "start_at_machine": "a start is asked for at the machine",
    "start_from_remote": "a start is asked for from remote", "start_wanted": "a start is asked for",
    "start_held": "start was held already", "start_was_held": "start was held already",
    "start_edge": "start is newly pressed", "start_accepted": "a start is accepted",
    "start_refused": "the start is refused",
    "start_out_of_place": "start was pressed at a place without the right",
    "reset_pb": "the reset button is pressed", "reset_request": "a reset is asked for",
    "reset_at_machine": "a reset is asked for at the machine",
    "reset_from_remote": "a reset is asked for from remote", "reset_wanted": "a reset is asked for",
    "reset_held": "reset was held already", "reset_edge": "reset is newly pressed",
    "reset_accepted": "the reset is accepted", "reset_refused": "the reset is refused",
    "reset_out_of_place": "reset was pressed at a place without the right", "stop": "a stop is asked for",
    "stop_request": "a stop is asked for", "stop_asked": "a stop is asked for",
    "stop_healthy": "the stop contact is closed", "stop_contact_open": "the stop contact is open",
    "halt": "a halt is asked for", "halt_request": "a halt is asked for", "halted": "a halt was asked for",
    "acknowledged": "acknowledge is pressed", "horn_silenced": "the horn was acknowledged",
    "horn_wanted": "the horn of the fault is wanted", "clean_request": "a clean is asked for",
    "clean_asked": "a clean is asked for", "clean_accepted": "a clean is accepted",
    "clean_refused": "the clean is refused", "empty_request": "an emptying is asked for",
    "empty_accepted": "an emptying is accepted", "empty_refused": "the emptying is refused",
    "asked": "a start, clean or emptying is accepted", "manual_request": "manual mode is asked for",
    "manual_accepted": "manual mode is accepted", "manual_refused": "manual mode is refused",
    "manual": "manual mode is on", "in_manual": "manual mode is on",
    "manual_begins": "manual mode has just begun", "remote_control": "the remote place is in control",
    "remote_in_control": "the remote place is in control",
    "remote_may": "the remote place is in control with the right to start",
    "request_remote": "the request was made from remote",
    "request_out_of_place": "the request was made at a place without the right",
    "safety_chain_healthy": "the safety chain is closed", "safety_chain_open": "the safety chain is open",
    "powered": "the controller was powered", "powering_up": "the controller has just started",
    "inputs_old": "the inputs are too old", "io_still_long": "the life counter of the I/O is standing still",
    "scans_lost": "the scans are far too late",
    "scans_slip": "the scans are late", "was_overruled": "an output is held back by the last word",
    "overruled": "an output is held back by the last word", "jog_source": "the source is held by hand",
    "jog_bypass": "the bypass is held by hand", "jog_flap_open": "the open flap is held by hand",
    "jog_flap_close": "the closed flap is held by hand", "jog_vent": "the vent is held by hand",
    "jog_purge": "the line purge is held by hand", "jog_pulse_1": "the first group is held by hand",
    "jog_pulse_2": "the second group is held by hand", "jog_pulse_3": "the third group is held by hand",
    "jog_feed": "the feed is held by hand", "jog_fluidise": "fluidising is held by hand",
    # ---- run and rest
    "run": "the run is on", "stopped": "the run is over", "wait": "it is waiting for air or the motor",
    "trip": "an interlock is tripping", "tripped": "an interlock is tripping",
    "in_fault": "a fault is standing", "no_fault": "the receiver is without a fault",
    "fault_stored": "a fault was standing", "fault_at_power_up": "a fault was standing at power-down",
    "fault_at_machine": "the fault is one to reset at the machine",
    "not_at_rest": "the receiver is not at rest", "readiness_lost": "the readiness to start is lost",
    "warned": "the warning time is over", "warn_cancelled": "the warning is cancelled",
    "warned_to_clean": "the warning time is over, for a clean or an emptying",
    "warned_and_full": "the warning time is over, with the vessel below full",
    "warned_with_batch": "the warning time is over, with a batch perhaps on board",
    "warned_to_wait": "the warning time is over, with no product wanted or to be had",
    "stop_feeding": "a stop is breaking off the fill", "wait_and_stopped": "the run is over, low air waiting",
    "step_over_bound": "the step is longer than all its limits", "runs_steadily": "it is not waiting",
    "waiting_armed": "the receiver is armed and waiting (flashes)",
    # ---- flap
    "flap_closed_fb": "the flap's closed switch is on", "flap_open_fb": "the flap's open switch is on",
    "flap_closed": "the flap's closed switch is on", "flap_open": "the flap's open switch is on",
    "closed_steady": "the flap's closed switch is steadily on",
    "closed_gone": "the flap's closed switch is steadily off",
    "closed_unsure": "the flap's closed switch is not steadily on",
    "open_steady": "the flap's open switch is steadily on",
    "open_gone": "the flap's open switch is steadily off",
    "open_unsure": "the flap's open switch is not steadily on", "flap_proven": "the flap is proven closed",
    "flap_unproven": "the flap is not proven closed", "flap_open_proven": "the flap is proven open",
    "flap_lost": "the flap is not proven closed", "flap_both": "the flap's two switches are both on",
    "flap_both_long": "the flap's two switches are both on",
    "flap_neither": "the flap is between its two switches",
    "not_seated": "the vacuum-held flap is off its seat", "flap_at_place": "the flap is at its place",
    "flap_off_place": "the flap has left its place", "at_its_place": "the flap was at its place",
    "flap_open_cmd": "the flap is commanded open", "flap_close_cmd": "the flap is commanded closed",
    "flap_called": "the closing coil is allowed", "flap_close_called": "the closing coil is called for",
    "flap_moving": "the flap is moving", "flap_creeps": "the flap is slow several times in a row",
    "flap_open_uncalled": "the flap is open without a call",
    "flap_open_lost": "the flap is off its open place",
    "flap_not_sure": "the flap is not proven closed, nor being pulled in", "driven": "the flap is driven",
    "uncommanded": "the flap is without command", "open_while_cleaned": "the clean is one with the flap open",
    "flap_frozen_open": "the flap was open when a halt came",
    "off_seat": "the flap is off its seat and free to re-open",
    "off_seat_drawing": "the flap is off its seat",
    "off_seat_at_rest": "the flap is off its seat without a call to open",
    "stays_off_seat": "the flap is late to close, with no re-opening left",
    "travel_over": "the closing time is over", "offline_off_seat": "the flap is late to close for the pulse",
    "reopen_possible": "a re-opening is allowed", "reopened": "the re-opening is over",
    "seated": "the flap was on its seat", "pulling_in": "the flap is being pulled in",
    "not_pulled_in": "the flap is late to be pulled in by the vacuum",
    "open_late": "the flap is late to open", "open_retry_left": "a second try to open is left",
    "open_again": "the flap is late to open, with a second try left",
    "stays_shut": "the flap is late to open for the second time",
    "opened": "the flap is proven open, or hangs shut on nothing",
    "opened_to_clean": "the flap is proven open, or hangs shut on nothing, for a clean",
    "hangs_open": "the flap is still open at the end", "shut_long": "the flap is proven shut while emptying",
    "shut_after_clean": "the flap has shut itself after the clean",
    "may_be_empty": "the receiver may be empty", "flap_open_barred": "opening the flap is barred",
    "level_settled": "the level below is judged", "level_free": "the high probe below is free",
    "level_low_covered": "the low probe below is covered", "level_low_good": "the low probe below is good",
    "two_coils": "the flap valve is one of two coils",
    "both_switches": "the flap is fitted with both switches",
    "off_closed_long": "the flap's closed switch is off under an open command",
    "off_open_long": "the flap's open switch is off without an open command",
    # ---- level
    "vessel_full": "the vessel below is full", "level_seen": "the high probe below is looked at",
    "level_masked": "the high probe below is masked by falling product", "pouring": "product is falling",
    "level_covered_long": "the high probe below is seen covered",
    "level_free_long": "the high probe below is seen free",
    "level_clear_long": "the high probe below is seen free",
    "level_unsure": "the high probe below is not settled",
    "level_flutters": "the high probe below is switching too often",
    "low_uncovered": "the low probe below is seen uncovered",
    "probes_disagree": "the two probes below are at odds",
    "level_ends_batch": "the batch is ended by a full vessel below",
    "full_stands": "the vessel below is counted as full",
    "full_and_closed": "the vessel below is full, the flap closed",
    "full_and_held": "the vessel below is full, batches held",
    "full_for_order": "the vessel below is full, for a clean or an emptying",
    "full_below_policy": "the vessel below is full, batches held",
    "held_before_drop": "the batch is held for the vessel below",
    "held_and_stopped": "the batch is held, and the run over",
    "held_with_batch": "the batch is held before its drop", "held_full": "the hold is for a full vessel",
    "held_on_board": "a batch is surely on board", "not_seen": "more was dropped than the vessel explains",
    "not_seen_to_drop": "more was dropped than the vessel explains, with a batch perhaps on board",
    "column_below": "the high probe below is covered", "receiver_free": "the receiver-full probe is free",
    "receiver_covered": "the receiver-full probe is covered", "receiver_full": "the receiver is full",
    "receiver_full_good": "the receiver-full probe is good",
    # ---- supply air
    "supply_air_ok": "the supply-air switch is on", "supply_under_limit": "supply air is under its low limit",
    "supply_lost": "supply air is under its lowest limit", "supply_bad": "the supply-air signal is bad",
    "supply_good": "the supply-air signal is good",
    "supply_failed": "the supply-air current is at a failure value",
    "supply_failed_long": "the supply-air current is at a failure value",
    "supply_doubtful": "the supply-air current is outside its range",
    "supply_doubtful_long": "the supply-air current is not steadily inside its range",
    "supply_steady": "the supply-air current is inside its range",
    "supply_not_over": "supply air is not over its low limit plus hysteresis",
    "supply_not_over_long": "supply air is not over its low limit plus hysteresis",
    "supply_sags": "supply air is far under its value at rest",
    "supply_switched": "supply air is told by a switch", "low_by_choice": "supply air is under its low limit",
    "low_for_motor": "supply air is under its low limit", "hunting": "supply air is low too often",
    "waits_for_air": "low air is waited for",
    "resume_allowed": "another return from a pause for air is allowed",
    "air_wait": "supply air is waited for", "air_hold": "the hold is for want of air",
    "air_stands": "air is missing or its minimum stop not over", "open_wait_over": "the wait for air is over",
    # ---- source
    "motor": "the source is a motor", "source_cmd": "the source is commanded on",
    "bypass_close_cmd": "the bypass is commanded shut", "vent_close_cmd": "the vent is commanded shut",
    "source_acts": "the source is drawing", "source_quiet": "the body is free of a running motor",
    "source_running_fb": "the motor's run contact is on", "running": "the motor is running",
    "run_proven": "the motor is taken as running", "run_missing": "the motor is commanded without running",
    "run_never_seen": "the motor is commanded without ever running",
    "run_gone": "the motor is no longer running", "run_was_seen": "the motor was seen running",
    "runs_by_itself": "the motor is running without command",
    "runs_uncommanded": "the motor is running without command", "overload": "the overload relay has tripped",
    "overload_healthy": "the overload contact is closed",
    "overload_driving": "the overload relay has tripped while driving",
    "overload_at_rest": "the overload relay has tripped at rest",
    "motor_rested": "the motor has rested long enough", "motor_resting": "the motor is resting",
    "motor_may_start": "the motor may start", "motor_barred": "the motor is barred for now",
    "spun_up": "the motor is up to speed", "source_ready": "the source is ready",
    "bypassed": "the motor is fitted with a bypass", "runs_on_bypass": "the motor is to run on bypass",
    "source_barred": "drawing is barred",
    # ---- vacuum and line
    "vacuum_switch": "the vacuum switch is on", "vacuum_present": "vacuum is present",
    "proved": "vacuum has been proved", "has_vacuum": "vacuum is proved",
    "has_vacuum_filled": "vacuum is proved and the fill over", "proving_over": "the proving time is over",
    "no_vacuum_yet": "vacuum is late to be proved", "vacuum_gone": "vacuum is lost after its proving",
    "vacuum_bad": "the vacuum signal is bad", "vacuum_good": "the vacuum signal is good",
    "vacuum_not_good": "the vacuum signal is not good",
    "vacuum_missing": "the vacuum signal is bad with no times for it",
    "vacuum_measured": "vacuum is measured by a transmitter",
    "vacuum_by_switch": "vacuum is told by a switch", "vacuum_timed": "vacuum is replaced by times",
    "vacuum_failed": "the vacuum current is at a failure value",
    "vacuum_failed_long": "the vacuum current is at a failure value",
    "vacuum_doubtful": "the vacuum current is outside its range",
    "vacuum_doubtful_long": "the vacuum current is not steadily inside its range",
    "vacuum_steady": "the vacuum current is inside its range",
    "vacuum_frozen": "the vacuum reading is frozen", "vacuum_still": "the vacuum reading has not moved",
    "vacuum_high": "vacuum is over its high limit",
    "vacuum_high_again": "vacuum is over its high limit again",
    "batch_too_high": "the batch is ended by too high vacuum",
    "high_batch": "vacuum was too high in this batch", "vacuum_at_rest": "body pressure is off zero at rest",
    "under_release": "vacuum is under the release threshold", "released": "vacuum is seen released",
    "vacuum_over_release": "vacuum is over the release threshold", "near_zero": "vacuum is near zero",
    "not_near_zero": "vacuum is not near zero", "not_released": "vacuum is late to be released",
    "released_by_time": "vacuum is released by the venting time",
    "release_known": "vacuum is known to be released", "release_over": "the release limit is over",
    "vent_time_over": "the venting time is over", "vented": "the receiver is vented",
    "vented_to_pulse": "the receiver is vented, for a clean with the flap shut",
    "sealed": "the receiver is ready to draw",
    "sealed_line_loaded": "the receiver is ready to draw, with product in the line",
    "line_loaded": "product may stand in the line", "line_perhaps_loaded": "product may stand in the line",
    "under_line_empty": "vacuum is under the line-empty threshold",
    "line_empty": "the line is at its air-only vacuum",
    "clear_at_air_only": "the line is at its air-only vacuum",
    "purge_at_air_only": "the line is at its air-only vacuum",
    "transit_over": "vacuum is proved in the purge", "purged": "the purge is over",
    "cleared": "the clear is over", "clear_over": "the clearing time is over",
    "purge_blocked": "the line is blocked after its purge",
    "clear_blocked": "the line is blocked after its clear",
    "vacuum_stands": "the vacuum reading is the same as under suction",
    "vacuum_unsure": "the vacuum signal is not good",
    # ---- batch
    "fill_over": "the fill is over by time or by probe", "line_is_empty": "the line has run empty",
    "material_missing": "vacuum is at that of an empty line",
    "starved": "short batches are too many in a row",
    "starved_stands": "product is missing or its pause not over", "feed_low": "the feed hopper is low",
    "feed_was_low": "the feed hopper was low", "not_wanted": "product is not wanted below",
    "too_short": "batches are far too short several times in a row",
    "fills_too_fast": "batches are full too early several times in a row",
    "fills_ever_too_fast": "batches are full too early ever more often",
    "time_ends_it": "batches are ended by time several times in a row", "drain_over": "the emptying is over",
    "emptying_over": "the emptying time is over", "drained": "the batch has dropped",
    "emptied": "the receiver has been emptied", "emptying": "the batch is dropping",
    "still_emptying": "the batch is still dropping", "emptied_again": "the batch was emptied a second time",
    "batch_over": "the batch is over", "batch_perhaps_on_board": "a batch may be on board",
    "left_over": "product is left in the receiver",
    "still_covered": "the receiver-full probe is still covered",
    "broken_off": "the batch was broken off by low air", "full_too_soon": "the receiver was full too soon",
    "over_and_left": "the batch is over, with a second emptying due",
    "over_and_stopped": "the batch is over, and so the run",
    "over_and_full": "the batch is over, the vessel below full",
    "over_and_starved": "the batch is over, product missing",
    "over_and_unwanted": "the batch is over, no more wanted", "hold_over": "the hold is over",
    "hold_over_with_batch": "the hold is over, with a batch on board", "settled": "the settling time is over",
    # ---- filter
    "dp_good": "the filter-dp signal is good", "dp_bad": "the filter-dp signal is bad",
    "dp_failed": "the filter-dp current is at a failure value",
    "dp_failed_long": "the filter-dp current is at a failure value",
    "dp_steady": "the filter-dp current is inside its range",
    "dp_doubtful_long": "the filter-dp current is not steadily inside its range",
    "dp_doubtful": "the filter-dp current is outside its range", "dp_in_use": "filter dp is looked at",
    "dp_bad_in_use": "the filter-dp signal is bad", "dp_over": "filter dp is over its limit",
    "dp_over_long": "filter dp is over its limit", "dp_over_again": "filter dp is over its limit again",
    "dp_far_over": "filter dp is over its second limit",
    "dp_far_over_long": "filter dp is over its second limit",
    "dp_far_again": "filter dp is over its second limit again", "dp_under": "filter dp is far too low",
    "dp_ends_batch": "the batch is ended by filter dp over its second limit",
    "no_dips": "the pulses are without a dip of the supply",
    "cleans_weak": "the cleans are without effect on filter dp", "clean_called": "a clean is called for",
    "clean_due": "it is time for the clean", "last_clean": "the clean is the last before a stop or a hold",
    "drain_led": "the drain is far enough for a pulse", "pulsed": "the pulse has begun",
    "pulsing": "a pulse valve is on", "pulse_cut": "the pulse was cut short",
    "pulse_near": "a pulse was just given", "pulse_air": "air is enough for a pulse",
    "pulse_ready": "the pulse is ready", "pulse_begun": "the pulse is ready or begun",
    "pulse_rested": "the pause between pulses is over", "pulse_place": "the flap is at its place for a pulse",
    "pulse_wait_over": "the wait for a pulse is over", "pulse_air_late": "air for the pulse is late",
    "pulse_given_up": "the pulse is given up", "pulse_late": "the pulse is given up, the emptying over",
    "pulse_over": "the pulse is over", "recovered_step": "the recovery time is over",
    "recovered": "the recovery is over, the emptying too",
    "recovered_next": "the recovery is over, with rounds left",
    "reopen_pulse": "a pulse is due while re-open", "pulse_barred": "pulsing is barred",
    "first_called": "the first group is due", "second_called": "the second group is due",
    "third_called": "the third group is due", "first_reopens": "the first group is due",
    "second_reopens": "the second group is due", "third_reopens": "the third group is due",
    "fluid_called": "a puff is due", "fluidise_barred": "fluidising is barred",
    "contact_bad": "a contact is of bad quality", "offline": "the clean is off-line",
    "with_drain": "the clean is one with the drain", "pulse_air_missing": "air is missing for the pulse",
    "dp_asked": "a clean is asked for by filter dp",
    "recovery": "the emptying is one of a batch found on board", "lamp_on": "the flash is on",
    "dp_stands": "the filter-dp reading is the same as under suction",
    "dp_frozen": "the filter-dp reading is frozen", "called_off": "the order is called off",
    "supply_back": "supply air is not under its low limit",
    # ---- numbers
    "in_step_ms": "time in the step", "step_ms": "time in the step", "worked_ms": "time worked in the step",
    "waited_ms": "time waited in the step", "source_off_ms": "time since the source drew",
    "acting_ms": "drawing time", "motor_on_ms": "motor-on time", "motor_off_ms": "motor-off time",
    "since_pour_ms": "time since product fell", "emptying_ms": "dropping time",
    "filled_now_ms": "time filled", "pulse_on_ms": "pulse time", "pulse_off_ms": "time since the last pulse",
    "fluid_ms": "time in the puff", "manual_ms": "time in manual mode",
    "jog_age_ms": "time since the last held output", "jogged": "output held by hand", "vacuum_pa": "vacuum",
    "vacuum_drawn_pa": "vacuum while drawing", "dirty_side_pa": "vacuum on the dirty side",
    "dp_pa": "filter dp", "supply_pa_g": "supply air", "supply_rest_pa_g": "supply air at rest",
    "vacuum_most_pa": "highest vacuum", "vacuum_least_pa": "lowest vacuum", "vacuum_ua": "vacuum current",
    "supply_air_ua": "supply-air current", "filter_dp_ua": "filter-dp current", "flap_retries": "re-openings",
    "open_retries": "second tries to open", "high_batches": "high-vacuum batches with this one",
    "starts_bucket_ms": "time taken up by starts", "pulse_group": "group in turn", "order": "order",
    "on_board": "product on board", "short_batches": "short batches in a row",
    "short_cycles": "too short batches in a row", "scans_late": "late scans",
    "image_age_ms": "age of the inputs",
}

CONTRARIES = {
    "remote_may": "the remote place is without control or without the right to start",
    "warned_to_clean": "the warning time is not over, or it is for a run",
    "warned_and_full": "the warning time is not over, or the vessel below is not full",
    "warned_with_batch": "the warning time is not over, or the receiver is surely empty",
    "warned_to_wait": "the warning time is not over, or product is wanted and to be had",
    "wait_and_stopped": "the run is not over, or no air is waited for",
    "waiting_armed": "the receiver is not waiting, or its flash is off",
    "off_seat": "the flap is closed, still in its time or barred from re-opening",
    "stays_off_seat": "the flap is closed, still in its time or free to re-open",
    "flap_not_sure": "the flap is proven closed, or is being pulled in",
    "opened": "the flap is neither proven open nor hanging shut on nothing",
    "opened_to_clean": "the flap is neither proven open nor hanging shut on nothing, or it is no clean",
    "open_again": "the flap is not late to open, or its second try is used up",
    "may_be_empty": "the receiver surely holds product",
    "full_and_closed": "the vessel below is not full, or the flap is not proven closed",
    "full_and_held": "the vessel below is not full, or no batches are held for it",
    "full_below_policy": "the vessel below is not full, or no batches are held for it",
    "full_for_order": "the vessel below is not full, or no clean or emptying is ordered",
    "held_and_stopped": "the batch is not held, or the run is not over",
    "not_seen": "no more was dropped than the vessel explains",
    "not_seen_to_drop": "no more was dropped than the vessel explains, or the receiver is surely empty",
    "low_by_choice": "supply air is not low, or is low too often",
    "air_stands": "no air is missing, and no stop for it is running",
    "starved_stands": "no product is missing, and no pause for it is running",
    "run_gone": "the motor is still running, or was not seen to",
    "has_vacuum_filled": "vacuum is not proved, or the fill is not over",
    "not_near_zero": "vacuum is near zero, or replaced by times",
    "vented_to_pulse": "the receiver is not vented, or not to be cleaned with the flap shut",
    "sealed_line_loaded": "the receiver is not ready to draw, or the line is surely empty",
    "line_loaded": "the line is surely empty", "line_perhaps_loaded": "the line is surely empty",
    "batch_perhaps_on_board": "the receiver is surely empty",
    "over_and_left": "the batch is not over, or no second emptying is due",
    "over_and_stopped": "the batch is not over, or the run goes on",
    "over_and_full": "the batch is not over, or the vessel below is not full",
    "over_and_starved": "the batch is not over, or no product is missing",
    "over_and_unwanted": "the batch is not over, or more is wanted",
    "hold_over_with_batch": "the hold is not over, or no batch is to be dropped",
    "pulse_begun": "the pulse is neither ready nor begun",
    "pulse_late": "the pulse is not given up, or the emptying is not over",
    "recovered": "the recovery is not over, or the emptying is not",
    "recovered_next": "the recovery is not over, or no rounds are left",
}
"""What is said of a condition that is off, where "not" is not enough: of two parts, or of what may be."""
# fmt: on

_IDS = {i.name for i in INTERLOCKS}
_ONE = re.compile("an? ")
_VERB = re.compile(rf"\b({VERBS})\b( not)?")


def words(name: str) -> str:
    """A name of the code with blanks."""
    return name.replace("_", " ")


def phrase(name: str) -> str:
    """
    What a fact or an input is called: a statement of a condition, a noun of a number.

    >>> phrase("flap_proven"), phrase("no_vacuum_acts"), phrase("level_high_2"), phrase("anything_else")
    ('the flap is proven closed', 'NO_VACUUM is acting', 'LEVEL_HIGH is acting', 'anything else')
    """
    line = re.sub(r"_(acts|\d+)$", "", name).upper()
    if line in _IDS and name not in PHRASES:
        return f"{line} is acting"
    return PHRASES.get(name) or words(split(name.removesuffix("_seen"))[0])


def said(name: str, on: bool) -> str:
    """
    A condition in words as it stands: on or off.

    >>> said("flap_proven", False), said("flap_unproven", False), said("flap_open", False)
    ('the flap is not proven closed', 'the flap is proven closed', "the flap's open switch is off")
    >>> said("halt", False), said("line_loaded", False)
    ('no halt is asked for', 'the line is surely empty')
    """
    text = phrase(name)
    if on:
        return text
    if name in CONTRARIES:
        return CONTRARIES[name]
    if not (verb := _VERB.search(text)):
        return f"not {text}"
    if one := _ONE.match(text):
        return f"no {text[one.end() :]}"
    turned = verb[1] if verb[2] else f"{verb[1]} not"
    return re.sub(r"\bis not on$", "is off", text[: verb.start()] + turned + text[verb.end() :])
