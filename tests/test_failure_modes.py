"""Every failure mode, on every station that has the part, does what the narrative says; and the runs can see."""

import shlex
from collections import Counter
from itertools import pairwise

import pytest
from failure_expectations import ROWS
from failure_expectations.page import DOCS, command, pages
from failure_expectations.table import STATIONS, B, M, S
from failure_runs import CONFIGS, applies, cases, row_of, run, seen, station
from failure_verdicts import EXCUSED, wrong

from controller.events import INTERLOCK_IDS
from controller.simulate.command import read_ask, simulate
from io_sim.failures import CATALOGUE


def marked(row, name):
    then = row.at(name).then
    marks = [pytest.mark.xfail(reason=then.defect, strict=True)] if then.defect else []
    return pytest.param(row.mode, name, marks=marks, id=f"{row.mode}-{name}")


@pytest.mark.parametrize(("mode", "name"), [marked(row, name) for row, name in cases()])
def test_a_failure_mode_does_what_the_narrative_says(mode, name):
    assert wrong(row_of(mode), name, seen(mode, name)) == []


def test_every_failure_mode_has_one_row():
    assert Counter(row.mode for row in ROWS) == Counter(mode.id for mode in CATALOGUE)


def test_every_station_that_has_the_part_is_run_and_a_part_that_no_station_has_is_fitted_to_one():
    run_on = {mode.id: {name for row, name in cases() if row.mode == mode.id} for mode in CATALOGUE}
    for mode in CATALOGUE:
        having = {name for name in STATIONS if applies(mode, name)}
        assert run_on[mode.id] == (having or {B}), mode.id
        assert bool(row_of(mode.id).fitted) == (not having), mode.id


def test_expectations_name_interlocks_that_there_are_and_ask_for_something():
    for row, name in cases():
        then = row.at(name).then
        named = {*then.trips, *then.may, *(acts for acts, _ in then.acts)}
        assert named <= set(INTERLOCK_IDS), row.mode
        assert then.trips or then.acts or then.hold or then.delivers, row.mode


BLIND = {
    "no_vacuum_ms": ("inlet_hose_off", B),
    "proving_ms": ("source_dead", B),
    "flap_lost_ms": ("string_on_seat", B),
    "flap_both_ms": ("flap_closed_switch_stuck_on", B),
    "flap_travel_ms": ("flap_sticks_closed", B),
    "supply_lost_ms": ("supply_dumped", B),
    "supply_low_ms": ("supply_falls", B),
    "signal_failed_ms": ("vacuum_broken_wire", B),
    "vacuum_high_ms": ("line_blocked", B),
    "no_material_ms": ("feed_empty", B),
    "release_limit_ms": ("vacuum_frozen", B),
    "level_never_clears_ms": ("level_probe_stuck_covered", B),
    "level_disagree_ms": ("level_probe_stuck_covered", M),
    "level_on_ms": ("level_probe_stuck_covered", M),
    "run_feedback_lost_ms": ("run_contact_stuck_off", M),
    "run_down_ms": ("contactor_welded", M),
    "dp_ms": ("filter_torn", M),
    "receiver_full_ms": ("receiver_full_probe_stuck_covered", M),
}
"""Presets that make a line of the interlocks deaf when they are for ever, and a row that must see it."""


@pytest.mark.parametrize("preset", BLIND)
def test_a_deaf_line_turns_a_row_red(preset):
    mode, name = BLIND[preset]
    deaf = station(name).presets._replace(**{preset: 10**8})
    assert wrong(row_of(mode), name, seen(mode, name)) == []
    assert wrong(row_of(mode), name, run(row_of(mode), name, deaf))


def test_a_source_that_draws_on_through_an_open_flap_is_seen():
    deaf = station(B).presets._replace(flap_lost_ms=10**8)
    found = wrong(row_of("string_on_seat"), B, run(row_of("string_on_seat"), B, deaf))
    assert any("with the flap open" in said for said in found)


def test_an_excuse_is_needed():
    for mode in EXCUSED["vessel full"]:
        for name in STATIONS:
            assert seen(mode, name).worst.vessel_share > 0.999


@pytest.mark.parametrize(("mode", "name"), [("overload_contact_delayed", M), ("flap_slow", S), ("feed_empty", B)])
def test_the_command_on_the_page_is_the_run(mode, name):
    words = shlex.split(command(row_of(mode), name))
    fails = [said for option, said in pairwise(words) if option == "--fail"]
    assert words[:4] == ["receiver", "simulate", name, "--for"]
    ask = read_ask(
        CONFIGS / name, lasts=words[4], fail=fails, seed=1, out=None, explain=None, reset_after=None, executor=None
    )
    outcome, ran = simulate(ask, lambda _: None), seen(mode, name)
    assert outcome.never_due == []
    said = [(trip.id, trip.at_ms / 1_000) for trip in outcome.totals.trips]
    assert said == ([(ran.trip, pytest.approx(ran.begun_s + ran.trip_s))] if ran.trip else [])
    assert {hold.reason for hold in outcome.totals.holds} >= set(ran.holds)


def test_the_page_is_the_one_of_today():
    today = pages()
    assert {name: (DOCS / name).read_text(encoding="utf-8") for name in today} == today, "run: make failures"
