"""`receiver cycles`: table, statistics, trends, CSV and JSON of a run folder."""

import csv
import io
import json

import pytest
from test_drift import good
from typer.testing import CliRunner

from controller.cli import app
from controller.drift import LEARNED
from controller.reporting.journal import Journal


def called(*arguments):
    return CliRunner().invoke(app, ["cycles", *map(str, arguments)])


@pytest.fixture
def run_folder(tmp_path):
    """A run whose draw takes 30 % longer from cycle 61 on, and whose last cycle tripped."""
    with Journal(tmp_path / "run") as journal:
        for number in range(1, LEARNED + 41):
            record = good(number, start_ms=number * 30_000, draw_ms=106 if number <= 60 else 138)
            if number == LEARNED + 40:
                record = record._replace(
                    result="trip NO_VACUUM", fill_ended_by="trip", alarms=("NO_VACUUM", "X")
                )
            journal.add_cycle(record)
    return tmp_path / "run"


def test_the_last_cycles_the_statistics_and_the_drift_are_told(run_folder):
    done = called(run_folder, "--last", 3)
    assert done.exit_code == 0
    assert "Cycles 88 to 90 of 90" in done.stdout
    assert "trip NO_VACUUM" in done.stdout
    assert [line.split()[:3] for line in done.stdout.splitlines() if line.strip().startswith("cycle ")] == [
        ["cycle", "90", "1110"]
    ]
    assert "DRIFT draw in cycle 65: within 5 good cycles it rose from 106 to 138 ms (+30 %)" in done.stdout
    assert "leak" in done.stdout


def test_a_cycle_is_a_line_of_csv_with_a_column_for_each_step(run_folder):
    done = called(run_folder, "--csv")
    lines = list(csv.DictReader(io.StringIO(done.stdout)))
    assert len(lines) == 90
    assert (lines[0]["number"], lines[0]["step_seal_ms"], lines[0]["draw_ms"]) == ("1", "1000", "106")
    assert (lines[-1]["alarms"], lines[-1]["cycle_ms"]) == ("NO_VACUUM X", "1110")
    assert len(set(next(csv.reader(io.StringIO(done.stdout))))) == len(lines[0]), "no column stands twice"


def test_json_holds_cycles_statistics_trends_and_warnings(run_folder):
    told = json.loads(called(run_folder, "--json").stdout)
    assert len(told["cycles"]) == 90
    assert {row["name"] for row in told["statistics"]} == {"seal", "draw", "cycle"}
    draw = next(trend for trend in told["trends"] if trend["id"] == "draw")
    assert (draw["reference"], draw["standing"], draw["learned_cycles"]) == (106, "up", LEARNED)
    assert [(warned["id"], warned["cycle"]) for warned in told["warnings"]] == [("draw", 65)]
    assert "filter_dp" not in {trend["id"] for trend in told["trends"]}, "not fitted"


def test_a_short_run_says_how_far_it_has_learned(tmp_path):
    with Journal(tmp_path) as journal:
        journal.add_cycle(good(1))
    said = " ".join(called(tmp_path).stdout.split())
    assert f"learned from {LEARNED} good cycles (whole batches that nothing disturbed); so far: 1." in said
    assert "sum up" not in said


def test_json_gives_no_digits_that_nobody_measured(run_folder):
    told = json.loads(called(run_folder, "--json").stdout)
    for part in (told["throughput"], *told["statistics"], *told["trends"]):
        assert all(len(str(v).replace(".", "")) <= 9 for v in part.values() if isinstance(v, float))


def test_a_mass_and_air_that_nothing_measures_are_said_to_be_not_known(tmp_path):
    with Journal(tmp_path) as journal:
        for number in (1, 2):
            record = good(number, start_ms=number * 30_000)
            journal.add_cycle(record._replace(delivered_kg=None, fill_rate_kg_h=None, air_nm3=None))
    said = " ".join(called(tmp_path).stdout.split())
    assert "mass not known, nothing weighs it, air not known." in said
    told = json.loads(called(tmp_path, "--json").stdout)
    assert {told["throughput"][name] for name in ("delivered_kg", "rate_kg_h", "air_nm3_per_t")} == {None}


def test_a_run_without_a_finished_cycle_says_so(tmp_path):
    with Journal(tmp_path):
        pass
    done = called(tmp_path)
    assert done.exit_code == 0
    assert "no cycle was finished" in " ".join(done.stdout.split())


def test_a_folder_that_is_no_run_is_wrong_input(tmp_path):
    done = called(tmp_path)
    assert done.exit_code == 2
    assert "no such file; a run folder holds a journal.sqlite" in done.stderr


def test_csv_and_json_at_once_are_wrong_input(run_folder):
    assert called(run_folder, "--csv", "--json").exit_code == 2
