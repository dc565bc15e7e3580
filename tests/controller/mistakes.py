"""
Mistakes planted in the definition of the receiver: each must turn the claims beside it red.

A claim counts once it was seen red. Each mistake here is one that a person could make: a forgotten line of a
table, a guard that asks too little, a memory that forgets too early or not at all.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, NamedTuple

from controller.engines.claims import Watched
from controller.sequence.definition import DAY_MS, Definition, fact, on_delay
from controller.sequence.guards import Facts
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
    PULSE,
    PURGE,
    RECOVER,
    REOPEN,
    REST,
    SEAL,
    TO_RUN,
    UNKNOWN,
    VENT,
    WARNING,
)  # fmt: skip


class Mistake(NamedTuple):
    """What was done wrong, how, and which claims must see it."""

    what: str
    definition: Definition
    seen_by: tuple[str, ...]


def rules(**changed: fact[Any]) -> Definition:
    """The receiver with other rules for some facts."""
    return replace(RECEIVER, facts=type("Mistaken", (Watched,), changed))


def rows(change: Callable[[Any], Any]) -> Definition:
    """The receiver with each row changed, or dropped where None is answered."""
    changed = tuple(r for r in map(change, RECEIVER.rows) if r is not None)
    return replace(RECEIVER, facts=Watched, rows=changed)


def without_row(guard: str) -> Definition:
    """The receiver without the rows of a guard."""
    return rows(lambda r: None if r.guard.name == guard else r)


def interlocks(change: Callable[[Any], Any]) -> Definition:
    """The receiver with each interlock line changed, or dropped where None is answered."""
    changed = tuple(i for i in map(change, RECEIVER.interlocks) if i is not None)
    return replace(RECEIVER, facts=Watched, interlocks=changed)


def outputs(change: Callable[[Any], Any]) -> Definition:
    """The receiver with each output line changed."""
    return replace(RECEIVER, facts=Watched, output_lines=tuple(map(change, RECEIVER.output_lines)))


def output(name: str, **changed: Any) -> Definition:
    """The receiver with the lines of one output changed."""
    return outputs(lambda o: o._replace(**changed) if o.name == name else o)


def without_refusal(cause: str) -> Definition:
    """The receiver without a reason to refuse."""
    kept = tuple(r for r in RECEIVER.refusals if r.fact.name != cause)
    return replace(RECEIVER, facts=Watched, refusals=kept)


MISTAKES = (
    # ---- bounds
    Mistake("an order that nobody knows", rules(order=fact(lambda s: 4 if s.asked else s.was.order, first=NO_ORDER)), ("the order is a known one",)),
    Mistake("product on board is counted", rules(on_board=fact(lambda s: s.was.on_board + (1 if s.step == DRAW else 0), first=UNKNOWN, kept=True)),
            ("what is on board is known, or known to be unknown", "after a clean of a run the receiver is empty", "a receiver that draws has a batch on board")),
    Mistake("the hold reason is added up", rules(hold_reason=fact(lambda s: s.was.hold_reason + (1 if s.full_stands else 0), first=0)), ("the hold reason is a known one", "a hold has a reason")),
    Mistake("the clock of the step never stops", rules(in_step_ms=fact(lambda s: s.was.step_ms + s.dt_ms)), ("clocks count up from nothing and stop at a day",)),
    Mistake("the time to open runs on after open", rules(open_ms=fact(lambda s: min(s.was.open_ms + s.dt_ms, DAY_MS), first=0)), ("the time to open is part of the time in the step",)),
    Mistake("fill time without an end", rules(filled_now_ms=fact(lambda s: s.was.filled_ms + s.dt_ms)), ("fill time is bounded",)),
    Mistake("a retry is allowed while retries are at their limit", rules(reopen_possible=fact(lambda s: s.level_settled and not s.vessel_full and s.was.flap_retries <= s.set.flap_retries_max)), ("re-openings are bounded",)),
    Mistake("opening is tried for ever", rules(open_retry_left=fact(lambda s: s.was.open_retries < 99)), ("second tries to open are bounded",)),
    Mistake("pulses are counted down", rules(pulses_done=fact(lambda s: s.was.pulses_done - (1 if s.was.step == PULSE and s.step == RECOVER else 0), first=0)), ("pulses are counted from nothing",)),
    Mistake("one pulse too many", rules(recovered_next=fact(lambda s: s.recovered and s.was.pulses_done <= s.pulses_wanted)), ("pulses of a clean are bounded",)),
    Mistake("short batches are counted without end", rules(short_batches=fact(lambda s: s.was.short_batches + (1 if s.no_material_acts else 0), first=0)), ("counts are bounded",)),
    Mistake("a pause for air whatever the spacing", rules(resume_allowed=fact(lambda s: s.was.resumes_in_row < s.set.resumes_in_row_max)),
            ("a pause for air leaves room for the return", "the resume bucket never overflows", "returns from want of air keep their spacing")),
    # ---- faults
    Mistake("the stored fault is forgotten", rules(fault_stored=fact(lambda s: s.trip, first=False, kept=True)), ("a fault is remembered through power loss",)),
    Mistake("a fault row without a trip", rows(lambda r: r._replace(guard=Facts.stopped) if r.guard.name == "trip" else r),
            ("a stored fault and its first-out go together", "a fault has a first-out", "a fault is entered by a trip, or by power-up with a stored one")),
    Mistake("a trip waits behind the other rows", replace(RECEIVER, facts=Watched, rows=(*[r for r in RECEIVER.rows if r.guard.name != "trip"], *[r for r in RECEIVER.rows if r.guard.name == "trip"])),
            ("a trip is a fault in the same scan", "lost I/O is a fault", "an open safety chain stops whatever runs", "under the very low limit nothing goes on working", "a drawing receiver trips when the flap is lost")),
    Mistake("a fault does not outlive the power", without_row("fault_at_power_up"), ("a stored fault is a fault after power-up",)),
    Mistake("start leaves a fault", rules(reset_accepted=fact(lambda s: (s.reset_edge or s.start_edge) and not s.reset_refused)), ("a fault is left by an accepted reset only, to rest only",)),
    Mistake("reset whatever the vacuum", without_refusal("vacuum_over_release"), ("no reset while good vacuum stands over the release threshold",)),
    Mistake("the vent is driven in a fault", output("vent_close_cmd", steps=(SEAL, *DRAWING, FAULT)), ("nothing that moves or feeds is energised in a fault", "the vent is shut in suction only")),
    Mistake("the flap is opened by the reset", outputs(lambda o: o._replace(steps=(*o.steps, REST), when=None) if o.name == "flap_open_cmd" and o.when is None else o), ("a reset moves no actuator",)),
    Mistake("lost I/O is only told", interlocks(lambda i: i._replace(effect="warn") if i.name == "IO_LOST" else i), ("lost I/O is a fault",)),
    Mistake("the safety chain is looked at in suction only", interlocks(lambda i: i._replace(steps=DRAWING) if i.name == "SAFETY_CHAIN_OPEN" and i.effect == "trip" else i), ("an open safety chain stops whatever runs",)),
    Mistake("lost air is only told", interlocks(lambda i: i._replace(effect="warn") if i.name == "SUPPLY_AIR_LOST" else i), ("under the very low limit nothing goes on working",)),
    Mistake("a trip ends in a hold, and the first-out is kept there", replace(RECEIVER, facts=Watched, fault=LEVEL_HOLD, rows=tuple(r._replace(to=LEVEL_HOLD) if r.guard.name == "trip" else r for r in RECEIVER.rows)),
            ("a stored fault and its first-out go together", "outside a fault there is no first-out")),
    Mistake("a fault without a trip, and rows that trip in it", replace(RECEIVER, facts=Watched, rows=tuple(r._replace(guard=Facts.stopped) if r.guard.name == "trip" else r for r in RECEIVER.rows),
            interlocks=tuple(i._replace(steps=(*i.steps, FAULT)) if i.name == "IO_LOST" else i for i in RECEIVER.interlocks)),
            ("a stored fault and its first-out go together", "a fault has a first-out", "the first-out is kept until the reset")),
    # ---- runs
    Mistake("the run latch outlives a trip", rules(run=fact(lambda s: (s.was.run or s.start_accepted) and not (s.stop or s.halt or s.warn_cancelled), first=False)), ("no run latch at rest or in a fault", "a start held through a reset starts nothing")),
    Mistake("the level of the button starts", rules(start_edge=fact(lambda s: s.start_wanted)), ("a run begins with a fresh start edge only, at rest, when all is ready",)),
    Mistake("start is not asked for its edge", rules(start_accepted=fact(lambda s: s.start_wanted and not s.start_refused and not s.stop and not s.halt)), ("a run begins with a fresh start edge only, at rest, when all is ready",)),
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
    Mistake("a cancelled warning goes on", rules(warn_cancelled=fact(lambda s: s.was.step == WARNING and s.not_ready)), ("a run that is warned of has its latch",)),
    Mistake("a stop in seal goes on", without_row("stopped"), ("suction before the draw goes on with the run latch only",)),
    Mistake("a stop waits for the fill time", without_row("stop_feeding"), ("a stop in suction feeds no more",)),
    Mistake("a halt is taken for a stop", without_row("halt"), ("a halt takes everything but the flap off",)),
    Mistake("a halt lets the flap go", rules(flap_frozen_open=fact(lambda s: s.was.halted and s.was.flap_open_cmd)), ("a halt freezes the flap output",)),
    Mistake("a found batch is dropped without a look at the level", without_row("warned_and_full"), ("an emptying after the warning is never begun onto a full vessel",)),
    # ---- the last word
    Mistake("the source runs on in vent", output("source_cmd", steps=(*DRAWING, VENT)), ("the source acts only while it draws",)),
    Mistake("the lost flap is counted from its switch alone", rules(flap_lost=on_delay(lambda s: not s.flap_closed, by="flap_lost_ms")), ("the clock of the lost flap is the watched one",)),
    Mistake("neither a last word on the source nor a trip", replace(output("source_cmd", unless=None), interlocks=tuple(i for i in RECEIVER.interlocks if i.name != "FLAP_LOST_CLOSED")),
            ("no source once the flap has been unproven for the lost-closed delay",)),
    Mistake("a lost flap is only told", interlocks(lambda i: i._replace(effect="warn") if i.name == "FLAP_LOST_CLOSED" else i), ("the last word never has to take the source off: the trip comes first", "a drawing receiver trips when the flap is lost")),
    Mistake("the source runs while the flap opens", output("source_cmd", steps=(*DRAWING, OPEN)), ("never source and open flap together", "the source acts only while it draws", "the last word never has to take the source off: the trip comes first")),
    Mistake("no last word on the flap", output("flap_open_cmd", unless=None), ("flap-open is first given with good vacuum under the release threshold",)),
    Mistake("a doubtful signal lets the flap go", rules(release_known=fact(lambda s: s.under_release)), ("without a good vacuum signal flap-open waits its full time after source off",)),
    Mistake("clean forgets the level", rules(full_for_order=fact(lambda s: s.vessel_full and s.was.order == NO_ORDER)), ("flap-open is not first given onto a full vessel by clean or empty",)),
    Mistake("a pulse into a closing flap", rules(pulse_barred=fact(lambda s: s.source_cmd)), ("a pulse is given with the source off and the flap proven open only",)),
    Mistake("a pulse as long as the step", rules(pulse_barred=fact(lambda s: not s.flap_open_proven or s.source_cmd)), ("no pulse is longer than its maximum", "no pulse is longer than its preset", "two pulses are never closer than the minimum")),
    Mistake("feed from draw on", output("feed_cmd", steps=(DRAW, CONVEY)), ("the feed permissive is given in convey only",)),
    Mistake("purge while conveying", output("purge_cmd", steps=(PURGE, CONVEY, CLEAR)), ("the purge valve opens in purge and clear only",)),
    Mistake("the vent is shut while emptying", output("vent_close_cmd", steps=(SEAL, *DRAWING, OPEN)), ("the vent is shut in suction only",)),
    # ---- batches
    Mistake("the first scan does not know that it is", rules(powered=fact(lambda s: s.step == WARNING, first=False)), ("only the first scan after power-up is the first",)),
    Mistake("rest is left in the first scan", rows(lambda r: r._replace(guard=Facts.powering_up) if r.guard.name == "asked" else r), ("no step but rest, or a fault, in the first scan", "rest is left by an order only, and to the warning", "whatever is not at rest was ordered")),
    Mistake("an emptied receiver after half a drain", rules(on_board=fact(lambda s: BATCH if s.step in DRAWING else EMPTY if s.step == OPEN else s.was.on_board, first=UNKNOWN, kept=True)), ("on board becomes no after a whole drain only",)),
    Mistake("the line counts as loaded from convey on", rules(line_loaded=fact(lambda s: s.step == CONVEY or (s.was.line_loaded and s.step != SEAL), first=True, kept=True)), ("a line that was fed counts as loaded",)),
    Mistake("clean with a batch on board", without_refusal("batch_perhaps_on_board"), ("a clean alone is done with nothing on board",)),
    Mistake("a found batch is forgotten", without_row("warned_with_batch"), ("suction is begun empty, or with a batch broken off by air",)),
    Mistake("a hold ends in suction whatever is on board", without_row("hold_over_with_batch"), ("suction is begun empty, or with a batch broken off by air", "no batch on top of another")),
    Mistake("fill time begins anew after air", rules(filled_ms=fact(lambda s: s.filled_now_ms if s.step in (PURGE, DRAW, CONVEY) else 0, first=0)), ("a batch broken off by air goes on with its fill time",)),
    Mistake("seal does not wait for the level", rules(sealed=fact(lambda s: s.flap_proven and s.in_step_ms >= s.set.tank_charge_ms and not s.vessel_full)), ("no batch begins with level high or unsettled",)),
    Mistake("seal does not wait for the flap", rules(sealed=fact(lambda s: s.in_step_ms >= s.set.tank_charge_ms and s.level_settled and not s.vessel_full)), ("a batch begins with the flap proven closed", "the trip counts the lost flap as long as the last word does")),
    Mistake("a loaded line is not purged", without_row("sealed_line_loaded"), ("a line left loaded is purged first",)),
    Mistake("a recovery is not cleaned", rules(clean_due=fact(lambda s: s.drained and s.pulses_wanted > 0 and s.last_clean)), ("a recovery emptying is followed by a clean",)),
    Mistake("a hold that stands with no reason", rules(hold_over=fact(lambda s: not s.full_stands and not s.starved_stands and not s.air_stands and s.flap_proven)), ("a hold has a reason",)),
    Mistake("a hold is left by itself after a stop", rows(lambda r: r._replace(steps=(SEAL, REOPEN)) if r.guard.name == "stopped" else r), ("a hold is left towards motion with the run latch only",)),
    # ---- times
    Mistake("a step without a backstop", interlocks(lambda i: i._replace(steps=tuple(k for k in i.steps if k != SEAL)) if i.name == "STEP_TOO_LONG" else i), ("each working step is bounded",)),
    Mistake("waiting with the flap open for ever", interlocks(lambda i: None if i.cause.name == "open_wait_over" else i), ("waiting for air with the flap open is bounded",)),
    Mistake("the wait in open is not counted", rules(open_wait_ms=fact(lambda s: 0, first=0)), ("all the time in open is opening or waiting",)),
    Mistake("a warning that never ends", without_row("warned"), ("the warning is bounded",)),
    Mistake("a pause that lasts while product is short", rules(starved_stands=fact(lambda s: s.starved)), ("a pause for want of material is bounded",)),
)  # fmt: skip

UNPLANTABLE = {
    "the step is a known one": "the reader refuses a row to a step that is not there",
}
