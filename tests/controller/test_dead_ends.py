"""The receiver always finds its way back, and no batch meets another: searched in an abstract world."""

import random
from dataclasses import replace

import pytest

from controller.engines.dead_ends import STUCK, DeadEnds
from controller.engines.generated import flat, interpreted
from controller.engines.station_kinds import HELD, KINDS
from controller.engines.station_worlds import DRIVES, DT_MS
from controller.image import Inputs, Outputs
from controller.sequence.definition import fact
from controller.sequence.last_word import Facts
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import BATCH, CONVEY, EMPTY, FAULT, FEEDBACK_OPEN, REOPEN, Step

LOGIC = Logic(RECEIVER)
KIND = {k.name: k for k in KINDS}
SWINGS = [k.name for k in KINDS if k.presets.flap_kind > 0]
DEEP = {"low air trips": 24_000, "low air waits": 24_000} | dict.fromkeys(SWINGS, 20_000)
"""Searched until every order of three events was tried; the others of two."""


def spoken(kind):
    return kind.name.replace(" ", "_")


def never_reopens(presets):
    """No valve opens it, or no switch shows a lump on the seat."""
    return presets.flap_kind > 0 or presets.flap_feedback == FEEDBACK_OPEN


@pytest.mark.parametrize("kind", KINDS, ids=spoken)
def test_every_state_has_a_way_back_to_a_delivering_receiver(kind):
    searched = DeadEnds(LOGIC, kind).run(DEEP.get(kind.name, 12_000))
    assert not searched.found, searched.found[0]
    assert searched.steps >= set(Step) - ({REOPEN} if never_reopens(kind.presets) else set())
    assert searched.events >= (3 if kind.name in DEEP else 2), "every order of so many events, whole"


# ---- planted -----------------------------------------------------------------------------------------
def without_row(guard: str):
    return replace(RECEIVER, rows=tuple(r for r in RECEIVER.rows if r.guard.name != guard))


def rules(**changed):
    return replace(RECEIVER, facts=type("Mistaken", (Facts,), changed))


FALSE = fact(lambda s: s.dt_ms < 0)
DEAD_ENDS = {
    "a fault without a reset": ("low air trips", without_row("reset_accepted")),
    "a hold that nothing ends": ("low air trips", without_row("hold_over")),
    "a reset that asks for the place of the flap": ("low air trips", rules(reset_accepted=fact(lambda s: s.reset_edge and not s.reset_refused and s.flap_open_proven))),
    "a motor that is never allowed to start": ("motor without bypass", rules(motor_rested=FALSE)),
    "a motor on bypass that is never allowed to start": ("motor with bypass", rules(motor_may_start=FALSE)),
    "a hanging flap that trips for ever": ("flap held by vacuum", rules(stays_shut=fact(lambda s: s.open_late and not s.open_retry_left and not s.wait), opened=fact(lambda s: s.flap_open_proven))),
    "a held batch that is never dropped": ("batch held, refill on low", rules(hold_over=fact(lambda s: not s.full_stands and s.was.on_board != BATCH))),
    "a manual mode that keeps the run latch out": ("manual mode", rules(manual=fact(lambda s: s.manual_accepted or s.was.manual, first=False))),
    "a vessel that nobody is asked to look into": ("wanted, hopper, not seen", rules(level_certain=fact(lambda s: s.level_covered_long))),
    "a start that is never heard from afar": ("remote and local", rules(start_from_remote=FALSE)),
}  # fmt: skip


@pytest.mark.parametrize("mistake", DEAD_ENDS, ids=lambda m: m.replace(" ", "_"))
def test_a_planted_dead_end_is_found(mistake):
    kind, definition = DEAD_ENDS[mistake]
    searched = DeadEnds(Logic(definition), KIND[kind]).run(6_000, until=STUCK)
    assert STUCK in [f.what for f in searched.found], f"{searched.states} states, {searched.found}"


FORBIDDEN = {
    # a hanging flap that something keeps off its seat: the vacuum cannot pull it in
    "that is not closed": ("flap held by vacuum", rules(not_pulled_in=FALSE, source_barred=FALSE, no_vacuum_yet=FALSE)),
    # the world counts what is really in the body, whatever the memory says
    "on top of another": ("low air trips", rules(on_board=fact(lambda s: BATCH if s.step == CONVEY else EMPTY, first=EMPTY, kept=True))),
    # a batch on board that a start does not look for
    "drawn on top of another": ("low air trips", without_row("warned_with_batch")),
    # a lump on the seat: the flap stands between its switches
    "not closed": ("low air trips", rules(flap_proven=fact(lambda s: not s.flap_open), sealed=fact(lambda s: s.level_settled and not s.vessel_full))),
    "on a covered probe": ("low air trips", rules(vessel_full=fact(lambda s: s.was.vessel_full and not s.level_free_long, first=True))),
    "over a full vessel": ("batch held, refill on low", rules(held_before_drop=FALSE, full_below_policy=FALSE)),
}  # fmt: skip


@pytest.mark.parametrize("what", FORBIDDEN, ids=lambda m: m.replace(" ", "_"))
def test_a_planted_thing_that_must_not_be_is_found(what):
    kind, definition = FORBIDDEN[what]
    searched = DeadEnds(Logic(definition), KIND[kind]).run(20_000, until=what)
    assert any(what in f.what for f in searched.found), f"{searched.states} states, {searched.found}"


# ---- what is left out or made equal makes no difference ----------------------------------------------
SPARSE = {
    "start_spacing_ms": 60_000,
    "resume_spacing_ms": 300_000,
}  # no hour is ever full: hours are shortened
SCAN = interpreted(LOGIC)


def pulse_is_a_pulse(out):
    """Which group it is makes no difference."""
    return [bool(v) for v in (*out[:4], any(out[4:7]), out[7])]


@pytest.mark.parametrize("kind", KINDS, ids=spoken)
def test_the_scan_of_a_kind_does_what_the_whole_scan_does(kind):
    """Random people and moods: the outputs and the step are the same as without caps and folding."""
    kind = kind._replace(presets=kind.presets._replace(**SPARSE))
    search, rnd = DeadEnds(LOGIC, kind), random.Random(5)
    names, fields = list(LOGIC.memory), Outputs._fields
    whole, presets = flat(LOGIC), [int(v) for v in kind.presets]
    outputs, acts = [0] * len(fields), [0] * len(LOGIC.interlock_names)
    state = search.start
    steps = set()
    for _ in range(700):
        events = {event: rest for event, *rest in search.events(*state)}
        step = search.value(state[0], "step")
        likely = "reset" if step == FAULT else "start"
        event = rnd.choices(["nothing", likely, rnd.choice(list(events))], [8, 2, 1])[0]
        memory, world, people = events[event]
        if event == "power cycle":
            whole = flat(LOGIC, {n: whole[names.index(n)] for n in LOGIC.kept})
        points = HELD | search.physics.wires(search.worlds.things[world]) | people
        SCAN(whole, [int(points[n]) for n in Inputs._fields], presets, DT_MS, outputs, acts)
        _, out = search.station.scan(search.memories.things[memory], search.points(world, people))
        state, _ = search.advance(memory, world, people)
        assert pulse_is_a_pulse(out) == pulse_is_a_pulse([outputs[fields.index(n)] for n in DRIVES]), event
        steps.add(search.value(state[0], "step"))
        assert search.value(state[0], "step") == whole[names.index("step")], event
    assert len(steps) > 8
