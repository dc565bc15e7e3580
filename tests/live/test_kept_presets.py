"""Presets stay as they are while a station runs; what is different at the next start is written down."""

import json
import shutil
import tempfile

import pytest
from live.rigs import MILL, PRESETS, Driven
from typer.testing import CliRunner

from controller.audit.check import check
from controller.audit.line import Anchor
from controller.audit.log import FILE as AUDIT
from controller.cli import app
from controller.live import run_command
from controller.live.kept_presets import FILE, Changed, changed, remember
from controller.reporting.journal import read_events, read_marks
from controller.sequence.steps import Step
from controller.settings import load_station


@pytest.fixture(autouse=True)
def own_folders(tmp_path, monkeypatch):
    with tempfile.TemporaryDirectory(prefix="rig") as short:  # a socket's path must be short
        monkeypatch.setenv("XDG_RUNTIME_DIR", short)
        monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
        yield


def test_before_the_first_run_and_without_a_folder_nothing_is_known(tmp_path):
    assert changed(tmp_path, PRESETS) is None
    assert changed(None, PRESETS) is None


def test_the_same_presets_are_no_change_and_others_are_named_with_before_and_now(tmp_path):
    remember(tmp_path / "new", PRESETS)
    assert changed(tmp_path / "new", PRESETS) == []
    other = PRESETS._replace(fill_ms=PRESETS.fill_ms + 500, warning_ms=1_000)
    assert changed(tmp_path / "new", other) == [
        Changed(name, getattr(PRESETS, name), getattr(other, name))
        for name in PRESETS._fields
        if name in ("fill_ms", "warning_ms")
    ]


def test_a_preset_that_another_version_does_not_know_is_told_too(tmp_path):
    remember(tmp_path, PRESETS)
    document = json.loads((tmp_path / FILE).read_text())
    del document["presets"]["fill_ms"]
    document["presets"]["soak_ms"] = 70
    (tmp_path / FILE).write_text(json.dumps(document))
    assert changed(tmp_path, PRESETS) == [
        Changed("fill_ms", None, PRESETS.fill_ms),
        Changed("soak_ms", 70, None),
    ]


@pytest.mark.parametrize(
    "text", ["", "?", "[]", "{}", '{"format": 2, "presets": {}}', '{"format": 1, "presets": {"a": "b"}}']
)
def test_a_damaged_file_keeps_no_receiver_from_its_work_and_counts_as_unknown(tmp_path, text):
    (tmp_path / FILE).write_text(text)
    assert changed(tmp_path, PRESETS) is None


def run(station, out):
    arguments = ("run", station, "--io", "simulated", "--state", out.parent / "kept", "--for", "300ms")
    done = CliRunner().invoke(app, [*map(str, arguments), "--out", str(out)])
    assert done.exit_code == 0, done.output
    return read_events(out)


def settings_told(events):
    return [event.what for event in events if event.id == "PRESET_CHANGED"]


def edit(station):
    text = (station / "receiver.yaml").read_text()
    (station / "receiver.yaml").write_text(text.replace("warning_ms: 3000", "warning_ms: 2000"))
    assert load_station(station).receiver.presets.warning_ms == 2_000


def horn_ms(driven):
    """From the press of start to the end of the step in which the horn warns."""
    start_ms = driven.rig.now_ms
    driven.press("start_pb")
    while driven.rig.memory.step == Step.WARNING:
        driven.scan()
    return driven.rig.now_ms - start_ms


def test_a_preset_changed_in_its_file_while_it_runs_does_nothing_before_the_next_start(tmp_path):
    """So no step ever sees its preset change while it is active."""
    station = shutil.copytree(MILL, tmp_path / "mill")
    running = Driven(presets=load_station(station).receiver.presets)
    running.run(1_000)
    edit(station)
    assert horn_ms(running) == pytest.approx(3_000, abs=30)
    assert running.rig.presets.warning_ms == 3_000
    again = Driven(presets=load_station(station).receiver.presets)
    again.run(1_000)
    assert horn_ms(again) == pytest.approx(2_000, abs=30)


def test_a_preset_that_changed_since_the_run_before_is_told_at_the_start_in_journal_and_audit_log_once(
    tmp_path, monkeypatch
):
    station = shutil.copytree(MILL, tmp_path / "mill")
    power_up = run_command.Rig.power_up

    def edited_as_it_starts(rig, *arguments):
        edit(station)
        power_up(rig, *arguments)

    monkeypatch.setattr(run_command.Rig, "power_up", edited_as_it_starts)
    assert settings_told(run(station, tmp_path / "first")) == []
    assert settings_told(run(station, tmp_path / "second")) == ["warning_ms was 3000, is 2000"]
    assert settings_told(run(station, tmp_path / "third")) == []
    lines = [json.loads(line) for line in (tmp_path / "second" / AUDIT).read_text().splitlines()]
    assert [line["parameters"] for line in lines if line["command"] == "preset"] == [
        {"name": "warning_ms", "before": 3_000, "now": 2_000}
    ]


def test_a_run_leaves_an_audit_log_whose_end_the_journal_knows(tmp_path):
    run(MILL, tmp_path / "run")
    marks = read_marks(tmp_path / "run")
    anchor = Anchor(marks["audit", "head"], marks["audit", "count"])
    told = check(tmp_path / "run", anchor)
    assert told.good
    assert told.lines == told.anchored == anchor.lines
    commands = [json.loads(line)["command"] for line in (tmp_path / "run" / AUDIT).read_text().splitlines()]
    assert commands == ["power up", "end"]


def test_a_run_without_a_journal_changes_nothing_of_what_the_next_one_compares_with(tmp_path):
    remember(tmp_path / "kept", PRESETS._replace(warning_ms=1_000))
    arguments = ("run", MILL, "--io", "simulated", "--state", tmp_path / "kept", "--for", "100ms")
    done = CliRunner().invoke(app, [*map(str, arguments)])
    assert "warning_ms was 1000, is 3000" in done.output
    assert settings_told(run(MILL, tmp_path / "run")) == ["warning_ms was 1000, is 3000"]
