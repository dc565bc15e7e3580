"""
The detection matrix: its table is whole, it agrees with the table of one moment, and it sees what is planted.

The terms and the formula of diagnostic coverage are those of IEC 61508 (from memory).
"""

import csv
import io
from collections import Counter
from functools import cache

import pytest
from failure_expectations.table import STATIONS, B
from failure_runs import CONFIGS, applies, cases, station, wired

from controller.campaign.detection.beginnings import AFTERWARDS, OTHERS
from controller.campaign.detection.cells import (
    MODES,
    OF_A_NORMAL_DAY,
    Bench,
    Healthy,
    due_ms,
    lines_at,
    shortened,
)
from controller.campaign.detection.command import read_ask
from controller.campaign.detection.expectations import (
    COMMANDS_REFUSED,
    HAZARDS,
    Expectation,
    Mode,
    at_once,
    blind,
    expected,
    milliseconds_of,
    steps_of,
)
from controller.campaign.detection.matrix import LIMITS, Matrix, false_alarms, matrix
from controller.campaign.detection.page import page_of
from controller.campaign.detection.verdicts import (
    BLIND,
    IN_TIME,
    LATE,
    MISSED,
    OTHER,
    SEEN_ANYWAY,
    TOO_LATE,
    WORDS,
    Cell,
    coverage,
    coverage_of_modes,
    verdict,
)
from controller.campaign.detection.words import SHORT, as_csv, lines_of, ran_with
from controller.campaign.planted import without
from controller.campaign.words import guarded
from controller.events import INTERLOCK_IDS
from controller.problems import StationError
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import Step
from controller.simulate.executors import executor, options_of
from io_sim.failures import CATALOGUE

LOGIC = Logic(RECEIVER)
INTERLOCKS = RECEIVER.interlocks
STEPS = (Step.CONVEY,)
BY_ID = {mode.id: mode for mode in MODES}


# ---- the table -----------------------------------------------------------------------------------------
def test_every_failure_mode_is_classified_once_and_with_a_reason():
    assert Counter(mode.id for mode in MODES) == Counter(mode.id for mode in CATALOGUE)
    assert {mode.hazard for mode in MODES} == {"", *HAZARDS}
    assert all(mode.because for mode in MODES)


def wanted(mode, step, name):
    presets = shortened(station(name).presets, mode.shortened or {})
    return expected(lines_at(mode, presets, wired(name)), step, presets, INTERLOCKS)


@pytest.mark.parametrize("name", STATIONS)
def test_every_cell_of_every_station_has_an_expectation_that_somebody_wrote(name):
    having = [mode.id for mode in CATALOGUE if applies(mode, name)]
    assert [
        (mode, step) for mode in having for step in Step if not wanted(BY_ID[mode], step, name).written
    ] == []


def test_expectations_name_interlocks_that_there_are_and_a_reason_where_nothing_tells():
    for mode in MODES:
        for line in mode.lines:
            ids = set(filter(None, line.ids.split("|")))
            assert ids <= {*INTERLOCK_IDS, *COMMANDS_REFUSED} - OF_A_NORMAL_DAY, mode.id
            assert bool(line.ids) != bool(line.why) or line.too_late, mode.id
            assert bool(line.within) == bool(line.ids), mode.id
            steps_of(line.begins)
            if line.within:
                milliseconds_of(line.within, Presets())


APART = {
    "level_probe_delayed": "there beside a vessel that fills, so that the hold is seen; it is not told here or there",
    "low_level_probe_stuck_covered": "there beside a vessel that stands full for half an hour",
    "low_level_probe_chattering": "there beside a vessel that stands full for half an hour",
    "run_contact_delayed": "there before the motor has started; here in convey, where it runs",
}
MOMENT_OF = {("flap_closed_switch_stuck_off", B): Step.LEVEL_HOLD}
"""Steps behind a time of that table; most of them stand in the middle of a fill."""


