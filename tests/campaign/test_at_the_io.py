"""What shows at the I/O alone: which conditions, which timelines; what is not judged is never passed."""

import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from foreign.in_process import InProcessEnd
from typer.testing import CliRunner

from controller.campaign import command, machine_results
from controller.campaign.at_the_io import cannot_be_driven, hidden
from controller.campaign.conditions import Reader
from controller.campaign.record import Place, RunRecord
from controller.campaign.results import Result, result_of
from controller.campaign.wire_runner import WireRunner
from controller.cli import app
from controller.clock import SteppedClock
from controller.modbus.point_map import load_point_map
from controller.problems import StationError
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.settings import load_station
from controller.stations import station_folder

READER = Reader(Logic(RECEIVER))
MILL = station_folder("buckwheat_mill")
WIRED = load_station(MILL).wired
HEAD = "title: t\nwhy: w\nstation: buckwheat_mill\n"


def runner() -> WireRunner:
    return WireRunner(lambda _: InProcessEnd(), "the box")


def run(tmp_path: Path, text: str) -> Result:
    file, on = tmp_path / "one.yaml", runner()
    file.write_text(HEAD + text, encoding="utf-8")
    assert on.engine
    return result_of(on.run(on.load(file, station_folder)), on.engine)


@pytest.mark.parametrize(
    "text",
    ["source_cmd and not flap_closed_fb", "vacuum_ua > 4_300", "plant_vessel_g < 100 or not fault_lamp"],
)
def test_points_and_readings_of_the_plant_show(text: str) -> None:
    assert hidden(READER.read(text), WIRED) == ""


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("step == CONVEY", "`step` does"),
        ("source_cmd and vacuum_pa < 5_000", "`vacuum_pa` does"),
        ("NO_VACUUM", "`no_vacuum_acts` does"),
        ("vacuum_ua > fill_ms", "`fill_ms` does"),
        ("start_request", "`start_request` does"),
        ("image_age_ms > 3 or bypass_close_cmd", "`image_age_ms` and `bypass_close_cmd` do"),
    ],
)
def test_facts_interlocks_presets_and_what_is_not_wired_do_not_show(text: str, named: str) -> None:
    assert hidden(READER.read(text), WIRED) == f"{named} not show at the I/O"


@pytest.mark.parametrize(
    ("entry", "why"),
    [
        ("enters: drain", "a step of our own logic"),
        ("when: flap_proven", "`flap_proven` does not show"),
        ("at: 1s\n    power_cut: 1s", "the power of a controller that is not ours"),
        ("at: 1s\n    command: halt", "halt from the panel is no button"),
        ("at: 1s\n    command: start\n    source: remote", "start from the remote is no button"),
        ("at: 1s\n    set: [image_age_ms 500]", "image_age_ms is no point of the I/O"),
    ],
)
def test_a_timeline_that_nobody_can_drive_at_the_io_is_not_judged_as_a_whole(
    tmp_path: Path, entry: str, why: str
) -> None:
    result = run(
        tmp_path, f"timeline:\n  - {entry}\n    expect:\n      - reaches: horn\nalways: [stop_healthy]\n"
    )
    assert result.verdict == "not judged"
    assert why in result.not_judged[0].seen
    assert result.ran_ms == 0, "nothing was done"


def test_what_can_be_driven_at_the_io_is(tmp_path: Path) -> None:
    file = tmp_path / "one.yaml"
    file.write_text(f"{HEAD}timeline:\n  - at: 1s\n    command: stop\n    set: [safety_chain_healthy off]\n")
    assert cannot_be_driven(runner().load(file, station_folder), WIRED) == []


SEEN = (
    "timeline:\n  - at: 1s\n    command: start\n    expect:\n      - reaches: horn\n        within: 500ms\n"
)
UNSEEN = "      - reaches: step == WARNING\n      - first_out: NO_VACUUM\nnever: [vacuum_pa > 90_000]\nacts_only: []\n"


def test_all_that_shows_is_judged_and_passes(tmp_path: Path) -> None:
    result = run(tmp_path, f"{SEEN}never: [source_cmd and not flap_closed_fb]\n")
    assert (result.verdict, result.not_judged, result.bad) == ("passed", (), ())
    assert result.foreign


