"""`receiver simulate`: what comes out, and what is said of wrong input."""

import json
import re
import sys

import pytest
from simulated import as_document, simulate
from typer.testing import CliRunner

from controller.cli import app, main
from controller.records import from_document
from controller.reporting.journal import read_cycles, read_events
from controller.simulate import picture
from controller.simulate.cycle_book import AIR_KG_NM3
from controller.simulate.executors import best
from controller.simulate.times import milliseconds
from io_sim.parameters import PlantParameters


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Emptying, one whole batch, then a trip: the pick-up is blocked at the second draw."""
    out = tmp_path_factory.mktemp("runs") / "blocked"
    options = ("--for", "1m", "--fail", "inlet_hose_off@convey#2", "--out", str(out), "--explain", "20s")
    result = simulate(*options)
    assert result.exit_code == 0, result.output
    return result, out


def test_the_head_says_that_it_is_simulated_and_no_safety_function(run):
    assert run[0].stdout.splitlines()[1] == "Simulated; ordinary software, not a safety function."


def test_the_table_fits_120_columns_and_gives_steps_and_why_the_fill_ended(run):
    lines = run[0].stdout.splitlines()
    assert max(map(len, lines)) <= 120
    batch = next(line for line in lines if re.match(r" *2 ", line))
    assert "16000" not in batch  # the first batch was begun in purge, whose time counts as fill time
    assert batch.rstrip().endswith("time")


def test_a_trip_is_explained_with_values_against_limits_cause_and_what_to_do(run):
    said = run[0].stdout
    assert "TRIP NO_VACUUM at" in said
    paragraph = said[said.index("TRIP NO_VACUUM") :]
    assert re.search(
        r"facts +vacuum has been proved until now; vacuum [\d.]+ kPa\s+<\s+1.2\s+kPa\s+\(proving_kpa\);\s+for 1,000 ms of 1,000 ms",
        paragraph,
    )
    assert "cause" in paragraph
    assert "to do" in paragraph


def test_what_is_said_of_a_trip_wraps_under_its_beginning():
    said = simulate("--for", "80s", "--fail", "flap_sticks_open@drain#3").stdout
    paragraph = said[said.index("TRIP") :].split("\n\n")[0].splitlines()[1:]
    assert max(map(len, paragraph)) <= 120
    assert any(line.startswith(" " * 12) for line in paragraph)
    assert all(re.match(r"  (facts|cause|to do|with it) +\S| {12}\S", line) for line in paragraph)


def test_explain_names_what_each_row_waits_for(run):
    said = run[0].stdout
    assert re.search(r"At 20s: CONVEY for [\d.]+s", said)
    assert re.search(r"CLEAR +the fill is over by time or by probe +time filled [\d.]+ s < 16 s \(fill_s\)", said)


def test_the_run_folder_holds_journal_picture_and_what_is_needed_to_run_it_again(run):
    _, out = run
    assert sorted(path.name for path in out.iterdir()) == ["cycle.svg", "journal.sqlite", "run.json", "trace.gz"]
    document = json.loads((out / "run.json").read_text())
    assert (document["station"], document["seed"], document["simulated"]) == ("R-101", 1, True)
    assert document["presets"]["fill_ms"] == 16_000
    assert document["failures"][0]["mode"] == "inlet_hose_off"


def test_the_journal_has_each_cycle_with_its_steps_adding_up_and_the_trip_with_its_grounds(run):
    cycles, events = read_cycles(run[1]), read_events(run[1])
    assert [(c.number, c.kind, c.result) for c in cycles] == [
        (1, "emptying", "complete"), (2, "batch", "complete"), (3, "batch", "trip NO_VACUUM"),
    ]  # fmt: skip
    assert cycles[1].start_ms + cycles[1].ms == cycles[2].start_ms
    trip = next(event for event in events if event.id == "NO_VACUUM")
    assert (trip.what, trip.priority) == ("raised", 3)
    assert "1.2 kPa (proving_kpa)" in trip.detail
    assert [event.what for event in events if event.id == "FAILURE_SET"] == ["inlet_hose_off"]


def test_a_record_holds_what_the_cycle_showed(run):
    batch = read_cycles(run[1])[1]
    assert batch.fill_ended_by == "time"
    assert batch.pulses == 2
    assert batch.step_ms("PULSE") == 2 * 120
    assert (batch.on_board, batch.line_loaded, batch.simulated) == ("no", True, True)
    assert 300 <= batch.flap_opening_ms <= 600
    assert 300 <= batch.flap_closing_ms <= 600
    assert batch.vacuum_air_only_pa < batch.vacuum_mean_pa < batch.vacuum_peak_pa
    assert batch.supply_lowest_pa_g < batch.supply_resting_pa_g
    reasons = {taken.step: taken.ended_by for taken in batch.steps}
    assert (reasons["CONVEY"], reasons["CLEAR"], reasons["SEAL"]) == (
        "fill over",
        "line empty",
        "sealed line loaded",
    )


def test_the_air_of_a_batch_is_what_the_nozzle_blows_at_supply_pressure():
    """
    A choked nozzle passes C x p, absolute (ISO 6358); ANR is 20 degrees C, 100 kPa (ISO 8778).

    The station's nozzle: 1130 l/min ANR at 6 bar gauge. Pulses and flap come on top: under a tenth.
    """
    (batch,) = [
        c for c in as_document("--for", "45s")["cycles"] if c["result"] == "complete" and c["kind"] == "batch"
    ]
    drawing_s = (
        sum(s["ms"] for s in batch["steps"] if s["step"] in ("PURGE", "DRAW", "CONVEY", "CLEAR")) / 1_000
    )
    anr_m3 = 1.130 / 60 * drawing_s * (batch["supply_lowest_pa_g"] + 101_325) / (600_000 + 101_325)
    nm3 = anr_m3 * (100_000 / 101_325) * (273.15 / 293.15)
    assert nm3 < batch["air_nm3"] < 1.1 * nm3


def test_a_normal_cubic_metre_of_dry_air_weighs_1_293_kg():
    """DIN 1343: 0 degrees C, 101.325 kPa; 1.293 kg/m3 in any table of air (from memory)."""
    assert pytest.approx(1.293, rel=1e-3) == AIR_KG_NM3


def test_json_is_one_document_whose_cycles_are_records():
    document = as_document("--for", "30s")
    assert document["simulated"] is True
    assert from_document(document["cycles"][0]).kind == "emptying"
    assert document["totals"]["step_at_end"] == document["cycles"][-1]["steps"][-1]["step"]


def test_the_totals_are_the_sum_of_the_cycles():
    document = as_document("--for", "80s")
    assert document["totals"]["delivered_kg"] == pytest.approx(
        sum(c["delivered_kg"] for c in document["cycles"]), abs=0.01
    )
    assert document["totals"]["delivered_kg"] > 10
    assert document["totals"]["air_nm3"] == pytest.approx(
        sum(c["air_nm3"] for c in document["cycles"]), rel=0.01
    )


def test_a_full_vessel_stops_the_receiver_and_is_counted():
    document = as_document("--for", "50s", "--fail", "level_probe_stuck_covered@drain#2")
    assert document["totals"]["level_stops"] == 1
    assert document["totals"]["step_at_end"] == "LEVEL_HOLD"
    assert document["trips"] == []


def test_alarms_holds_and_the_reason_at_the_end_are_said():
    said = simulate("--for", "50s", "--fail", "level_probe_stuck_covered@drain#2").stdout
    assert "1 level stop; LEVEL_HOLD (vessel full) at the end." in said
    assert "Alarms:" not in said, "a full vessel is no alarm: nobody has anything to do"
    tripped = simulate("--for", "50s", "--fail", "flap_sticks_closed@20s").stdout
    assert re.search(r"^Alarms: .*FLAP_NOT_OPEN 1", tripped, re.MULTILINE)
    assert re.search(r"^Held: vessel full once, \d+ s\.$", said, re.MULTILINE)


def test_the_time_held_is_that_of_the_hold_in_the_journal(tmp_path):
    """25 minutes, in which the mixer below is full again and again."""
    out = tmp_path / "run"
    document = as_document("--for", "25m", "--out", str(out))
    (held,) = document["totals"]["holds"]
    moves = [(e.at_ms, e.what) for e in read_events(out) if e.id == "STEP_CHANGED"]
    entered = [ms for ms, what in moves if what.endswith("-> LEVEL_HOLD")]
    left = [ms for ms, what in moves if what.startswith("LEVEL_HOLD ->")]
    assert held["ms"] == sum(left) + 1_500_000 * (len(entered) - len(left)) - sum(entered)
    assert (held["reason"], held["times"]) == ("vessel full", len(entered))
    assert held["times"] == document["totals"]["level_stops"] > 0


def test_resets_that_were_refused_are_counted_with_the_newest_reason():
    """The reading stays where it was: the body counts as under vacuum, and no reset may let the flap go."""
    fail = ("--fail", "vacuum_frozen@convey#2", "--reset-after", "2s")
    said = simulate("--for", "90s", *fail).stdout
    found = re.search(r"^Refused: reset \d+ times; the last time: body vacuum is over", said, re.MULTILINE)
    assert found, said


def test_after_a_trip_the_fault_stays_unless_the_operator_resets():
    fail = ("--for", "40s", "--fail", "source_dead@1s+20s")
    stays = as_document(*fail)
    assert stays["totals"]["step_at_end"] == "FAULT"
    goes_on = as_document(*fail, "--reset-after", "10s")
    assert len(goes_on["trips"]) == 1
    assert goes_on["totals"]["step_at_end"] not in ("FAULT", "REST")


def test_a_missing_plot_library_is_said_and_the_rest_goes_on(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    result = simulate("--for", "45s", "--out", str(tmp_path / "run"))
    assert result.exit_code == 0
    assert "matplotlib is not installed" in result.stdout
    assert not (tmp_path / "run" / picture.FILE).exists()
    assert read_cycles(tmp_path / "run")


def test_a_run_folder_that_cannot_be_written_is_said_before_the_run(tmp_path):
    (tmp_path / "file").write_text("")
    result = simulate("--for", "100h", "--out", str(tmp_path / "file" / "run"))
    assert result.exit_code == 2
    assert "the run folder cannot be written: Not a directory" in result.stderr


def test_a_run_folder_that_holds_a_run_is_not_written_over(run):
    result = simulate("--for", "1s", "--out", str(run[1]))
    assert result.exit_code == 2
    assert "holds a run already" in result.stderr


def test_a_folder_that_holds_something_else_is_left_alone(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    result = simulate("--for", "1s", "--out", str(tmp_path))
    assert result.exit_code == 2
    assert "is not empty and holds no run" in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_the_picture_says_which_cycle_it_shows_and_why(run, tmp_path):
    assert "R-101, cycle 3, the first that tripped: simulated" in (run[1] / "cycle.svg").read_text("utf-8")
    assert simulate("--for", "45s", "--out", str(tmp_path / "run")).exit_code == 0
    assert "R-101, cycle 2, the last whole batch: simulated" in (tmp_path / "run" / "cycle.svg").read_text("utf-8")


def test_no_picture_of_a_run_carries_an_address_but_those_of_svg_itself(run):
    text = (run[1] / "cycle.svg").read_text(encoding="utf-8")
    assert set(re.findall(r"https?://([^\s/\"']+)", text)) == {"www.w3.org"}
    assert "<metadata" not in text


def test_no_line_that_is_piped_ends_in_blanks(run):
    assert [line for line in run[0].stdout.splitlines() if line != line.rstrip()] == []


@pytest.mark.parametrize(
    ("fail", "code"),
    [([], 0), (["--fail", "source_dead@1s"], 1), (["--fail", "source_dead@pulse#9"], 1)],
    ids=["good", "tripped", "never due"],
)
def test_a_strict_run_ends_in_1_after_a_trip_or_a_failure_that_never_came_due(fail, code):
    options = ("--for", "20s", *fail)
    assert simulate(*options).exit_code == 0
    assert simulate(*options, "--strict").exit_code == code


@pytest.mark.skipif(best() != "compiled", reason="needs the extra `fast`, which holds Numba")
def test_a_cache_that_cannot_be_written_is_said_and_the_run_goes_on_interpreted(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("VACUUM_RECEIVER_CACHE", str(tmp_path / "file"))
    result = simulate("--for", "1s")
    assert result.exit_code == 0
    assert "ran the generated scan interpreted instead" in " ".join(result.stdout.split())
    assert "generated executor" in result.stdout


def test_without_the_compiler_the_generated_scan_is_chosen_and_asking_for_more_is_refused(monkeypatch):
    monkeypatch.setattr("controller.simulate.executors.find_spec", lambda name: None)
    assert best() == "generated"
    monkeypatch.setitem(sys.modules, "numba", None)
    result = simulate("--for", "1s", executor="compiled")
    assert result.exit_code == 2
    assert "--executor compiled: needs numba, which is not installed" in result.stderr


def test_an_unknown_station_is_said_with_those_there_are(monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["receiver", "simulate", "buckwheat_mil"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2
    assert "did you mean 'buckwheat_mill'?" in capsys.readouterr().err


def test_an_empty_station_name_is_not_this_folder(monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["receiver", "simulate", ""])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2
    assert capsys.readouterr().err .startswith(
        "station: the name is empty: name a folder, or one of buckwheat_mill"
    )


@pytest.mark.parametrize(
    ("missing", "arguments"),
    [("z3", ["prove", "buckwheat_mill"]), ("matplotlib", ["diagram", "buckwheat_mill", "--out", "x.svg"])],
)
def test_a_missing_extra_is_said_with_the_command_that_installs_it(missing, arguments, monkeypatch):
    monkeypatch.setitem(sys.modules, missing, None)
    result = CliRunner().invoke(app, arguments)
    assert result.exit_code == 2
    assert f"needs {missing}" in result.stderr
    assert "run: .venv/bin/python -m pip install -c constraints.txt -e '.[" in result.stderr


@pytest.mark.parametrize("command", ["check", "simulate"])
def test_a_missing_simulator_is_said_and_no_traceback(command, monkeypatch):
    monkeypatch.setitem(sys.modules, "io_sim", None)
    result = CliRunner().invoke(app, [command, "buckwheat_mill"])
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(f"{command}: needs io_sim, the simulator's part of this package, which is")
    assert "run: .venv/bin/python -m pip install -c constraints.txt -e '.[" in result.stderr


def test_times_are_read_as_typed():
    for text in ("", "h", "10", "1m1h", "-1s", "1.h"):
        with pytest.raises(ValueError, match="is not a duration"):
            milliseconds(text)
    assert [milliseconds(text) for text in ("1.5h", "1d", "1m", "1ms", "1m1s")] == [
        5_400_000, 86_400_000, 60_000, 1, 61_000,
    ]  # fmt: skip


def test_the_nozzle_of_the_example_is_that_of_the_check_above():
    assert PlantParameters().source_motive_m3_s_pa * 701_325 * 60_000 == pytest.approx(1_130, rel=0.01)
