"""The alarms of a simulated run: in its journal, its document and under its trips."""

import json

import pytest
from typer.testing import CliRunner

from controller.cli import app
from controller.events import ALARM_IDS
from controller.reporting.journal import read_events
from controller.sequence.steps import FAULT, REST, SEAL
from controller.simulate.alarm_desk import AlarmDesk, load_words


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """The flap does not open for the first emptying; the operator resets after five seconds."""
    out = tmp_path_factory.mktemp("runs") / "stuck"
    asked = ["simulate", "buckwheat_mill", "--executor", "generated", "--for", "30s", "--json"]
    asked += ["--fail", "flap_sticks_closed@vent", "--reset-after", "5s", "--out", str(out)]
    done = CliRunner().invoke(app, asked)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout), read_events(out)


def test_the_journal_has_every_move_of_the_alarm_of_a_trip_in_order(run):
    events = [e for e in run[1] if e.id == "FLAP_NOT_OPEN" and "->" in e.what]
    assert [e.what for e in events[:4]] == [
        "normal -> unacknowledged",
        "unacknowledged -> latched, unacknowledged",
        "latched, unacknowledged -> latched, acknowledged",
        "latched, acknowledged -> normal",
    ]
    assert [e.priority for e in events[:4]] == [3, 0, 0, 0]
    assert events[2].detail == "acknowledge; by operator at the panel"
    assert events[2].at_ms - events[0].at_ms == pytest.approx(5_000, abs=20)


def test_the_journal_runs_forward_in_time(run):
    times = [e.at_ms for e in run[1]]
    assert times == sorted(times)


def test_each_call_follows_an_interlock_that_acted_in_the_same_scan(run):
    """An alarm with no delay of its own calls in the very scan in which the interlock acts."""
    raised = {(e.at_ms, e.id) for e in run[1] if e.what == "raised"}
    calls = {(e.at_ms, e.id) for e in run[1] if e.what.endswith("-> unacknowledged") and e.id in ALARM_IDS}
    assert calls
    assert calls <= raised


def test_the_document_of_a_run_counts_the_calls(run):
    load = run[0]["totals"]["alarm_load"]
    calls = [e for e in run[1] if e.what.endswith("-> unacknowledged") and "follows" not in e.detail]
    assert load["calls"] == len(calls)
    assert load["floods"] == []


def test_what_follows_a_trip_stands_under_it_and_does_not_call():
    desk = AlarmDesk()
    desk.look(0, (), SEAL, "")
    desk.look(1_000, ("SAFETY_CHAIN_OPEN",), FAULT, "SAFETY_CHAIN_OPEN")
    later = desk.look(4_000, ("SAFETY_CHAIN_OPEN", "SUPPLY_AIR_LOST"), FAULT, "SAFETY_CHAIN_OPEN")
    assert [(m.id, m.root) for m in later] == [("SUPPLY_AIR_LOST", "SAFETY_CHAIN_OPEN")]
    assert desk.report(5_000).calls == 1


def test_a_refused_reset_acknowledges_and_resets_nothing():
    desk = AlarmDesk()
    desk.look(0, ("LINE_BLOCKED",), FAULT, "LINE_BLOCKED")
    desk.look(10, (), FAULT, "LINE_BLOCKED")
    desk.look(5_000, (), FAULT, "LINE_BLOCKED")
    assert [m.words for m in desk.heard(6_000, "reset", "the panel", accepted=False)] == [
        "latched, unacknowledged -> latched, acknowledged"
    ]
    assert [m.words for m in desk.heard(7_000, "reset", "the panel", accepted=True)] == ["latched, acknowledged -> normal"]


def test_an_interlock_that_is_looked_at_anew_in_fault_calls_once():
    """Its delay begins again with the step, so for a moment it does not act."""
    desk = AlarmDesk()
    desk.look(0, ("SUPPLY_AIR_LOST",), FAULT, "SUPPLY_AIR_LOST")
    desk.look(10, (), FAULT, "SUPPLY_AIR_LOST")
    desk.look(110, ("SUPPLY_AIR_LOST",), FAULT, "SUPPLY_AIR_LOST")
    assert desk.report(60_000).calls == 1


def test_a_rule_of_design_that_finds_nothing_to_suppress_is_not_written_down():
    desk = AlarmDesk()
    assert desk.look(0, (), REST, "") == []
    assert desk.look(10, (), SEAL, "") == []
    assert [m.words for m in desk.look(20, ("LEVEL_CHATTERS",), SEAL, "")] == ["normal -> unacknowledged"]
    assert [m.words for m in desk.look(30, ("LEVEL_CHATTERS",), REST, "")] == [
        "unacknowledged -> suppressed by design"
    ]


def test_a_run_is_told_of_its_floods_and_chattering_and_of_nothing_where_there_is_none():
    desk = AlarmDesk()
    desk.look(0, (), REST, "")
    assert load_words(desk.report(60_000)) == []
    for k in range(12):
        desk.look(60_000 + k * 20_000, ("SUPPLY_AIR_LOW",), SEAL, "")
        desk.look(60_010 + k * 20_000, (), SEAL, "")
    assert load_words(desk.report(600_000)) == [
        "flood of 12 calls, 57 % of the time",
        "chattering SUPPLY_AIR_LOW",
    ]


def test_a_run_counts_what_wears(run):
    counted = run[0]["totals"]["counters"]
    opened = sum(e.what.endswith("-> OPEN") for e in run[1] if e.id == "STEP_CHANGED")
    assert counted["flap_strokes"] == opened > 0
    assert counted["kg"] == pytest.approx(run[0]["totals"]["delivered_kg"])
    assert counted["air_nm3"] == pytest.approx(run[0]["totals"]["air_nm3"], abs=0.01)
