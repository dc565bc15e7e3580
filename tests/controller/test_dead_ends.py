"""The receiver always finds its way back, and no batch meets another: searched in an abstract world."""

from dataclasses import replace

import pytest

from controller.engines.dead_ends import DeadEnds
from controller.sequence.definition import fact
from controller.sequence.last_word import Facts
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import BATCH, CONVEY, EMPTY, Step


@pytest.mark.parametrize("wait", [False, True], ids=["low_air_trips", "low_air_waits"])
def test_every_state_has_a_way_back_to_a_delivering_receiver(wait):
    searched = DeadEnds(Logic(RECEIVER), wait=wait).run(states_max=24_000)
    assert not searched.found, searched.found[0]
    assert searched.steps == set(Step)
    assert searched.events >= 3, "every order of three events was tried, whole"


def without_row(guard: str):
    return replace(RECEIVER, rows=tuple(r for r in RECEIVER.rows if r.guard.name != guard))


def rules(**changed):
    return replace(RECEIVER, facts=type("Mistaken", (Facts,), changed))


DEAD_ENDS = {
    "a fault without a reset": without_row("reset_accepted"),
    "a hold that nothing ends": without_row("hold_over"),
    "a batch on board that is never looked for": without_row("warned_with_batch"),
    "a reset that asks for the place of the flap": rules(reset_accepted=fact(lambda s: s.reset_edge and not s.reset_refused and s.flap_open_proven)),
}  # fmt: skip


@pytest.mark.parametrize("mistake", DEAD_ENDS, ids=lambda m: m.replace(" ", "_"))
def test_a_planted_dead_end_is_found(mistake):
    searched = DeadEnds(Logic(DEAD_ENDS[mistake]), wait=False).run(states_max=6_000)
    assert searched.found, f"{mistake}: not found in {searched.states} states"


def test_a_batch_on_top_of_another_is_found():
    """The world counts what is really in the body, whatever the memory says."""
    forgets = rules(on_board=fact(lambda s: BATCH if s.step == CONVEY else EMPTY, first=EMPTY, kept=True))
    searched = DeadEnds(Logic(forgets), wait=False).run(states_max=6_000)
    assert any("on top of another" in f.what for f in searched.found)


def test_a_draw_through_a_half_open_flap_is_found():
    """The world looks where the flap really stands: with a lump on the seat it is between its switches."""
    half = rules(
        flap_proven=fact(lambda s: not s.flap_open),
        sealed=fact(lambda s: s.level_settled and not s.vessel_full),
    )
    searched = DeadEnds(Logic(half), wait=False).run(states_max=6_000)
    assert any("not closed" in f.what for f in searched.found)