def test_what_does_not_show_is_not_judged_and_so_the_whole_is_not_passed(tmp_path: Path) -> None:
    result = run(tmp_path, SEEN + UNSEEN)
    assert result.verdict == "not judged"
    assert [v.good for v in result.verdicts] == [True, None, None, None, None]
    assert all(v.seen.startswith("not judged: ") for v in result.not_judged)


def test_what_fails_at_the_io_fails_whatever_is_not_judged(tmp_path: Path) -> None:
    result = run(tmp_path, f"{SEEN}{UNSEEN}always: [not horn]\n")
    assert result.verdict == "failed"
    assert [v.wanted for v in result.bad] == ["always not horn"]


def test_a_controller_that_is_not_there_breaks_the_scenario(tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setattr(InProcessEnd, "newest", None)
    result = run(tmp_path, SEEN)
    assert result.verdict == "broken"
    assert "no controller wrote its outputs within 30 s" in result.broken


def test_not_judged_is_counted_and_told_everywhere(tmp_path: Path, capsys: Any) -> None:
    from rich.console import Console

    result = run(tmp_path, SEEN + UNSEEN)
    assert "1 not judged" in command.summary([result], 1.0)
    command.show(Console(width=300), result, command.Ask([], None, 1))
    assert "not judged: `step` does not show at the I/O" in capsys.readouterr().out
    assert json.loads(command.as_json([result]))[0]["verdict"] == "not judged"
    suite = ET.fromstring(machine_results.junit([result], "2026-01-05T06:00:00Z"))
    assert "does not show at the I/O; 4 of 5 so" in suite.find(".//testcase/skipped").attrib["message"]  # type: ignore[union-attr]
    assert suite.find("testsuite").attrib["skipped"] == "1"  # type: ignore[union-attr]
    assert "ok 1 - one: t # SKIP reaches step" in machine_results.tap([result])


def test_the_report_says_not_judged_and_never_passed(tmp_path: Path) -> None:
    result, on = run(tmp_path, SEEN + UNSEEN), runner()
    scenario = on.load(tmp_path / "one.yaml", station_folder)
    record = RunRecord(
        tmp_path / "out", [Place(scenario, tmp_path / "one.yaml", MILL)], on.logic, SteppedClock().date()
    )
    record.finish([result], SteppedClock().date(), [])
    done = CliRunner().invoke(app, ["report", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    text = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert 'verdict whole not_judged">not judged' in text
    assert text.count('verdict not_judged">not judged') == 4 + 2, (
        "each check, and the scenario in list and heading"
    )
    assert "0 passed" in text
    assert "another controller, of which nothing was seen but inputs, outputs" in text
    assert '<a href="#c' not in text, "no proof of our logic stands for it"


def test_a_station_without_a_map_is_told(tmp_path: Path) -> None:
    bare = tmp_path / "bare"
    bare.mkdir()
    for name in ("receiver.yaml", "points.yaml", "plant.yaml"):
        (bare / name).write_bytes((MILL / name).read_bytes())
    done = CliRunner().invoke(
        app, ["scenarios", "configs/scenarios_wire", "--on", "modbus:127.0.0.1:1", "--station", str(bare)]
    )
    assert isinstance(done.exception, StationError)
    assert [p.file for p in done.exception.problems] == [str(bare / "modbus.yaml")], "once, not for each file"


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["--on", "modbus"], "is no address with a port"),
        (["--on", "modbus:example:1502"], "is no address with a port"),
        (["--on", "modbus:127.0.0.1:0"], "is no address with a port"),
        (["--on", "rig"], "write virtual, realtime or modbus:HOST:PORT"),
        (
            ["--on", "modbus:127.0.0.1:1502", "--rate", "2"],
            "is refused: the controller at the other end lives in real time",
        ),
        (["--rate", "2"], "a rate goes with realtime"),
        (["--on", "realtime", "--rate", "0"], "a rate is over 0"),
        (["--on", "modbus:127.0.0.1:1502", "--jobs", "2"], "one after another"),
    ],
)
def test_places_rates_and_jobs_that_cannot_be_are_refused(asked: list[str], said: str) -> None:
    done = CliRunner().invoke(app, ["scenarios", "configs/scenarios_wire", *asked])
    assert isinstance(done.exception, StationError)
    assert said in str(done.exception)


def test_the_map_names_every_point_that_is_seen() -> None:
    point_map = load_point_map(MILL, load_station(MILL).points)
    assert {place.name for place in (*point_map.inputs, *point_map.outputs)} == WIRED