def test_it_agrees_with_the_table_of_one_moment():
    compared = 0
    for row, name in cases():
        if row.fitted or row.mode in APART:
            continue
        asked = row.at(name)
        word, _, entry = asked.begins.partition("#")
        step = Step[word.upper()] if entry else MOMENT_OF.get((row.mode, name), Step.CONVEY)
        there = {*asked.then.trips, *(act for act, _ in asked.then.acts)}
        here = set(wanted(BY_ID[row.mode], step, name).ids)
        assert bool(here & there) or (not here and not there), (row.mode, name, here, there)
        compared += 1
    assert compared > 200


def test_a_time_in_words_is_read_and_nonsense_is_refused():
    assert milliseconds_of("2 flap_travel_ms + 1.5s", Presets(flap_travel_ms=2_000)) == 5_500
    with pytest.raises(ValueError, match="no time"):
        milliseconds_of("a while", Presets())


def test_where_nobody_wrote_anything_the_interlock_table_is_asked_and_it_counts_as_unproven():
    lines = (at_once("NO_VACUUM", "1s", begins="rest"),)
    asked = expected(lines, Step.DRAIN, Presets(), INTERLOCKS)
    assert not asked.written
    assert asked.ids == ("NO_VACUUM",)
    assert asked.looked_at == ((Step.PURGE, Step.DRAW, Step.CONVEY),)
    assert expected((blind("why", begins="rest"),), Step.DRAIN, Presets(), INTERLOCKS) is None


# ---- verdicts ------------------------------------------------------------------------------------------
TELLS = Expectation(("A",), (), 1_000, "", too_late=False, written=True)
NOTHING = Expectation((), (), 0, "why", too_late=False, written=True)


@pytest.mark.parametrize(
    ("asked", "acted", "word"),
    [
        (TELLS, {"A": 900}, IN_TIME),
        (TELLS, {"A": 1_100}, LATE),
        (TELLS, {"B": 900}, OTHER),
        (TELLS, {"B": 1_100}, LATE),
        (TELLS, {"USUAL": 900}, MISSED),
        (TELLS, {}, MISSED),
        (TELLS._replace(too_late=True), {"A": 900}, TOO_LATE),
        (NOTHING, {}, BLIND),
        (NOTHING, {"USUAL": 5}, BLIND),
        (NOTHING, {"B": 5}, SEEN_ANYWAY),
    ],
)
def test_what_a_cell_came_to(asked, acted, word):
    assert verdict(asked, acted, 1_000, {"USUAL"})[0] == word


def test_a_look_is_the_next_time_the_sequence_comes_by_step_after_step():
    healthy = Healthy(((0, Step.DRAIN), (10, Step.SEAL), (20, Step.OPEN), (30, Step.SEAL)), frozenset(), 99)

    def due(*parts):
        return due_ms(TELLS._replace(looked_at=parts), healthy)

    assert due() == 0
    assert due((Step.DRAIN,)) == 0
    assert due((Step.SEAL,)) == 10
    assert due((Step.OPEN,), (Step.SEAL,)) == 30
    assert due((Step.PURGE,)) == 99


def cell(mode, word):
    return Cell(mode, Step.DRAW, word, "", 0, (), 0, "", True, (), 0)


def test_diagnostic_coverage_is_dangerous_detected_of_all_dangerous():
    modes = (Mode("d", "dust", "x", ()), Mode("e", "dust", "x", ()), Mode("s", "", "x", ()))
    cells = [cell("d", w) for w in (IN_TIME, OTHER, SEEN_ANYWAY)] + [
        cell("e", w) for w in (IN_TIME, LATE, MISSED, BLIND, TOO_LATE)
    ]
    cells += [cell("s", BLIND), cell("s", IN_TIME)]
    counted = coverage(cells, modes)
    assert counted == (1, 1, 4, 4)  # safe detected, safe undetected, dangerous detected, dangerous undetected
    assert counted.percent == 50
    assert coverage_of_modes(cells, modes) == (0, 1, 1, 1)
    assert coverage([], modes).percent == 100


# ---- runs ----------------------------------------------------------------------------------------------
@cache
def small(interlock="", steps=STEPS):
    """Few cells of the mill, interpreted; without an interlock if one is named."""
    logic = without(LOGIC, guarded(LOGIC, f"interlock {interlock}")) if interlock else LOGIC
    ran = executor("generated", logic, options=options_of(station(B).presets))
    return Bench(CONFIGS / B, logic, ran, cycles=1, steps=steps)


