"""What is asked of `receiver simulate`: durations, failures and their parts, all mistakes at once."""

import json
import re
import shutil
import subprocess
import sys

import pytest
from simulated import as_document, simulate
from typer.testing import CliRunner

from controller.cli import app, station_folder
from controller.events import EVENTS
from controller.reporting.journal import read_events
from controller.sequence.steps import STATES, Step
from controller.settings import load_station
from controller.simulate import run_end
from controller.simulate.executors import best
from controller.simulate.failures_asked import Asked, Failures, read
from controller.simulate.parts_fitted import PARTS, read_for
from controller.station_check.report import errors, judge
from io_sim.failures import CATALOGUE
from io_sim.settings import load_plant

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
    ("--until", "drian"): "'drian' is neither trip nor a step, .* - did you mean 'drain'?",
    ("--until", "NO_MATERIALS"): "did you mean 'no_material'?",
    ("--until", "xyzzy"): r"event\. There are:\n  trip\n  Steps: rest, .*\n  States: idle, .*\n  Events: ",
    ("--until", "drain#0"): "which time, a whole number from 1",
    ("--fail", "nothing@1m"): r"no failure mode 'nothing'\. There are:\n",
    ("--fail", "line_blocked@brew"): r"nor a step\. Steps: rest, ",
}


@pytest.mark.parametrize("options", WRONG, ids=" ".join)
def test_wrong_input_is_said_with_what_is_allowed_and_exit_2(options):
    result = simulate(*options)
    assert result.exit_code == 2
    assert re.search(WRONG[options], result.stderr), result.stderr
    assert "Traceback" not in result.output


@pytest.fixture
def overfilled(tmp_path):
    """The example with a fill of a minute: more than the body holds."""
    copy = shutil.copytree(station_folder("buckwheat_mill"), tmp_path / "mill")
    settings = (copy / "receiver.yaml").read_text()
    assert "fill_s: 16" in settings
    (copy / "receiver.yaml").write_text(settings.replace("fill_s: 16", "fill_s: 60"))
    return str(copy)


def invoked(*words):
    return CliRunner().invoke(app, [*words])


def test_no_run_with_errors_that_the_check_finds_but_all_of_them_and_the_ways_out(overfilled):
    document = json.loads(invoked("check", overfilled, "--json").stdout)
    errors = [finding["what"] for finding in document["findings"] if finding["verdict"] == "error"]
    refused = invoked("simulate", overfilled, "--for", "1s")
    assert "largest batch in the body" in errors
    assert (refused.exit_code, refused.stdout) == (1, "")
    assert re.findall(r"^error (.*?): ", refused.stderr, re.MULTILINE) == errors
    assert f"receiver check {overfilled}" in refused.stderr
    assert "--anyway" in refused.stderr


def test_a_run_in_spite_of_errors_says_so_in_its_head(overfilled):
    """The example itself has no errors."""
    asked = ("simulate", overfilled, "--for", "1s", "--executor", best(), "--anyway")
    found = json.loads(invoked("check", overfilled, "--json").stdout)["errors"]
    run = invoked(*asked)
    assert (run.exit_code, found > 1) == (0, True)
    assert run.stdout.splitlines()[2] == f"Check finds {found} errors: see receiver check {overfilled}"
    assert len(json.loads(invoked(*asked, "--json").stdout)["check_errors"]) == found
    assert "Check finds" not in simulate("--for", "1s").stdout


def test_looking_for_errors_alone_finds_what_the_check_finds_without_its_slow_library():
    """In a process of its own: here others have imported it."""
    code = "import sys; from controller.cli import app; app(sys.argv[1:], standalone_mode=False)"
    code += "; assert 'controller.station_check.report' in sys.modules; assert 'fluids' not in sys.modules"
    asked = ["simulate", "buckwheat_mill", "--for", "100ms", "--executor", "generated"]
    subprocess.run([sys.executable, "-c", code, *asked], check=True, capture_output=True)


@pytest.mark.parametrize("name", ["buckwheat_mill", "sugar_kitchen", "milk_powder_hall"])
@pytest.mark.parametrize("presets", [{}, {"fill_ms": 60_000, "proving_pa": 15_000}])
def test_saltation_which_the_quick_look_leaves_out_is_never_an_error(name, presets):
    folder = station_folder(name)
    station, plant = load_station(folder), load_plant(folder)
    changed = station.receiver.presets._replace(**presets)
    found = judge(plant, changed, station.wired)[1]
    assert errors(plant, changed, station.wired) == tuple(f for f in found if f.verdict == "error")


BEFORE = {
    "trip": (("--fail", "flap_sticks_open@drain#2"), "FAULT"),
    "DRAIN#2": ((), "DRAIN"),
    "filter_clean": ((), "PULSE"),
    "no_material": (("--fail", "feed_empty@10s"), ""),
}


@pytest.mark.parametrize("until", BEFORE)
def test_a_run_ends_where_it_was_told_to(until, tmp_path):
    options, step = BEFORE[until]
    out = tmp_path / "run"
    document = as_document("--for", "4m", "--until", until, "--out", str(out), "--explain", "end", *options)
    events = read_events(out)
    last = [event for event in events if event.at_ms == document["for_ms"]]
    assert document["for_ms"] < 240_000
    assert document["explained"]["at_ms"] == document["for_ms"] == events[-1].at_ms
    assert not step or document["totals"]["step_at_end"] == step
    if not step:
        raised = [event for event in events if event.id == "NO_MATERIAL" and event.what == "raised"]
        assert raised == [event for event in last if event in raised]
        assert len(raised) == 1
    entries = [event for event in events if event.what.endswith("-> DRAIN")]
    assert until != "DRAIN#2" or len(entries) == 2


def test_an_end_that_never_came_is_said_and_fails_a_strict_run():
    document = as_document("--for", "2s", "--until", "drain")
    assert (document["for_ms"], document["failures_never_due"]) == (2_000, ["--until drain"])
    assert simulate("--for", "2s", "--until", "drain", "--strict").exit_code == 1


def test_a_time_as_long_as_the_run_is_no_other_word_for_its_end():
    document = as_document("--for", "30s", "--until", "seal", "--explain", "30s")
    assert document["for_ms"] < 30_000
    assert document["explained"] is None
    assert document["failures_never_due"] == ["--explain 30s, after the end of the run"]
    whole = as_document("--for", "2s", "--explain", "2s")
    assert whole["explained"] == as_document("--for", "2s", "--explain", "end")["explained"]
    assert whole["explained"]["at_ms"] == 2_000


def test_every_step_state_and_event_can_end_a_run():
    for name in (*Step.__members__, *STATES, *EVENTS):
        until = run_end.read(name.lower())
        assert until == run_end.read(name)._replace(said=name.lower())
        assert bool(until.steps) != bool(until.event)


def test_a_state_is_entered_once_whatever_steps_it_goes_through():
    end = run_end.RunEnd(run_end.read("filter_clean#2"))
    for before, step in ((10, 11), (11, 12), (12, 13), (13, 2), (10, 11)):
        assert not end.reached
        end.entered(step, before)
    assert end.reached


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
