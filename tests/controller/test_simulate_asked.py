"""What is asked of `receiver simulate`: durations, failures and their parts, all mistakes at once."""

import json
import re
import shutil

import pytest
from simulated import as_document, simulate
from typer.testing import CliRunner

from controller.cli import app, station_folder
from controller.settings import load_station
from controller.simulate.executors import best
from controller.simulate.failures_asked import Asked, Failures, read
from controller.simulate.parts_fitted import PARTS, read_for
from io_sim.failures import CATALOGUE

WRONG = {
    ("--for", "1x"): "'1x' is not a duration: write it as 1h, 12m30s",
    ("--for", "5ms"): "not a whole number of scans of 10 ms",
    ("--fail", "line_blokked@10m"): "no failure mode 'line_blokked' - did you mean 'line_blocked'?",
    ("--fail", "line_blocked@drian"): "'drian' is neither a time .* - did you mean 'drain'?",
    ("--fail", "line_blocked"): "write MODE@TIME or MODE@STEP",
    ("--fail", "line_blocked=2@10m"): "the amount is '2', must be over 0 and at most 1",
    ("--fail", "line_blocked@drain#0"): "a whole number from 1",
    ("--fail", "line_blocked@10m+soon"): "'soon' is not a duration",
    ("--for", "1m", "--explain", "2m"): "--explain 2m: is outside the run, which lasts 1m",
    ("--reset-after", "0s"): "--reset-after: '0s' must be over 0",
    ("--for", "0"): "--for: '0' must be over 0",
    ("--fail", "nothing@1m"): r"no failure mode 'nothing'\. There are:\n",
    ("--fail", "line_blocked@brew"): r"nor a step\. Steps: rest, ",
}


@pytest.mark.parametrize("options", WRONG, ids=" ".join)
def test_wrong_input_is_said_with_what_is_allowed_and_exit_2(options):
    result = simulate(*options)
    assert result.exit_code == 2
    assert re.search(WRONG[options], result.stderr), result.stderr
    assert "Traceback" not in result.output


def test_errors_that_the_check_finds_are_said_in_the_head_of_the_run(tmp_path):
    """A fill of a minute: more than the body holds. The example itself has no errors."""
    copy = shutil.copytree(station_folder("buckwheat_mill"), tmp_path / "mill")
    settings = (copy / "receiver.yaml").read_text()
    assert "fill_s: 16" in settings
    (copy / "receiver.yaml").write_text(settings.replace("fill_s: 16", "fill_s: 60"))
    found = json.loads(CliRunner().invoke(app, ["check", str(copy), "--json"]).stdout)["errors"]
    run = CliRunner().invoke(app, ["simulate", str(copy), "--for", "1s", "--executor", best()]).stdout
    counted = "1 error" if found == 1 else f"{found} errors"
    assert found
    assert run.splitlines()[2] == f"Check finds {counted}: see receiver check {copy}"
    assert "Check finds" not in simulate("--for", "1s").stdout


def test_an_unknown_failure_mode_brings_the_list_of_those_of_the_parts_there_are():
    said = simulate("--fail", "nothing@1m").stderr.split()
    here = [mode.id for mode in CATALOGUE if not mode.needs or mode.needs == ("source_kind", "ejector")]
    assert set(here) <= set(said)
    assert not {"motor_overload", "filter_dp_frozen", "fluidising_dead", "vacuum_switch_delayed"} & set(said)


LACKING = {
    "motor_overload": "no motor (source.source_kind is ejector)",
    "filter_dp_frozen": "no transmitter of the filter's pressure drop (filter_clean.dp_fitted is false)",
    "fluidising_dead": "no fluidising air (drain.fluidise_on_ms is 0)",
    "vacuum_switch_delayed": "no vacuum switch (proving.vacuum_by is transmitter)",
}


@pytest.mark.parametrize("mode", LACKING)
def test_a_failure_of_a_part_that_the_station_has_not_is_refused(mode):
    result = simulate("--fail", f"{mode}@10s")
    assert result.exit_code == 2
    assert f"--fail {mode}: buckwheat_mill has {LACKING[mode]}" in result.stderr


def test_every_part_that_a_failure_needs_has_a_name():
    assert {mode.needs for mode in CATALOGUE if mode.needs} == set(PARTS)


def test_a_failure_of_a_point_that_is_not_wired_is_refused():
    unwired = {"purge_cmd", "vent_close_cmd"}
    station = load_station(station_folder("buckwheat_mill"))
    for mode in CATALOGUE:
        if mode.needs and mode.needs[0] in unwired:
            with pytest.raises(ValueError, match=f"mill has no .* \\({mode.needs[0]} is not wired\\)"):
                read_for(f"{mode.id}@1s", "mill", station.receiver.presets, station.wired - unwired)
            assert read_for(f"{mode.id}@1s", "mill", station.receiver.presets, station.wired)


def test_everything_wrong_is_said_at_once():
    said = simulate("--for", "x", "--fail", "y@1m", "--fail", "line_blocked@z", executor="w").stderr
    assert all(word in said for word in ("'x'", "'y'", "'z'", "--executor w"))


def test_failures_are_read_with_amount_moment_and_duration():
    assert read("feed_empty=0.5@10m+30s") == Asked("feed_empty", 0.5, 600_000, None, 1, 30_000, 0)
    assert read("flap_slow=0.2/2h@10m") == Asked("flap_slow", 0.2, 600_000, None, 1, None, 7_200_000)
    assert read("flap_slow@drain#3")[2:5] == read("flap_slow@DRAIN#3")[2:5] == (None, 10, 3)


def test_a_failure_whose_moment_does_not_come_is_named():
    assert Failures([read("flap_slow@reopen"), read("flap_slow@1h")]).left() == [
        "flap_slow at 1h",
        "flap_slow at REOPEN #1",
    ]
    assert as_document("--for", "2s", "--fail", "flap_slow@drain")["failures_never_due"] == [
        "flap_slow at DRAIN #1"
    ]
