"""`receiver run` and `receiver plant`: what is refused and how it is said, and what a run leaves behind."""

import asyncio
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from live.rigs import LOGIC, MILL
from typer.testing import CliRunner

from controller.cli import app
from controller.live import run_command
from controller.live.kept_memory import FILE, read_kept
from controller.live.rig import Rig
from controller.panel.place import only_rig_at
from controller.reporting.journal import read_cycles, read_events
from controller.scan.stop import Stop
from controller.simulate import plant_command
from controller.trace.reader import Trace

pytestmark = pytest.mark.realtime


def invoke(*arguments):
    return CliRunner().invoke(app, [*map(str, arguments)])


@pytest.fixture(autouse=True)
def own_folders(tmp_path, monkeypatch):
    """No test meets the socket or the memory of a rig that runs on this machine."""
    with tempfile.TemporaryDirectory(prefix="rig") as short:  # a socket's path must be short
        monkeypatch.setenv("XDG_RUNTIME_DIR", short)
        monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
        yield


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--rate", "2"), "real I/O runs at rate 1"),
        (("--start",), "nobody presses start on real I/O but a person"),
        (("--io", "simulated", "--rate", "0"), "must be over 0"),
        (("--io", "opc"), "there are simulated and modbus"),
        (("--io", "simulated", "--connect", "127.0.0.1:1502"), "leave out one of the two"),
        (("--connect", "1502"), "write it as HOST:PORT"),
        (("--connect", "127.0.0.1:99999"), "a number from 0 to 65535"),
        (("--connect", "::1:502"), "write it as HOST:PORT"),
        (("--for", "soon"), "--for: 'soon' is not a duration"),
    ],
)
def test_what_cannot_be_is_refused_before_anything_is_written(arguments, said, tmp_path):
    done = invoke("run", MILL, *arguments, "--out", tmp_path / "run")
    assert done.exit_code == 2
    assert said in done.stderr
    assert not (tmp_path / "run").exists()


def test_all_that_is_wrong_is_said_at_once():
    said = invoke("run", MILL, "--rate", "2", "--start", "--for", "soon").stderr
    assert all(word in said for word in ("--rate", "--start", "--for"))


def test_a_station_without_a_map_has_the_ways_out_named(tmp_path):
    folder = shutil.copytree(MILL, tmp_path / "mill")
    (folder / "modbus.yaml").unlink()
    done = invoke("run", folder)
    assert done.exit_code == 2
    assert "no modbus.yaml" in done.stderr
    assert "--io simulated" in done.stderr


def test_a_device_that_does_not_answer_is_said_and_leaves_no_run(tmp_path, monkeypatch):
    monkeypatch.setattr(run_command, "READY_S", 0.3)
    monkeypatch.setattr(run_command, "CONFIRM_S", 0.1)
    done = invoke("run", MILL, "--connect", "127.0.0.1:1", "--out", tmp_path / "run", "--for", "1s")
    assert done.exit_code == 2
    assert "127.0.0.1:1" in done.stderr
    assert done.stdout.splitlines() == [
        "connecting to 127.0.0.1:1 (unit 255) ...",
        "device at 127.0.0.1:1 refused the connection: nothing listens there; trying for 0.3 s more",
    ]
    assert not (tmp_path / "run").exists()


def test_a_second_folder_that_names_the_same_module_does_not_ask_it(tmp_path, monkeypatch):
    """A copy of the station folder, of another name too, is the same machine."""
    folder = shutil.copytree(MILL, tmp_path / "copy")
    with only_rig_at("127.0.0.1:1", 255):
        done = invoke("run", folder, "--connect", "127.0.0.1:1", "--for", "1s")
    assert done.exit_code == 2
    assert "I/O at 127.0.0.1:1, unit 255: belongs to one that runs already" in done.stderr
    assert "refused the connection" not in done.output


def test_outputs_that_may_be_torn_are_warned_of_before_it_connects(tmp_path, monkeypatch):
    monkeypatch.setattr(run_command, "SOON_S", 0.1)
    monkeypatch.setattr(run_command, "READY_S", 0.1)
    monkeypatch.setattr(run_command, "CONFIRM_S", 0.1)
    folder = shutil.copytree(MILL, tmp_path / "mill")
    text = (folder / "modbus.yaml").read_text("utf-8")
    horn = "horn: {table: holding_register, address: 0, bit: 8}"
    assert horn in text
    (folder / "modbus.yaml").write_text(text.replace(horn, "horn: {table: coil, address: 9}"), "utf-8")
    said = invoke("run", folder, "--connect", "127.0.0.1:1", "--for", "1s").stdout
    assert said.index("warning: outputs go out in 2 requests") < said.index("connecting to")


