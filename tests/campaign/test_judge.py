"""Verdicts, right and wrong ones, on one run of the mill; and scenario files that cannot be."""

from pathlib import Path

import numpy as np
import pytest

from controller.campaign.judge import judge
from controller.campaign.planted import changed, without
from controller.campaign.recording import Recording
from controller.campaign.runner import Outcome, Runner
from controller.campaign.words import guarded
from controller.problems import StationError
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.stations import station_folder

RUNNER = Runner(name="generated")
HEAD = "title: t\nwhy: w\nstation: buckwheat_mill\n"
FIRST = "timeline:\n  - at: 5s\n    command: start\n    expect:\n"


def run(tmp_path: Path, text: str, runner: Runner = RUNNER) -> Outcome:
    file = tmp_path / "one.yaml"
    file.write_text(HEAD + text, encoding="utf-8")
    return runner.run(runner.load(file, station_folder))


RIGHT = """\
      - reaches: horn
        within: 10ms
      - reaches: step == VENT
        within: 4s
        not_before: 1s
      - keeps: not flap_open_cmd
        within: 1s
      - counts: horn
        range: 1
      - lasts: step == WARNING
        range: 2s to 4s
      - delivers_kg: 0 to 1
lasts: 9s
never: [source_cmd and not flap_closed]
always: [safety_chain_healthy]
acts_only: []
"""
WRONG = """\
      - reaches: step == FAULT
        within: 3s
      - reaches: step == VENT
        not_before: 5s
      - keeps: step == REST
        within: 1s
      - counts: horn
        range: at least 2
      - lasts: step == WARNING
        range: at most 1s
      - delivers_kg: at least 1
      - first_out: NO_VACUUM
lasts: 9s
never: [horn]
always: [not start_pb]
"""


def test_what_is_so_is_good(tmp_path: Path) -> None:
    done = run(tmp_path, FIRST + RIGHT)
    assert done.judged is not None, done.broken
    assert [v for v in done.judged.verdicts if not v.good] == []
    assert len(done.judged.verdicts) == 9
    assert done.verdict == "passed"


def test_what_is_not_so_is_bad_with_what_was_seen_and_where(tmp_path: Path) -> None:
    done = run(tmp_path, FIRST + WRONG)
    assert done.judged is not None, done.broken
    assert [v.good for v in done.judged.verdicts] == [False] * 9
    assert "first_out NO_VACUUM" in [v.wanted for v in done.judged.verdicts], "in the words of the file"
    seen = {v.wanted.split(",")[0]: v for v in done.judged.verdicts}
    assert seen["reaches step == FAULT"].seen == "never in its window"
    assert seen["keeps step == REST"].at_ms == 5_010, "the first scan after start"
    assert seen["counts horn"].seen == "1 times"
    assert seen["never horn"].line == 3 + 4 + 14


def test_the_three_engines_agree_and_a_fourth_that_lies_is_told(tmp_path: Path) -> None:
    done = run(tmp_path, FIRST + RIGHT)
    assert done.recording is not None
    assert done.judged is not None
    assert done.judged.disagreements == []
    logic = Logic(RECEIVER)
    liar = Runner(changed(logic, {"warned": logic.facts["warn_cancelled"].tree}), name="generated")
    recording: Recording = done.recording
    piece = next(recording.pieces())
    told = recording.disagreements(piece, liar.engine)  # type: ignore[arg-type]
    assert told
    assert {d.engine for d in told} == {"as written"}


def test_a_station_that_commanded_something_else_is_told(tmp_path: Path) -> None:
    """What the run commanded is compared with its own scans run again: a verdict stands on the latter."""
    logic = Logic(RECEIVER)
    liar = Runner(changed(logic, {"horn": logic.facts["fault_lamp"].tree}), name="generated", check=False)
    file = tmp_path / "one.yaml"
    file.write_text(HEAD + FIRST + RIGHT, encoding="utf-8")
    scenario = RUNNER.load(file, station_folder)
    driver, _ = liar.driver(scenario, {})
    _, recorded = RUNNER.driver(scenario, {})
    driven = driver.drive()
    recording = recorded(driven.chunks)
    judged = judge(scenario, driven, recording, RUNNER.engine)
    assert {(d.engine, d.name) for d in judged.disagreements} == {("the run itself", "horn")}
    assert not judged.good


@pytest.mark.parametrize("name", ["fault_lamp", "no_vacuum_acts"])
def test_a_wrong_column_of_an_output_or_an_act_is_told(tmp_path: Path, name: str) -> None:
    done = run(tmp_path, FIRST + RIGHT)
    assert done.recording is not None
    piece = next(done.recording.pieces())
    piece.columns.this(name)
    vars(piece.columns)["_facts"][name] = np.ones(piece.columns.scans, dtype=bool)
    told = done.recording.disagreements(piece, RUNNER.engine)  # type: ignore[arg-type]
    assert {d.engine for d in told} == {"columns"}


