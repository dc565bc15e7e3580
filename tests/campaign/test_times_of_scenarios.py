"""Times in scenario files: what is no time is refused with what to write, and two things can happen at once."""

from pathlib import Path

import pytest

from controller.campaign.results import result_of
from controller.campaign.runner import Runner
from controller.campaign.timeline import steps_of
from controller.problems import StationError
from controller.stations import station_folder

RUNNER = Runner(name="generated")
HEAD = "title: t\nwhy: w\nstation: buckwheat_mill\ntimeline:\n"


def test_a_bare_number_is_refused_at_once_with_its_unit(tmp_path: Path) -> None:
    file = tmp_path / "bare.yaml"
    file.write_text(f"{HEAD}  - at: 1.5\n    waits: 2\nlasts: 4s\n", encoding="utf-8")
    with pytest.raises(StationError) as refused:
        RUNNER.load(file, station_folder)
    said = [problem.text for problem in refused.value.problems]
    assert [text.rpartition("write it as ")[2] for text in said] == ["1.5s", "2s"]


def test_after_no_time_is_the_very_moment_of_the_entry_above(tmp_path: Path) -> None:
    file = tmp_path / "both.yaml"
    file.write_text(
        f"{HEAD}  - at: 500ms\n    fail: line_blocked\n    expect:\n      - delivers_kg: 0 to 1\n"
        "  - after: 0s\n    fail: source_weak\nlasts: 100ms\n",
        encoding="utf-8",
    )
    outcome = RUNNER.run(RUNNER.load(file, station_folder))
    assert RUNNER.engine is not None
    result = result_of(outcome, RUNNER.engine)
    assert result.verdict == "passed"
    assert result.moments == (500, 500)
    assert result.done == ((500, "line_blocked begins"), (500, "source_weak begins"))
    check = steps_of(outcome.scenario, result)["steps"][0]["checks"][0]
    assert (check["wanted"], check["seen"]) == ("delivers 0 to 1 kg", "0.00 kg")
