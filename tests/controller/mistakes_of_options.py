"""Mistakes planted in what a station may switch: motor, flap without command, manual mode, places, groups, holds."""

from dataclasses import replace

from mistakes_planted import Mistake, interlocks, output, outputs, rows, rules, without_refusal, without_row

from controller.sequence.definition import DAY_MS, fact
from controller.sequence.last_word import Facts
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import (
    BATCH,
    CONVEY,
    DRAIN,
    DRAWING,
    EMPTY,
    EMPTYING,
    FAULT,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    REOPEN,
    REST,
    SUCTION,
    UNKNOWN,
    VACUUM_HELD,
    VENT,
    WARNING,
)

TRUE = fact(lambda s: s.dt_ms >= 0)
FALSE = fact(lambda s: s.dt_ms < 0)

OF_SIGNALS = (
    Mistake("the turn goes to a fourth group", rules(pulse_group=fact(lambda s: s.was.pulse_group + (1 if s.pulse_given else 0), first=1, kept=True)),
            ("the group whose turn it is is one of three", "the group whose turn it is exists")),
    Mistake("unseen batches are counted without end", rules(unseen_batches=fact(lambda s: s.was.unseen_batches + (1 if s.emptied else 0), first=0, kept=True)), ("batches not seen are bounded",)),
    Mistake("the motor's clock never stops", rules(motor_off_ms=fact(lambda s: s.was.motor_off_ms + s.dt_ms, first=0)), ("clocks of motor, hand and flap count up from nothing and stop at a day", "the rest of the motor is watched")),
    Mistake("it learns for ever", rules(openings_learned=fact(lambda s: s.was.openings_learned + (1 if s.opened_now else 0), first=0, kept=True)), ("ten moves are learned from, of a hundred seconds at the most",)),
    Mistake("the usual fill time is a sum", rules(usual_sum_ms=fact(lambda s: s.was.usual_sum_ms + (s.filled_now_ms if s.full_batch else 0), first=0, kept=True)), ("the usual fill time is bounded",)),
    Mistake("air-only vacuum is added up", rules(air_only_pa=fact(lambda s: s.was.air_only_pa + s.dt_ms, first=0, kept=True)), ("learned pressures are bounded",)),
    Mistake("the bucket of starts has no rim", rules(starts_bucket_ms=fact(lambda s: s.was.starts_bucket_ms + (s.set.start_spacing_ms if s.source_cmd else 0), first=0, kept=True)),
            ("buckets never overflow", "the starts of the motor fade while it is waited for")),
    Mistake("hands hold whatever they count", rules(jogged=fact(lambda s: s.was.jogged + 1 if s.jog_heard and s.manual else 0, first=0)), ("the output held by hand is a known one",)),
    Mistake("without an open switch closed is guessed", rules(flap_proven=fact(lambda s: s.flap_closed and not s.flap_open if s.both_switches else s.off_open_long)), ("proven closed without an open switch is closed",)),
    Mistake("without a closed switch closed is not open at this moment", rules(flap_proven=fact(lambda s: not s.flap_open if s.open_switch_only else s.flap_closed and not (s.both_switches and s.flap_open))),
            ("proven closed without a closed switch is not open for the travel time",)),
    Mistake("without an open switch open is not closed at this moment", rules(flap_open_proven=fact(lambda s: not s.flap_closed if s.uncommanded or s.closed_switch_only else s.flap_open and not (s.both_switches and s.flap_closed))),
            ("proven open without an open switch is not closed for the travel time",)),
    Mistake("a doubtful filter pressure is good", rules(dp_good=fact(lambda s: s.set.dp_fitted and not s.dp_bad)), ("a good filter pressure is what the loop reads, within its range",)),
)  # fmt: skip