def test_a_row_taken_away_is_noticed(tmp_path: Path) -> None:
    logic = Logic(RECEIVER)
    runner = Runner(without(logic, guarded(logic, "row warned_with_batch")), name="generated", check=False)
    assert run(tmp_path, FIRST + RIGHT, runner).verdict == "failed"


def test_a_scenario_that_crashes_is_broken_not_failed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("controller.campaign.runner.Driver.drive", lambda self: 1 / 0)
    done = run(tmp_path, FIRST + RIGHT)
    assert done.verdict == "broken"
    assert "ZeroDivisionError" in done.broken


BAD = """\
timeline:
  - at: 10s
    comand: start
  - at: 5s
    amount: 2
"""
BAD_NAMES = """\
timeline:
  - at: 10s
    command: start
  - at: 5s
    expect:
      - reaches: stepp == CONVEY
        within: 3x
      - reaches: step == CONVEY
        keeps: step == CONVEY
      - reaches: step == CONVEY
        within: 1s
        not_before: 2s
      - counts: horn
        range: 1
        not_before: 1s
  - enters: drian
    fail: flap_stick_open
  - after: 1s
    fail: motor_overload
    set: [plant_enabl off, level_free on]
    every: 1s
    power_cut: 15ms
  - command: stop
lasts: 100h
guards: [row seald]
acts_only: [NO_VACUM]
"""


def test_wrong_keys_and_values_are_refused_in_their_place(tmp_path: Path) -> None:
    with pytest.raises(StationError) as refused:
        run(tmp_path, BAD)
    places = [str(p).split("one.yaml:")[1] for p in refused.value.problems]
    assert places == [
        "6:5: timeline[0].comand: is not a key of this file - did you mean 'command'?",
        "7:9: timeline[1].at: is before the entry above: the timeline runs downwards",
        "8:13: timeline[1].amount: is 2, allowed numbers 0.001 to 1 (of the failure: 1 is whole)",
    ]


def test_wrong_keys_and_wrong_names_are_told_together(tmp_path: Path) -> None:
    with pytest.raises(StationError) as refused:
        run(tmp_path, BAD.replace("at: 5s", "at: 5") + BAD_NAMES.partition("timeline:\n")[2])
    said = [str(p).split("one.yaml:")[1] for p in refused.value.problems]
    assert said[0].startswith("6:5: timeline[0].comand: is not a key of this file")
    assert said[1].startswith("7:9: timeline[1].at: ")
    assert said[2].startswith("8:13: timeline[1].amount: ")
    for part in ("did you mean 'drain'?", "did you mean 'flap_sticks_open' or", "'3x' is not a duration"):
        assert any(part in problem for problem in said), part
    assert not any("timeline[1]: has no moment" in problem for problem in said), "it has one, which is wrong"


@pytest.mark.parametrize(
    ("text", "said"),
    [("reaches: vacuum_pa > 99999999999999999999", "whole numbers go up to"),
     ("keeps: -9223372036854775808 < vacuum_pa", "whole numbers go up to")],
)  # fmt: skip
def test_a_number_that_no_scan_can_hold_is_refused(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(StationError, match=said):
        run(tmp_path, f"timeline:\n  - at: 1s\n    expect:\n      - {text}\n")
    with pytest.raises(StationError, match="takes a whole number under"):
        run(tmp_path, "timeline:\n  - at: 1s\n    set: [image_age_ms 99999999999999999999]\n")


def test_wrong_names_and_impossible_windows_are_refused_all_at_once(tmp_path: Path) -> None:
    with pytest.raises(StationError) as refused:
        run(tmp_path, BAD_NAMES)
    said = "\n".join(map(str, refused.value.problems))
    for part in (
        "timeline[1].at: is before the entry above", "did you mean 'step'?", "'3x' is not a duration",
        "say exactly one of", "the window is empty", "does not go with counts", "is not whole scans of 10 ms", "did you mean 'drain'?", "did you mean 'flap_sticks_open' or",
        "R-101 has no motor", "did you mean 'plant_enable'?", "level_free is driven by its instrument",
        "comes again: write `during`", "has no moment", "over 48 h", "did you mean 'sealed'?",
        "did you mean 'NO_VACUUM'?",
    ):  # fmt: skip
        assert part in said, said


def test_another_preset_needs_its_options(tmp_path: Path) -> None:
    with pytest.raises(StationError, match=r"6:16: presets.filter_clean.dp_fitted: is true"):
        run(tmp_path, "presets:\n  filter_clean:\n    dp_fitted: true\n" + FIRST + RIGHT)
