"""A running rig says why it stands where it does, and what bars the way on."""

import asyncio

from live.rigs import STATION, Driven, stuck
from panel.rigs import NotingRig
from panel.test_cli_panel import receiver, running
from panel.test_cli_panel import runtime as runtime
from panel.test_real_rig import Stepped

from controller.events import EVENTS
from controller.live.panel_rig import WHY_MS
from controller.panel.messages import WhyAsked
from controller.sequence.steps import Step
from controller.sheets.fitted import fitted


def test_a_fault_is_told_with_its_trip_cause_remedy_and_what_a_reset_and_a_start_would_be_answered():
    driven = stuck()
    why = driven.panel.why()
    (raised,) = (detail for what, detail in driven.told("FLAP_NOT_CLOSED") if what == "raised")
    row = EVENTS["FLAP_NOT_CLOSED"].at(fitted(STATION))
    assert (why.trip.id, why.trip.step, why.trip.facts) == (
        "FLAP_NOT_CLOSED",
        "SEAL",
        tuple(raised.split("; ")),
    )
    assert (why.trip.cause, why.trip.to_do) == (row.cause, row.action)
    assert why.refused["reset"] == ()
    assert "a fault stands: reset first" in why.refused["start"]
    driven.press("reset_pb")
    assert driven.rig.memory.step == Step.REST


def test_what_it_says_of_a_reset_is_what_the_reset_is_answered():
    driven = stuck()
    driven.machine.press("safety_chain_healthy", 0)
    driven.run(200)
    said = driven.panel.why().refused["reset"]
    driven.press("reset_pb")
    ((_, answered),) = (told for told in driven.told("COMMAND_REFUSED") if told[0].startswith("reset"))
    assert said
    assert "; ".join(said) == answered


def test_a_hold_or_a_step_that_waits_says_for_what_and_what_holds_it_back():
    driven = Driven()
    driven.run(1_000)
    why = driven.panel.why()
    assert why.trip is None
    assert why.refused == {"start": ()}
    driven.press("start_pb")
    driven.run_until(Step.CONVEY)
    why = driven.panel.why()
    assert "the receiver is not at rest" in why.refused["start"]
    assert any(to == "VENT" or to == "CLEAR" for to, _, held_back in why.waits if held_back)


def test_asking_moves_nothing():
    driven = stuck()
    memory, outputs = driven.rig.memory, driven.rig.outputs
    driven.panel.why()
    assert (driven.rig.memory, driven.rig.outputs) == (memory, outputs)
    assert driven.rig.desk.given(driven.rig.inputs, 0) == []


def test_the_command_line_prints_it(monkeypatch):
    driven = stuck()
    rig = NotingRig(state="FAULT", step="FAULT", told="FLAP_NOT_CLOSED")
    monkeypatch.setattr(rig, "why", driven.panel.why)
    with running(rig):
        done = receiver("why", "buckwheat_mill")
        document = receiver("why", "buckwheat_mill", "--json")
    assert done.exit_code == 0
    for part in (
        "TRIP FLAP_NOT_CLOSED",
        "  facts: ",
        "  cause: ",
        "  to do: isolate",
        "reset here, now: would be accepted",
        "FLAP_NOT_CLOSED is not proved mended by the reset: looked at in SEAL",
    ):
        assert part in done.output
    assert '"to_do":' in document.output


def test_it_is_asked_over_the_socket():
    async def asked():
        return await Stepped().ask(WhyAsked(ask="why"))

    answer = asyncio.run(asked())
    assert answer.answer == "accepted"
    assert answer.why.step == "REST"


def test_many_who_ask_at_once_are_answered_with_one_reckoning():
    driven = Driven()
    driven.run(1_000)
    said = driven.panel.why()
    assert driven.panel.why() is said
    driven.run(WHY_MS)
    assert driven.panel.why().at_ms == said.at_ms + WHY_MS