OF_PLACES = (
    Mistake("a life counter is not looked at", rules(inputs_old=fact(lambda s: s.now.image_age_ms > s.set.io_lost_ms)), ("a life counter that stands still is a fault",)),
    Mistake("a reset from anywhere", without_refusal("reset_out_of_place"), ("no reset of flap or safety but where the machine is seen", "no reset from page or network without the right to it")),
    Mistake("a fault of the flap may be reset from afar", rules(fault_at_machine=fact(lambda s: s.step == FAULT and (s.was.fault_at_machine or s.safety_chain_open_acts), first=False, kept=True)), ("a fault of flap or safety is remembered as one",)),
    Mistake("reset with the motor running by itself", without_refusal("runs_uncommanded"), ("no reset while the motor runs without a command",)),
    Mistake("start under vacuum", without_refusal("not_near_zero"), ("no run begins under vacuum", "no run begins while a vacuum switch is on")),
    Mistake("start with the motor running", without_refusal("running"), ("no run begins while the motor runs or its overload is open",)),
    Mistake("start from anywhere", without_refusal("start_out_of_place"), ("an order from page or network needs the right to it", "the machine gives no order while another place has control")),
    Mistake("manual mode while it runs", without_refusal("not_idle_or_fault"), ("manual mode is at rest or in a fault", "manual mode has no run latch, and no order", "manual mode is entered at the machine, with control there")),
    Mistake("manual mode from the network", without_refusal("manual_remote"), ("manual mode is entered at the machine, with control there",)),
    Mistake("leaving manual mode starts", rows(lambda r: r._replace(guard=Facts.in_manual) if r.guard.name == "asked" else r), ("leaving manual mode starts nothing", "rest is left by an order only, and to the warning", "whatever is not at rest was ordered", "manual mode is at rest or in a fault")),
    Mistake("a held output outlives the mode", rules(jogged=fact(lambda s: s.now.jog if s.jog_heard and s.manual else s.was.jogged, first=0)),
            ("leaving manual mode starts nothing", "an output is held by hand in manual mode only", "a held output falls when it is not renewed", "what dropped it stays its end until it is let go",
             "open safety chain, lost air, lost I/O, overload, stop and halt drop what is held by hand", "nothing is moved by hand before the horn has sounded")),
    Mistake("lamps of a hand on two valves", output("purge_cmd", when=None, steps=(REST, FAULT)), ("what is held by hand is one output",)),
    Mistake("asking for manual mode again renews", rules(jog_age_ms=fact(lambda s: 0 if s.now.jog > 0 or s.now.manual_request or not s.manual else min(s.was.jog_age_ms + s.dt_ms, DAY_MS), first=0)), ("the age of a held output is watched",)),
    Mistake("no horn in manual mode", outputs(lambda o: o._replace(steps=(LEVEL_HOLD,)) if o.name == "horn" and o.when and o.when.name == "manual_begins" else o), ("the horn of manual mode is watched",)),
    Mistake("hands from the network", rules(jogged=fact(lambda s: 0 if not s.manual or s.jog_barred or s.jog_let_go else s.now.jog if s.now.jog > 0 else s.was.jogged, first=0)), ("nothing is moved by hand from page or network",)),
    Mistake("manual mode for ever", rules(manual=fact(lambda s: s.manual_accepted or (s.was.manual and not s.now.automatic_request), first=False)), ("manual mode ends by itself",)),
)  # fmt: skip