def run(match, interlock="") -> Matrix:
    return matrix(CONFIGS / B, match=match, on=small(interlock))


def words(done):
    return {c.verdict for c in done.cells}


def test_a_failure_is_told_in_each_step_in_which_it_begins():
    done = run("inlet_hose_off")
    assert words(done) == {IN_TIME}
    assert {c.seen for c in done.cells} == {"NO_VACUUM"}


def test_without_its_interlock_a_dangerous_failure_is_missed_and_the_coverage_falls():
    whole, poor = run("vacuum_broken_wire"), run("vacuum_broken_wire", "SIGNAL_BAD")
    assert (words(whole), words(poor)) == ({IN_TIME}, {MISSED})
    assert not whole.gaps
    assert len(poor.gaps) == len(STEPS)
    assert (whole.coverage.percent, poor.coverage.percent) == (100, 0)


def test_without_its_interlock_an_open_flap_is_a_gap_though_the_last_word_still_tells_it():
    poor = run("string_on_seat", "FLAP_LOST_CLOSED")
    assert words(run("string_on_seat")) == {IN_TIME}
    assert [(c.verdict, c.seen) for c in poor.gaps] == [(OTHER, "OUTPUT_OVERRIDDEN")]


def test_a_healthy_station_raises_no_alarm():
    assert false_alarms(small(steps=(Step.REST,)), 60_000) == ()


def test_an_unknown_mode_and_a_bad_file_are_refused_before_anything_runs(tmp_path):
    with pytest.raises(ValueError, match="flap_flies"):
        run("flap_flies")
    there = tmp_path / "there.csv"
    there.write_text("earlier", encoding="utf-8")
    for out, said in (
        (tmp_path / "a.pdf", "a page ends in"),
        (tmp_path / "no" / "a.csv", "is not there"),
        (there, "never overwritten"),
    ):
        with pytest.raises(StationError, match=said):
            read_ask(CONFIGS / B, "", 1, 0, out)
    assert there.read_text(encoding="utf-8") == "earlier"


# ---- what is shown -------------------------------------------------------------------------------------
def test_terminal_page_and_table_say_every_cell_and_their_limits():
    done = run("vacuum_broken_wire", "SIGNAL_BAD")
    shown = "\n".join(lines_of(done))
    assert LIMITS in shown
    assert "vacuum_broken_wire" in shown.partition("Gaps:")[2]
    assert all(SHORT[Step(step)] in shown for step in done.steps)
    rows = list(csv.DictReader(io.StringIO(as_csv(done))))
    assert len(rows) == len(done.cells)
    assert {row["verdict"] for row in rows} == {c.verdict for c in done.cells}
    page = page_of(done)
    assert page.count("<td class=") == len(done.cells) + 2 * len(done.modes)
    assert "Neither a performance level nor a SIL" in page
    assert "://" not in page
    assert "<script" not in page
    assert done.as_document()["said"] == LIMITS


def test_how_a_failure_is_run_is_said_where_it_is_not_alone_and_whole():
    assert ran_with(BY_ID["flap_slow"]) == "at 0.5"
    assert ran_with(BY_ID["contactor_welded"]) == "stop pressed later"
    assert (
        ran_with(BY_ID["heap_under_flap"]) == "beside vessel_not_consuming, with level_never_clears_ms 60,000"
    )
    assert ran_with(BY_ID["line_blocked"]) == ""


def test_every_verdict_has_its_words_and_every_step_its_way_there():
    assert {IN_TIME, LATE, OTHER, MISSED, BLIND, SEEN_ANYWAY, TOO_LATE} < set(WORDS)
    assert set(OTHERS) == {Step.PURGE, Step.REOPEN, Step.LEVEL_HOLD, Step.FAULT}
    assert set(AFTERWARDS) == {Step.REST, Step.WARNING, Step.LEVEL_HOLD, Step.FAULT}