def test_a_damaged_memory_is_refused_at_start(tmp_path):
    (tmp_path / "kept").mkdir()
    (tmp_path / "kept" / FILE).write_text("?")
    done = invoke("run", MILL, "--io", "simulated", "--state", tmp_path / "kept", "--for", "1s")
    assert done.exit_code == 2
    assert "is damaged" in done.stderr


def test_a_run_leaves_journal_trace_and_run_json_and_what_is_kept(tmp_path):
    out, state = tmp_path / "run", tmp_path / "kept"
    done = invoke(
        "run", MILL, "--io", "simulated", "--start", "--for", "1500ms", "--out", out, "--state", state
    )
    assert done.exit_code == 0, done.output
    assert "REST -> WARNING: start accepted" in done.stdout
    assert "outputs safe, confirmed" in done.stdout
    run = json.loads((out / "run.json").read_text())
    assert (run["simulated"], run["live"], run["io"]) == (True, True, "simulated")
    assert run["ended"] == "the time is over"
    assert 100 < run["lateness"]["scans"] <= 150
    told = [event.id for event in read_events(out)]
    assert (told[0], told[-1]) == ("POWER_UP", "CONTROLLER_ENDED")
    assert read_cycles(out) == []
    trace = Trace(out / "trace.gz")
    assert sum(block.scans for block in trace.blocks()) == run["lateness"]["scans"]
    assert read_kept(state, LOGIC)["rest_stored"] == 1
    again = invoke("run", MILL, "--io", "simulated", "--out", out)
    assert again.exit_code == 2
    assert f"holds a run already; name another folder: --out {out}_2\n" in again.stderr


@pytest.mark.parametrize("where", ["scan", "finish"])
def test_after_a_mistake_of_the_program_the_records_that_explain_it_are_there(where, tmp_path, monkeypatch):
    right, done = getattr(Rig, where), []

    def wrong(rig, *given):
        if rig.now_ms < 50:
            return right(rig, *given)
        done.append(rig.scans)
        raise KeyError(*"?")

    monkeypatch.setattr(Rig, where, wrong)
    out, state = tmp_path / "run", tmp_path / "kept"
    said = invoke("run", MILL, "--io", "simulated", "--for", "100ms", "--out", out, "--state", state)
    assert said.exit_code == 1
    assert "Traceback" in said.stdout
    ended = "a mistake in this program: KeyError: '?'"
    assert f"ended: {ended}; outputs safe, confirmed" in said.stdout
    assert json.loads((out / "run.json").read_text())["ended"] == ended
    ids = [event.id for event in read_events(out)]
    assert ids[0] == "POWER_UP"
    if where == "scan":
        assert ids[-1] == "CONTROLLER_ENDED"
        assert [sum(block.scans for block in Trace(out / "trace.gz").blocks())] == done
    assert read_kept(state, LOGIC)["rest_stored"] == 1


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_ends_the_run_in_order_with_safe_outputs(number, tmp_path):
    receiver = str(Path(sys.executable).with_name("receiver"))
    command = [receiver, "run", str(MILL), "--io", "simulated", "--out", str(tmp_path / "run")]
    run = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert any("power-up" in line for line in run.stdout)
        run.send_signal(number)
        said, _ = run.communicate(timeout=60)
    finally:
        run.kill()
    assert run.returncode == 0
    assert f"ended: {number.name}; outputs safe, confirmed" in said
    assert json.loads((tmp_path / "run" / "run.json").read_text())["ended"] == number.name


async def test_a_second_signal_ends_at_once(monkeypatch):
    ended, said = asyncio.Event(), []
    monkeypatch.setattr(os, "_exit", lambda code: (said.append(code), ended.set()))
    with Stop(said.append, "outputs go to safe") as stop:
        assert stop() == ""
        os.kill(os.getpid(), signal.SIGTERM)
        async with asyncio.timeout(10):
            while not stop():  # noqa: ASYNC110 (a signal has no event)
                await asyncio.sleep(0)
            os.kill(os.getpid(), signal.SIGTERM)
            await ended.wait()
    assert said[0] == "SIGTERM: outputs go to safe"
    assert said[1] == 128 + signal.SIGTERM


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--rate", "0"), "must be over 0"),
        (("--listen", "nowhere"), "write it as HOST:PORT"),
        (("--for", "soon"), "is not a duration"),
        (("--listen", "0.0.0.0:1502"), "allow"),
    ],
)
def test_a_plant_that_cannot_be_is_refused(arguments, said):
    done = invoke("plant", MILL, *arguments, *(() if "--for" in arguments else ("--for", "100ms")))
    assert done.exit_code == 2
    assert said in done.stderr