SAYS_THE_SAME = {
    "SHORT_CYCLE": ("so many batches running under the least fill time are a trip",),
    "FILTER_DP_HIGH": ("filter pressure over its second limit in two batches running is a trip",),
}
OF_FLAP_AND_SOURCE = (
    Mistake("pull-in without an end", replace(rules(pulling_in=fact(lambda s: s.set.flap_kind == VACUUM_HELD and s.step in DRAWING and not s.seated)),
            interlocks=tuple(i._replace(effect="warn") if i.cause.name == "not_pulled_in" else i for i in RECEIVER.interlocks)),
            ("a flap that the vacuum closes has its pull-in time", "a flap that was not pulled in is a trip wherever it is looked at")),
    Mistake("a seated flap that is lost is let be", rules(off_seat_drawing=fact(lambda s: s.flap_unproven and s.set.flap_kind != VACUUM_HELD)), ("a seated flap that is lost is counted by the trip as by the last word",)),
    Mistake("the source's clock runs on", rules(acting_ms=fact(lambda s: min(s.was.acting_ms + s.dt_ms, DAY_MS), first=0)), ("the source acts only where it is called to",)),
    Mistake("the source rests in draw", output("source_cmd", steps=tuple(k for k in DRAWING if k != CONVEY)), ("a receiver that draws has its source on",)),
    Mistake("a hanging flap is commanded", outputs(lambda o: o._replace(when=None) if o.name == "flap_open_cmd" and o.when and o.when.name == "driven" else o), ("a flap without command is given none",)),
    Mistake("both coils", rules(flap_close_called=fact(lambda s: s.two_coils and s.flap_called)), ("never both coils of the flap valve",)),
    Mistake("a second coil on a spring", rules(flap_close_called=fact(lambda s: s.driven and s.flap_called and not s.flap_open_cmd)), ("a flap valve with a spring has no second coil",)),
    Mistake("without an instrument it is released at once", rules(vent_time_over=TRUE), ("without an instrument flap-open waits the vent time after source off", "with a switch flap-open waits the vent time, and for the switch")),
    Mistake("the flap opens with the motor running", rules(source_quiet=TRUE), ("flap-open is not first given while a motor without open bypass runs",)),
    Mistake("a held batch is dropped on a full vessel", rules(full_below_policy=FALSE), ("flap-open is not first given onto a full vessel where the batch is held",)),
    Mistake("pulses while it conveys", outputs(lambda o: o._replace(steps=(CONVEY,), when=None, unless=None) if o.name == "pulse_1_cmd" and o.steps == (PULSE,) else o),
            ("a pulse is given with the source off, the vent open, nothing fed", "a pulse is given with the flap proven open only, but off-line", "no pulse goes on once it lasted its maximum", "no pulse goes on once it lasted its preset", "two pulses are never closer than the minimum")),
    Mistake("an off-line pulse whatever the flap", rules(pulse_place=fact(lambda s: s.uncommanded or s.offline or s.flap_open_proven)), ("an off-line pulse is given with the flap proven in one of its places",)),
    Mistake("two groups at once", rules(second_called=fact(lambda s: s.was.pulse_group >= 1 and s.pulse_begun)), ("one group is pulsed at a time", "only groups that are there are pulsed")),
    Mistake("fluidising into a closed body", output("fluidise_cmd", steps=(CONVEY,), when=None, unless=None), ("fluidising air is given with the flap or the vent open only", "fluidising air ends before the flap closes")),
    Mistake("fluidising from suction on", output("fluidise_cmd", steps=(CONVEY, *EMPTYING)), ("no line calls for fluidising air where the last word forbids it",)),
    Mistake("fluidising to the last", rules(fluid_called=fact(lambda s: s.set.fluidise_on_ms > 0)), ("fluidising air ends before the flap closes",)),
    Mistake("a motor does not rest", rules(motor_rested=TRUE), ("a motor is never switched on within its minimum off time, by hand neither",)),
    Mistake("the bypass is shut while it empties", output("bypass_close_cmd", steps=(*DRAWING, VENT)), ("a motor on bypass does not act on the body", "the source acts only while it draws, or held by hand", "the source acts only where it is called to")),
    Mistake("a bypass that is not there", outputs(lambda o: o._replace(when=None) if o.name == "bypass_close_cmd" and o.when and o.when.name == "bypassed" else o), ("no bypass is shut where there is none",)),
    Mistake("the motor runs on through a hold", rules(runs_on_bypass=fact(lambda s: s.bypassed and (s.was.source_cmd or s.motor_may_start))), ("in a hold a motor is off after its run-on and least on time",)),
    Mistake("a motor keeps its least on time", output("source_cmd", steps=(*DRAWING, FAULT), when=None), ("stop, halt and trip take the motor off at once, whatever its least on time", "nothing that moves or feeds is energised in a fault, unless held by hand",
             "the source acts only while it draws, or held by hand", "the source acts only where it is called to")),
    Mistake("any motor is ready", rules(source_ready=TRUE), ("a batch begins with the motor ready", "a run keeps the starts an hour")),
    *(
        Mistake(f"{name} is only told", interlocks(lambda i, name=name: i._replace(effect="warn", allowed=()) if i.name == name else i), (f"{claim} is a trip wherever it is looked at", *SAYS_THE_SAME.get(name, ())))
        for name, claim in (
            ("SOURCE_NOT_RUNNING", "SOURCE_NOT_RUNNING"), ("SOURCE_OVERLOAD", "SOURCE_OVERLOAD while it runs"), ("SOURCE_RUNS_UNCOMMANDED", "SOURCE_RUNS_UNCOMMANDED out of manual mode"),
            ("SHORT_CYCLE", "SHORT_CYCLE"), ("RECEIVER_OVERFULL", "RECEIVER_OVERFULL"), ("FILTER_DP_HIGH", "FILTER_DP_HIGH again"),
            ("SCAN_OVERRUN", "SCAN_OVERRUN for long, out of manual mode"), ("FLAP_NOT_CLOSED", "a flap that was not pulled in"),
        )
    ),
)  # fmt: skip

