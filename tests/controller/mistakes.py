"""
Mistakes planted in the definition of the receiver: each must turn the claims beside it red.

A claim counts once it was seen red. Each mistake here is one that a person could make: a forgotten line of a
table, a guard that asks too little, a memory that forgets too early or not at all.
"""

from dataclasses import replace

from mistakes_of_options import OF_OPTIONS
from mistakes_planted import Mistake, interlocks, output, outputs, rows, rules, without_refusal, without_row

from controller.engines.claims import Watched
from controller.sequence.definition import fact, on_delay
from controller.sequence.last_word import Facts
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import (
    BATCH,
    CLEAR,
    CONVEY,
    DRAW,
    DRAWING,
    EMPTY,
    FAULT,
    LEVEL_HOLD,
    NO_ORDER,
    OPEN,
    PURGE,
    REOPEN,
    REST,
    SEAL,
    TO_RUN,
    UNKNOWN,
    VENT,
    WARNING,
)  # fmt: skip

MISTAKES = (
    # ---- bounds
    Mistake("an order that nobody knows", rules(order=fact(lambda s: 4 if s.asked else s.was.order, first=NO_ORDER)), ("the order is a known one",)),
    Mistake("product on board is counted", rules(on_board=fact(lambda s: s.was.on_board + (1 if s.step == DRAW else 0), first=UNKNOWN, kept=True)),
            ("what is on board is known, or known to be unknown", "after a clean of a run the receiver is empty, or emptied again", "a receiver that draws has a batch on board")),
    Mistake("the hold reason is added up", rules(hold_reason=fact(lambda s: s.was.hold_reason + (1 if s.full_stands else 0), first=0)), ("the hold reason is a known one", "a hold has a reason")),
    Mistake("the clock of the step never stops", rules(in_step_ms=fact(lambda s: s.was.step_ms + s.dt_ms)), ("clocks count up from nothing and stop at a day",)),
    Mistake("waiting is counted from step to step", rules(waited_ms=fact(lambda s: s.was.waited_ms + s.dt_ms, first=0)), ("waiting is part of the time in the step",)),
    Mistake("fill time without an end", rules(filled_now_ms=fact(lambda s: s.was.filled_ms + s.dt_ms)), ("fill time is bounded",)),
    Mistake("a retry is allowed while retries are at their limit", rules(reopen_possible=fact(lambda s: s.level_settled and not s.vessel_full and s.was.flap_retries <= s.set.flap_retries_max)), ("re-openings are bounded",)),
    Mistake("opening is tried for ever", rules(open_retry_left=fact(lambda s: s.was.open_retries < 99)), ("second tries to open are bounded",)),
    Mistake("pulses are counted down", rules(rounds_done=fact(lambda s: s.was.rounds_done - (1 if s.pulse_given else 0), first=0)), ("pulses are counted from nothing",)),
    Mistake("one pulse too many", rules(recovered_next=fact(lambda s: s.recovered_step and s.was.rounds_done <= s.rounds_wanted)), ("pulses of a clean are bounded",)),
    Mistake("short batches are counted without end", rules(short_batches=fact(lambda s: s.was.short_batches + (1 if s.no_material_acts else 0), first=0)), ("counts are bounded",)),
    Mistake("a pause for air whatever the spacing", rules(resume_allowed=fact(lambda s: s.was.resumes_in_row < s.set.resumes_in_row_max)),
            ("a pause for air leaves room for the return", "the resume bucket never overflows", "returns from want of air keep their spacing")),
    # ---- signals
    Mistake("what watches may count down", replace(RECEIVER, facts=type("Mistaken", (Watched,), {"room_seen_ms": fact(lambda s: s.was.room_seen_ms - 1, first=0)})), ("what only watches counts from nothing", "room is seen by the probe itself")),
    Mistake("the switch is filtered by its change only", rules(closed_unsure=on_delay(lambda s: s.closed_gone, by="flap_lost_ms")),
            ("the clocks of the switches are the wires' own", "a closed switch that flutters for the lost-closed delay reads off")),
    Mistake("the closed switch latches", rules(flap_closed=fact(lambda s: s.closed_steady or s.was.flap_closed, first=False)),
            ("a closed switch that is off for its debounce reads off", "a closed switch that flutters for the lost-closed delay reads off",
             "the unproven flap is counted from the debounce on", "no source once the contact of the closed switch was open for debounce, delay and a scan")),
    Mistake("the closed switch bounces", rules(flap_closed=fact(lambda s: s.now.flap_closed_fb, first=False)), ("a closed switch is taken for made after its whole debounce only",)),
    Mistake("the open switch latches", rules(flap_open=fact(lambda s: s.open_steady or s.was.flap_open, first=False)), ("an open switch that is off for its debounce reads off",)),
    Mistake("proven closed is not open", rules(flap_proven=fact(lambda s: not s.flap_open)), ("proven closed is closed and not open",)),
    Mistake("proven open is not closed", rules(flap_open_proven=fact(lambda s: not s.flap_closed)), ("proven open is open and not closed",)),
    Mistake("vacuum is never read", rules(vacuum_read_pa=fact(lambda s: 0)), ("a good vacuum is what the loop reads, within its range",)),
    Mistake("a broken wire is a good vacuum", rules(vacuum_doubtful=fact(lambda s: s.now.vacuum_ua > 20_500)), ("a good vacuum is what the loop reads, within its range",)),
    Mistake("supply air is added up", rules(supply_pa_g=fact(lambda s: s.was.supply_pa_g + s.dt_ms, first=0)), ("supply air is what the loop reads, while it is within its range", "pressures are bounded")),
    Mistake("the level contact is read the wrong way", rules(level_free_long=on_delay(lambda s: s.level_seen and not s.now.level_free, by="level_on_ms")),
            ("room is seen by the probe itself", "the vessel is taken for not full after its probe was free for the on-delay only")),
    Mistake("the vessel is empty at power-up", rules(vessel_full=fact(lambda s: s.was.vessel_full if s.level_masked else s.level_covered_long, first=False)), ("the vessel is full at power-up until the probe has shown otherwise",)),
    Mistake("falling product is not masked", rules(pouring=fact(lambda s: s.was.flap_open_cmd and s.was.step == OPEN)), ("the mask of the level probe lasts at least as long as product can fall",)),
    Mistake("the level is forgotten while it is masked", rules(vessel_full=fact(lambda s: not s.level_masked and (s.level_covered_long or s.level_unsure or (s.was.vessel_full and not s.level_free_long)), first=True)),
            ("while product falls past the probe its fact stays", "the vessel is taken for not full after its probe was free for the on-delay only")),
    Mistake("the level is always settled", rules(level_settled=fact(lambda s: s.was.powered)), ("no batch begins with level high or unsettled",)),
    Mistake("a broken-off batch is never forgotten", rules(broken_off=fact(lambda s: s.was.broken_off or (s.was.step in DRAWING and s.step == LEVEL_HOLD), first=False)), ("only low air breaks a batch off that is gone on with",)),
    Mistake("the clean count runs backwards", rules(batches_since_clean=fact(lambda s: s.was.batches_since_clean - (1 if s.drained else 0), first=0, kept=True)), ("batches since a clean are bounded",)),
    # ---- faults
    Mistake("the stored fault is forgotten", rules(fault_stored=fact(lambda s: s.trip, first=False, kept=True)), ("a fault is remembered through power loss",)),
    Mistake("a fault row without a trip", rows(lambda r: r._replace(guard=Facts.stopped) if r.guard.name == "tripped" else r),
            ("a stored fault and its first-out go together", "a fault has a first-out", "a fault is entered by a trip, or by power-up with a stored one")),
    Mistake("a trip waits behind the other rows", replace(RECEIVER, facts=Watched, rows=(*[r for r in RECEIVER.rows if r.guard.name != "tripped"], *[r for r in RECEIVER.rows if r.guard.name == "tripped"])),
            ("a trip is a fault in the same scan, but at rest in manual mode", "lost I/O is a fault", "an open safety chain stops whatever runs", "under the very low limit of a supply transmitter nothing goes on working", "a drawing receiver trips when the flap is lost")),
    Mistake("a fault does not outlive the power", without_row("fault_at_power_up"), ("a stored fault is a fault after power-up",)),
    Mistake("start leaves a fault", rules(reset_accepted=fact(lambda s: (s.reset_edge or s.start_edge) and not s.reset_refused)), ("a fault is left by an accepted reset only, to rest only",)),
    Mistake("reset whatever the vacuum", without_refusal("vacuum_over_release"), ("no reset while good vacuum stands over the release threshold",)),
    Mistake("the vent is driven in a fault", output("vent_close_cmd", steps=(SEAL, *DRAWING, FAULT)), ("nothing that moves or feeds is energised in a fault, unless held by hand", "the vent is shut in suction only, or held by hand")),
    Mistake("the flap is opened by the reset", outputs(lambda o: o._replace(steps=(*o.steps, REST), when=None) if o.name == "flap_open_cmd" and o.remembered else o), ("a reset moves no actuator",)),
    Mistake("lost I/O is only told", interlocks(lambda i: i._replace(effect="warn") if i.name == "IO_LOST" else i), ("lost I/O is a fault",)),
    Mistake("the safety chain is looked at in suction only", interlocks(lambda i: i._replace(steps=DRAWING) if i.name == "SAFETY_CHAIN_OPEN" and i.effect == "trip" else i), ("an open safety chain stops whatever runs",)),
    Mistake("lost air is only told", interlocks(lambda i: i._replace(effect="warn") if i.name == "SUPPLY_AIR_LOST" else i), ("under the very low limit of a supply transmitter nothing goes on working",)),
    Mistake("a trip ends in a hold, and the first-out is kept there", replace(RECEIVER, facts=Watched, fault=LEVEL_HOLD, rows=tuple(r._replace(to=LEVEL_HOLD) if r.guard.name == "tripped" else r for r in RECEIVER.rows)),
            ("a stored fault and its first-out go together", "outside a fault there is no first-out")),
    Mistake("a fault without a trip, and rows that trip in it", replace(RECEIVER, facts=Watched, rows=tuple(r._replace(guard=Facts.stopped) if r.guard.name == "tripped" else r for r in RECEIVER.rows),
            interlocks=tuple(i._replace(effect="trip") if i.name == "IO_LOST" else i for i in RECEIVER.interlocks)),
            ("a stored fault and its first-out go together", "a fault has a first-out", "the first-out is kept until the reset")),
    # ---- runs
    Mistake("the run latch outlives a trip", rules(run=fact(lambda s: (s.was.run or s.start_accepted) and not (s.stop or s.halt or s.warn_cancelled), first=False)), ("the run latch is held for a run only", "no run latch at rest or in a fault", "a start held through a reset starts nothing")),
    Mistake("the level of the button starts", without_refusal("start_was_held"), ("a run begins with a fresh start edge only, at rest, when all is ready",)),
    Mistake("a start with the air low", without_refusal("supply_not_over"), ("a run begins with a fresh start edge only, at rest, when all is ready",)),
    Mistake("the button is remembered when it was taken only", rules(start_held=fact(lambda s: s.start_accepted, first=True)), ("start and reset are remembered as last seen",)),
    Mistake("orders in the first scan", without_refusal("powering_up"), ("no step but rest, or a fault, in the first scan",)),
    Mistake("a held button counts as an edge at power-up", replace(rules(start_held=fact(lambda s: s.start_wanted, first=False)), refusals=tuple(r for r in RECEIVER.refusals if r.fact.name != "powering_up")), ("a start held through power-up starts nothing",)),
    Mistake("rest goes straight to suction", rows(lambda r: r._replace(to=SEAL) if r.guard.name == "asked" else r), ("rest is left by an order only, and to the warning",)),
    Mistake("a warning cut short", rules(warned=fact(lambda s: s.in_step_ms + s.in_step_ms >= s.set.warning_ms)), ("the horn sounds its whole time before the first movement",)),
    Mistake("stop is a wish", rules(stop=fact(lambda s: s.now.stop_request)), ("stop and halt clear the run latch at once", "a stop in suction feeds no more")),
    Mistake("stop does not clear the latch", rules(run=fact(lambda s: (s.was.run or s.start_accepted) and not (s.halt or s.warn_cancelled or s.trip), first=False)), ("stop and halt clear the run latch at once",)),
    Mistake("an order that is forgotten in suction", rules(order=fact(lambda s: NO_ORDER if s.step in DRAWING else TO_RUN if s.start_accepted else s.was.order, first=NO_ORDER)),
            ("whatever is not at rest was ordered", "the run latch is held for a run only", "suction and hold belong to a run")),
    Mistake("a cancelled warning goes on", rules(called_off=fact(lambda s: s.readiness_lost)), ("a run that is warned of has its latch",)),
    Mistake("a stop in seal goes on", without_row("stopped"), ("suction before the draw goes on with the run latch only",)),
    Mistake("a stop waits for the fill time", without_row("stop_feeding"), ("a stop in suction feeds no more",)),
    Mistake("a halt is taken for a stop", without_row("halt"), ("a halt takes everything but the flap off",)),
    Mistake("a halt lets the flap go", rules(flap_frozen_open=fact(lambda s: s.was.halted and s.was.flap_open_cmd)), ("a halt freezes the flap output",)),
    Mistake("a found batch is dropped without a look at the level", without_row("warned_and_full"), ("an emptying after the warning is never begun onto a full vessel",)),
    # ---- the last word
    Mistake("the source runs on in vent", output("source_cmd", steps=(*DRAWING, VENT)), ("the source acts only while it draws, or held by hand",)),
    Mistake("the lost flap is counted from its switch alone", rules(flap_lost=on_delay(lambda s: not s.flap_closed, by="flap_lost_ms")), ("the clock of the lost flap is the watched one",)),
    Mistake("neither a last word on the source nor a trip", replace(output("source_cmd", unless=None), interlocks=tuple(i._replace(steps=(FAULT,)) if i.name == "FLAP_LOST_CLOSED" else i for i in RECEIVER.interlocks)),
            ("no source once the flap has been unproven for the lost-closed delay",)),
    Mistake("a lost flap is only told", interlocks(lambda i: i._replace(effect="warn") if i.name == "FLAP_LOST_CLOSED" else i), ("the last word never has to take the source off: the trip comes first", "a receiver that draws has its source on", "a drawing receiver trips when the flap is lost")),
    Mistake("the source runs while the flap opens", output("source_cmd", steps=(*DRAWING, OPEN)), ("never source and open flap together", "the source acts only while it draws, or held by hand", "the source acts only where it is called to")),
    Mistake("no last word on the flap", output("flap_open_cmd", unless=None), ("flap-open is first given with good vacuum under the release threshold",)),
    Mistake("a doubtful signal lets the flap go", rules(release_known=fact(lambda s: s.under_release)), ("without a good vacuum signal flap-open waits its full time after source off",)),
    Mistake("clean forgets the level", rules(full_for_order=fact(lambda s: s.vessel_full and s.was.order == NO_ORDER)), ("flap-open is not first given onto a full vessel by clean or empty",)),
    Mistake("a pulse into a closing flap", rules(pulse_barred=fact(lambda s: s.source_cmd)), ("a pulse is given with the flap proven open only, but off-line",)),
    Mistake("a pulse as long as the step", rules(pulse_rested=fact(lambda s: s.was.powered), pulse_barred=fact(lambda s: not s.flap_open_proven or s.source_cmd)), ("no pulse goes on once it lasted its maximum", "no pulse goes on once it lasted its preset", "two pulses are never closer than the minimum")),
    Mistake("feed from draw on", output("feed_cmd", steps=(DRAW, CONVEY)), ("the feed permissive is given in convey only, or held by hand",)),
    Mistake("purge while conveying", output("purge_cmd", steps=(PURGE, CONVEY, CLEAR)), ("the purge valve opens in purge and clear only, or held by hand",)),
    Mistake("the vent is shut while emptying", output("vent_close_cmd", steps=(SEAL, *DRAWING, OPEN)), ("the vent is shut in suction only, or held by hand",)),
    Mistake("vacuum withdraws the open flap", rules(flap_open_barred=fact(lambda s: not s.release_known or s.source_cmd or s.full_for_order)), ("neither vacuum nor level withdraws flap-open",)),
    Mistake("a frozen flap is let go with the horn", rules(flap_frozen_open=fact(lambda s: s.halted and s.was.flap_open_cmd and s.step == REST)), ("a flap frozen open stays so until the horn is over",)),
    # ---- batches
    Mistake("a drain that tripped has emptied", rules(on_board=fact(lambda s: BATCH if s.step in DRAWING else EMPTY if s.drained else s.was.on_board, first=UNKNOWN, kept=True)),
            ("a receiver is emptied by a drain that ended, not by one that tripped", "after power-up what is on board is unknown, unless it stood at rest with nothing")),
    Mistake("a line is forgotten in a fault", rules(line_loaded=fact(lambda s: s.step in (DRAW, CONVEY) or (s.was.line_loaded and not s.line_cleared and s.step != FAULT), first=True, kept=True)), ("a loaded line is cleared by clear, or by a batch that ended empty",)),
    Mistake("fill time stands still in a batch broken off", rules(filled_now_ms=fact(lambda s: s.was.filled_ms + (s.dt_ms if s.was.step in (PURGE, CONVEY) and not s.was.broken_off else 0))), ("fill time runs in purge and convey, all of it",)),
    Mistake("a resumed batch is filled anew", rules(fill_over=fact(lambda s: s.in_step_ms >= s.set.fill_ms)), ("no batch conveys beyond its fill time",)),
    Mistake("a stop in draw is looked at later", rows(lambda r: None if r.guard.name == "stopped" and DRAW in r.steps else r), ("a stop before convey conveys no more",)),
    Mistake("the flap re-opens whatever stands below or above it", rules(reopen_possible=fact(lambda s: s.was.flap_retries < s.set.flap_retries_max)), ("the flap re-opens with the vessel clear, nothing on board, and retries left only",)),
    Mistake("the first scan does not know that it is", rules(powered=fact(lambda s: s.step == WARNING, first=False)), ("only the first scan after power-up is the first",)),
    Mistake("rest is left in the first scan", rows(lambda r: r._replace(guard=Facts.powering_up) if r.guard.name == "asked" else r), ("no step but rest, or a fault, in the first scan", "rest is left by an order only, and to the warning", "whatever is not at rest was ordered")),
    Mistake("an emptied receiver after half a drain", rules(on_board=fact(lambda s: BATCH if s.step in DRAWING else EMPTY if s.step == OPEN else s.was.on_board, first=UNKNOWN, kept=True)), ("on board becomes no a whole emptying time after the flap was proven open only",)),
    Mistake("the line counts as loaded from convey on", rules(line_loaded=fact(lambda s: s.step == CONVEY or (s.was.line_loaded and s.step != SEAL), first=True, kept=True)), ("a line that was fed counts as loaded",)),
    Mistake("clean with a batch on board", without_refusal("batch_perhaps_on_board"), ("a clean alone is done with nothing on board",)),
    Mistake("a found batch is forgotten", without_row("warned_with_batch"), ("suction is begun empty, or with a batch broken off by air",)),
    Mistake("a hold ends in suction whatever is on board", without_row("hold_over_with_batch"), ("suction is begun empty, or with a batch broken off by air", "no batch on top of another")),
    Mistake("fill time begins anew after air", rules(filled_ms=fact(lambda s: s.filled_now_ms if s.step in (PURGE, DRAW, CONVEY) else 0, first=0)), ("a batch broken off by air goes on with its fill time",)),
    Mistake("seal does not wait for the level", rules(sealed=fact(lambda s: s.flap_proven and s.in_step_ms >= s.set.tank_charge_ms and not s.vessel_full)), ("no batch begins with level high or unsettled",)),
    Mistake("seal does not wait for the flap", rules(sealed=fact(lambda s: s.in_step_ms >= s.set.tank_charge_ms and s.level_settled and not s.vessel_full)), ("a batch begins with the flap proven closed, unless the vacuum closes it", "the trip counts the lost flap as long as the last word does")),
    Mistake("a loaded line is not purged", without_row("sealed_line_loaded"), ("a line left loaded is purged first",)),
    Mistake("a recovery is not cleaned", rules(clean_due=fact(lambda s: s.drain_over and s.rounds_wanted > 0 and s.last_clean)), ("a recovery emptying is followed by a clean",)),
    Mistake("a hold that stands with no reason", rules(hold_over=fact(lambda s: not s.full_stands and not s.starved_stands and not s.air_stands and s.flap_proven)), ("a hold has a reason",)),
    Mistake("a hold is left by itself after a stop", rows(lambda r: r._replace(steps=(SEAL, REOPEN)) if r.guard.name == "stopped" else r), ("a hold is left towards motion with the run latch only",)),
    # ---- trips
    *(
        Mistake(f"{name} is only told", interlocks(lambda i, name=name: i._replace(effect="warn", allowed=()) if i.name == name else i), (claim,))
        for name, claim in (
            *((n, f"{n} is a trip wherever it is looked at") for n in ("FLAP_LOST_OPEN", "FLAP_NOT_OPEN", "FLAP_MOVED", "NO_VACUUM", "LINE_BLOCKED", "VACUUM_NOT_RELEASED", "OUTPUT_OVERRIDDEN", "STEP_TOO_LONG")),
            ("FLAP_NOT_CLOSED", "FLAP_NOT_CLOSED in seal is a trip wherever it is looked at"),
            ("FLAP_DISAGREES", "FLAP_DISAGREES while it works is a trip wherever it is looked at"),
            ("SIGNAL_BAD", "SIGNAL_BAD while vacuum is needed is a trip wherever it is looked at"),
        )
    ),
    # ---- times
    Mistake("a step without a backstop", interlocks(lambda i: i._replace(steps=tuple(k for k in i.steps if k != SEAL)) if i.name == "STEP_TOO_LONG" else i), ("each working step is bounded",)),
    Mistake("waiting with the flap open for ever", interlocks(lambda i: None if i.cause.name == "open_wait_over" else i), ("waiting for air with the flap open is bounded",)),
    Mistake("the wait in open is not counted", rules(waited_ms=fact(lambda s: 0, first=0)), ("waiting in a step is counted",)),
    *OF_OPTIONS,
    Mistake("a warning that never ends", without_row("warned"), ("the warning is bounded",)),
    Mistake("a pause that lasts while product is short", rules(starved_stands=fact(lambda s: s.starved)), ("a pause for want of material is bounded",)),
)  # fmt: skip

UNPLANTABLE = {
    "the step is a known one": "the reader refuses a row to a step that is not there",
}