def test_a_plant_runs_for_its_time_and_says_where_it_listens():
    done = invoke("plant", MILL, "--listen", "127.0.0.1:0", "--for", "100ms")
    assert done.exit_code == 0
    assert "listens at 127.0.0.1:" in done.stdout
    assert "no machine moves" in done.stdout
    assert "ended: the time is over" in done.stdout


@pytest.mark.parametrize(("rate", "scan_ms"), [("0.5", 5), ("4", 1.25)])
def test_a_plant_that_lives_slower_answers_its_controller_no_slower(rate, scan_ms, monkeypatch):
    """The watchdog and the controller at the other end live in real time."""
    beats = []
    right = plant_command.Ticker

    def noted(*given, **how):
        beats.append(right(*given, **how))
        return beats[-1]

    monkeypatch.setattr(plant_command, "Ticker", noted)
    done = invoke("plant", MILL, "--listen", "127.0.0.1:0", "--for", "50ms", "--rate", rate)
    assert done.exit_code == 0
    assert [beat._period_s for beat in beats] == [pytest.approx(scan_ms / 1_000)]


def test_the_records_follow_a_clock_that_is_set_while_it_runs(tmp_path, monkeypatch):
    """Powered up with a wrong date; the time comes from the network later."""
    steps = iter([timedelta(hours=1)])
    monkeypatch.setattr(run_command.WallClock, "set_by", lambda clock: next(steps, timedelta(0)))
    done = invoke("run", MILL, "--io", "simulated", "--for", "3s", "--out", tmp_path / "run")
    assert done.exit_code == 0, done.output
    first, *_, last = events = read_events(tmp_path / "run")
    (told,) = [event for event in events if event.id == "CLOCK_CHANGED"]
    assert told.what == "set by +3600.0 s"
    assert told.detail.startswith(f"the date was {first.utc[:13]}")
    (deed,) = [line for line in (tmp_path / "run" / "audit.jsonl").read_text().splitlines() if '"clock"' in line]
    assert f'"utc":"{told.utc}"' in deed
    for event in (told, last):
        passed = datetime.fromisoformat(event.utc) - datetime.fromisoformat(first.utc)
        assert passed == timedelta(hours=1, milliseconds=event.at_ms - first.at_ms)


@pytest.fixture
def overfilled(tmp_path):
    """A mill that fills the receiver for longer than it takes: the check finds that an error."""
    folder = shutil.copytree(MILL, tmp_path / "overfilled")
    settings = (folder / "receiver.yaml").read_text(encoding="utf-8")
    assert "fill_s: 16" in settings
    (folder / "receiver.yaml").write_text(settings.replace("fill_s: 16", "fill_s: 60"), encoding="utf-8")
    return folder


@pytest.mark.parametrize("io", [(), ("--io", "simulated")])
def test_a_station_in_which_the_check_finds_errors_is_not_run(overfilled, tmp_path, io):
    done = invoke("run", overfilled, *io, "--for", "100ms", "--out", tmp_path / "run")
    assert (done.exit_code, done.stdout) == (1, "")
    assert "error largest batch in the body: " in done.stderr
    assert "run: no run, the check finds " in done.stderr
    assert not (tmp_path / "run").exists()


def test_who_runs_it_anyway_is_told_of_the_errors(overfilled):
    done = invoke("run", overfilled, "--io", "simulated", "--for", "100ms", "--anyway")
    assert (done.exit_code, done.stderr) == (0, "")
    found = json.loads(invoke("check", overfilled, "--json").stdout)["errors"]
    assert f"errors that the check finds: {found}; see receiver check" in done.stdout


def test_without_a_plant_file_real_io_is_run_and_said_to_be_unchecked(overfilled):
    (overfilled / "plant.yaml").unlink()
    done = invoke("run", overfilled, "--connect", "127.0.0.1:1", "--for", "100ms")
    assert done.exit_code == 2
    assert "run: not checked: " in done.stdout