OF_BATCHES = (
    Mistake("the emptying is timed from the vent on", rules(emptying_ms=fact(lambda s: min(s.was.emptying_ms + s.dt_ms, DAY_MS), first=0)), ("the emptying is timed from the scan that proved the flap open",)),
    Mistake("a hanging flap has emptied when its time is over", rules(drained=fact(lambda s: s.drain_over and not s.receiver_full)), ("a flap without command has emptied when it is shut again",)),
    Mistake("emptied under a covered probe", rules(drained=fact(lambda s: s.drain_over and (s.driven or s.shut_long))), ("nothing is called emptied with the receiver-full probe covered",)),
    Mistake("manual mode leaves the receiver known", rules(on_board=fact(lambda s: UNKNOWN if not s.was.powered and not s.stored_empty else BATCH if s.step in DRAWING else EMPTY if s.emptied and not s.trip else s.was.on_board, first=UNKNOWN, kept=True)),
            ("after manual mode nobody knows what is on board", "a flap without command that is seen open at rest has dropped its batch")),
    Mistake("a hanging flap drops its batch whatever its switch says", rules(fell_by_itself=fact(lambda s: s.uncommanded and s.step in (REST, FAULT, LEVEL_HOLD))), ("a flap without command that stays shut keeps its batch",)),
    Mistake("little drawn passes for ever", rules(may_be_empty=fact(lambda s: s.was.on_board != BATCH or s.was.little_drawn)), ("a batch passes a flap without command that stays shut once at the most",)),
    Mistake("a silent warning", output("horn", steps=(FAULT,)), ("the warning is a horn", "the horn of manual mode is watched")),
    Mistake("a hanging flap's batch is gone on with", rules(broken_off=fact(lambda s: (s.was.broken_off or (s.was.step in DRAWING and s.step == LEVEL_HOLD)) and s.step in (*SUCTION, LEVEL_HOLD), first=False)), ("a flap without command has no batch that is gone on with",)),
    Mistake("the full probe is not looked at", rules(fill_over=fact(lambda s: s.filled_now_ms >= s.set.fill_ms)), ("a batch ends in the scan in which the receiver is full",)),
    Mistake("feeding before the flap is pulled in", rules(not_seated=FALSE), ("nothing is conveyed before the vacuum has closed its flap",)),
    Mistake("a held batch is opened", without_row("held_with_batch"), ("a batch is held back from a full vessel", "a batch is held back when too much was dropped unseen")),
    Mistake("emptied again and again", rules(over_and_left=fact(lambda s: s.left_over or s.full_too_soon)), ("a second emptying is not followed by a third",)),
    Mistake("refill whatever the low probe says", rules(full_stands=fact(lambda s: s.vessel_full)), ("a full vessel held for the low probe is left when that is uncovered",)),
    Mistake("a plant that wants nothing is filled", rules(hold_over=fact(lambda s: not (s.full_stands or s.not_seen or s.starved_stands or s.air_stands))), ("no suction while the plant does not want it",)),
    Mistake("waiting is counted twice", rules(waited_ms=fact(lambda s: s.was.waited_ms + (s.dt_ms + s.dt_ms if s.wait else 0) if s.step == s.was.step else 0, first=0)),
            ("a wait in seal is no longer than the source has been off", "waiting is part of the time in the step", "waiting in a step is counted")),
    Mistake("a motor is waited for whatever its rest", rules(motor_may_start=FALSE), ("waiting for the motor is bounded",)),
    Mistake("a step that works waits", rules(waited_ms=fact(lambda s: s.was.waited_ms + s.dt_ms if s.step == s.was.step else 0, first=0)), ("a step that does not wait works",)),
    Mistake("nothing is asked of the flap in seal", rules(sealed=fact(lambda s: s.in_step_ms >= s.set.tank_charge_ms and s.level_settled and not s.vessel_full and s.source_ready)), ("a batch begins with the flap proven closed, unless the vacuum closes it",)),
)  # fmt: skip

LOW_AIR = (
    "a switch that is off, or a loop under its limit until a band over it, is low air", "low air in suction is counted as the wire tells it",
    "low air ends the suction of an air-driven source, told by a switch or a transmitter", "a pause for air does not end while the wire tells low air",
)  # fmt: skip
OF_ESCALATIONS = (
    Mistake("the flap closes while it empties", outputs(lambda o: o._replace(steps=(REOPEN, OPEN)) if o.name == "flap_open_cmd" and DRAIN in o.steps and not o.when.name.startswith("jog") else o),
            ("flap-open is given all through the emptying, unless the last word forbids it",)),
    Mistake("lost air is looked at while it draws only", interlocks(lambda i: i._replace(steps=DRAWING) if i.name == "SUPPLY_AIR_LOST" and i.effect == "trip" else i),
            ("thin air is counted as the transmitter reads it", "under the very low limit of a supply transmitter nothing goes on working")),
    Mistake("low air is only told", interlocks(lambda i: i._replace(effect="warn", allowed=()) if i.name == "SUPPLY_AIR_LOW" else i), LOW_AIR[2:3]),
    Mistake("high vacuum of one batch is never forgotten", rules(high_before=fact(lambda s: s.step != WARNING and (s.was.high_batch or s.was.high_before), first=False)), ("a batch that high vacuum ended is remembered as the one before",)),
    Mistake("high vacuum again is looked at in convey only", interlocks(lambda i: i._replace(steps=(CONVEY,)) if i.cause.name == "vacuum_high_again" else i), ("the trip counts high vacuum as long as the end of the batch does",)),
    Mistake("high vacuum ends batch after batch", interlocks(lambda i: i._replace(effect="warn") if i.cause.name == "vacuum_high_again" else i), ("so many batches of the last three ended by high vacuum are a trip",)),
    Mistake("fills too fast are only told", interlocks(lambda i: i._replace(effect="warn") if i.name == "FILL_TOO_FAST" else i), ("fills too fast after a second emptying and a warning are a trip",)),
    Mistake("a starved receiver goes on", without_row("over_and_starved"), ("no batch follows so many short ones running",)),
    Mistake("a batch under high vacuum is not marked", rules(high_batch=fact(lambda s: False, first=False)),
            ("a batch that high vacuum ended is remembered as the one before", "so many batches of the last three ended by high vacuum are a trip")),
    Mistake("short cycles are not counted", rules(short_cycles=fact(lambda s: 0, first=0)),
            ("batches under the least fill time are counted, each of them", "so many batches running under the least fill time are a trip")),
    Mistake("fills too fast are not counted", rules(too_fast_batches=fact(lambda s: 0, first=0)),
            ("fills too fast are counted, each of them", "fills too fast after a second emptying and a warning are a trip")),
    Mistake("short batches are not counted", rules(short_batches=fact(lambda s: 0, first=0)), ("batches short of material are counted, each of them", "no batch follows so many short ones running")),
    Mistake("a batch under high filter pressure is not marked", rules(dp_far_batch=fact(lambda s: False, first=False)),
            ("a batch that filter pressure ended is remembered as the one before", "filter pressure over its second limit in two batches running is a trip")),
    Mistake("the second limit is looked at without its mask", rules(dp_far_over=fact(lambda s: s.dp_good and s.was.step == CONVEY and s.dp_pa >= s.set.dp_trip_pa)),
            ("filter pressure over its second limit is counted as the loop reads it",)),
    Mistake("the end of convey is not kept", rules(dp_end_pa=fact(lambda s: 0, first=0)), ("the end of convey is remembered as the loop of the filter pressure read it", "a filter pressure that stands as convey left it is not good in seal")),
    Mistake("the supply switch is not heard", rules(supply_under_limit=fact(lambda s: s.supply_bad or s.supply_pa_g < (s.set.supply_low_pa_g + (s.set.supply_band_pa if s.was.supply_under_limit else 0)), first=True)), LOW_AIR),
    Mistake("low air has no band", rules(supply_under_limit=fact(lambda s: not s.now.supply_air_ok if s.supply_switched else s.supply_bad or s.supply_pa_g < s.set.supply_low_pa_g, first=True)), LOW_AIR),
    Mistake("neither the switch nor a band", rules(supply_under_limit=fact(lambda s: s.supply_bad or s.supply_pa_g < s.set.supply_low_pa_g, first=True)), LOW_AIR),
    Mistake("returns are not counted", rules(resumes_in_row=fact(lambda s: 0 if s.step == WARNING or s.batch_ended else s.was.resumes_in_row, first=0)), ("a return from want of air is counted",)),
    Mistake("hunting goes on", interlocks(lambda i: i._replace(effect="warn") if i.cause.name == "hunting" else i), ("low air after so many returns running or an hour is a trip",)),
    Mistake("a frozen filter pressure is good", rules(dp_bad=fact(lambda s: s.set.dp_fitted and (s.dp_failed_long or s.dp_doubtful_long))), ("a filter pressure that stands as convey left it is not good in seal",)),
)  # fmt: skip

OF_OPTIONS = (*OF_SIGNALS, *OF_PLACES, *OF_FLAP_AND_SOURCE, *OF_BATCHES, *OF_ESCALATIONS)
