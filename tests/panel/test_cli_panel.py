"""The commands of the command line over a real socket: what they print, and their exit codes."""

import asyncio
import json
import tempfile
import threading
from concurrent.futures import Future
from contextlib import contextmanager

import pytest
from panel.rigs import LonelyPlant, NotingRig
from typer.testing import CliRunner

from controller.cli import app
from controller.panel.client import Client
from controller.panel.hold_command import held
from controller.panel.server import Panel
from controller.stations import station_folder

MILL = station_folder("buckwheat_mill")
IN_MANUAL = {"manual": True, "manual_ms": 5_000, "warning_ms": 3_000, "jog_renew_ms": 500}


@pytest.fixture(autouse=True)
def runtime(monkeypatch):
    with tempfile.TemporaryDirectory(prefix="rx") as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        yield


@contextmanager
def running(rig, *, plant=False):
    """The panel of a rig on a loop in a thread of its own."""
    started: Future[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = Future()

    async def serve():
        ended = asyncio.Event()
        async with Panel(MILL, rig, plant=plant):
            started.set_result((asyncio.get_running_loop(), ended))
            await ended.wait()

    thread = threading.Thread(target=asyncio.run, args=(serve(),))
    thread.start()
    loop, ended = started.result(timeout=20)
    try:
        yield
    finally:
        loop.call_soon_threadsafe(ended.set)
        thread.join()


def receiver(*words, typed=None):
    return CliRunner().invoke(app, words, input=typed)


class RefusingRig(NotingRig):
    async def request(self, command):
        return ("manual mode is on", "a fault stands: reset first")


# ---- command ----


def test_accepted_is_exit_code_0_and_says_where_the_rig_stands():
    rig = NotingRig(state="IDLE", step="REST")
    with running(rig):
        done = receiver("command", "buckwheat_mill", "start")
    assert (done.exit_code, rig.asked) == (0, ["start"])
    assert done.output == "start: accepted\n  R-101: IDLE REST; simulated I/O\n"


def test_refused_is_exit_code_1_with_every_reason():
    with running(RefusingRig()):
        done = receiver("command", "buckwheat_mill", "start")
    assert done.exit_code == 1
    assert done.output.startswith("start: refused: manual mode is on; a fault stands: reset first\n")


@pytest.mark.parametrize(("typed", "asked"), [("ack", "acknowledge"), ("vessel-seen", "vessel_seen")])
def test_the_words_that_people_type_are_the_commands_of_the_sequence(typed, asked):
    rig = NotingRig()
    with running(rig):
        assert receiver("command", "buckwheat_mill", typed).exit_code == 0
    assert rig.asked == [asked]


def test_no_rig_is_exit_code_2_and_says_which_and_how_to_start_one():
    done = receiver("command", "buckwheat_mill", "stop")
    assert done.exit_code == 2
    assert "no rig of buckwheat_mill runs" in done.output
    assert "receiver run buckwheat_mill" in done.output


def test_an_unknown_word_is_exit_code_2_with_the_nearest():
    done = receiver("command", "buckwheat_mill", "strat")
    assert done.exit_code == 2
    assert "did you mean 'start'" in done.output


def test_json_is_one_document():
    with running(RefusingRig()):
        done = receiver("command", "buckwheat_mill", "reset", "--json")
    assert done.exit_code == 1
    document = json.loads(done.output)
    assert (document["answer"], document["status"]["station"]) == ("refused", "R-101")


def test_a_stop_reaches_the_rig_although_its_files_have_become_wrong(tmp_path):
    """The socket hangs on the folder's name alone; nothing of the station is read."""
    station = tmp_path / "buckwheat_mill"
    station.mkdir()
    (station / "receiver.yaml").write_text("not: [yaml")
    rig = NotingRig()
    with running(rig):
        assert receiver("command", str(station), "stop").exit_code == 0
    assert rig.asked == ["stop"]


# ---- fail ----


def test_a_failure_goes_into_the_running_rig_and_shows():
    rig = NotingRig(failures={"line_blocked": 0.5})
    with running(rig):
        done = receiver("fail", "buckwheat_mill", "line_blocked", "--for", "5s", "--amount", "0.5")
    assert (done.exit_code, rig.asked) == (0, ["fail line_blocked 0.5 5000"])
    assert "SIMULATED FAILURE: line_blocked, amount 0.5" in done.output


def test_a_failure_is_refused_on_real_io():
    rig = NotingRig(real=True)
    with running(rig):
        done = receiver("fail", "buckwheat_mill", "line_blocked")
    assert (done.exit_code, rig.asked) == (1, [])
    assert "real I/O" in done.output


def test_with_a_plant_beside_a_rig_on_real_io_it_goes_into_the_plant_and_shows_at_the_rig():
    plant, rig = LonelyPlant(), NotingRig(real=True)
    with running(plant, plant=True), running(rig):
        done = receiver("fail", "buckwheat_mill", "line_blocked", "--for", "5s")
        assert (done.exit_code, plant.failures) == (0, {"line_blocked": 1.0})
        assert "SIMULATED FAILURE: line_blocked" in receiver("command", "buckwheat_mill", "start").output
        assert "SIMULATED FAILURE: line_blocked" in receiver("points", "buckwheat_mill", "--live").output
    assert rig.asked == ["start"]


@pytest.mark.parametrize("lasts", ["0s", "soon", "-1s"])
def test_a_time_that_is_none_is_exit_code_2(lasts):
    done = receiver("fail", "buckwheat_mill", "line_blocked", "--for", lasts)
    assert done.exit_code == 2
    assert "write it as 1h, 12m30s" in done.output


def test_without_rig_and_plant_both_ways_are_said():
    done = receiver("fail", "buckwheat_mill", "line_blocked")
    assert done.exit_code == 2
    assert "receiver plant buckwheat_mill" in done.output
    assert "receiver run buckwheat_mill --io simulated" in done.output


# ---- hold ----


def test_holding_renews_and_says_only_what_changes_until_let_go():
    rig = NotingRig(held="flap_open_cmd", held_on=True, **IN_MANUAL)
    told, waits = [], []

    def wait(seconds):
        waits.append(seconds)
        if len(waits) == 5:
            raise KeyboardInterrupt

    with running(rig), Client(MILL) as client, pytest.raises(KeyboardInterrupt):
        held(client, "flap_open_cmd", told.append, wait)
    assert rig.asked[:5] == ["jog flap_open_cmd"] * 5
    assert waits == [0.2] * 5
    assert told == ["flap_open_cmd: on, while you hold it; Ctrl-C lets go"]
    assert rig.asked[5:] == ["jog "], "the end of the connection lets go"


def test_ctrl_c_lets_go_with_exit_code_0(monkeypatch):
    rig = NotingRig(held="flap_open_cmd", held_back=("the vacuum is not released",), **IN_MANUAL)

    def interrupted(*_):
        raise KeyboardInterrupt

    with running(rig):
        monkeypatch.setattr("threading.Event.wait", interrupted)
        done = receiver("hold", "buckwheat_mill", "flap_open_cmd")
        monkeypatch.undo()
    assert done.exit_code == 0
    assert done.output == (
        "flap_open_cmd: held, but off: the vacuum is not released\nflap_open_cmd: let go\n"
    )
    assert rig.asked == ["jog flap_open_cmd", "jog "]


def test_outside_manual_mode_hold_is_refused_with_exit_code_1():
    rig = NotingRig()
    with running(rig):
        done = receiver("hold", "buckwheat_mill", "flap_open_cmd")
    assert (done.exit_code, rig.asked) == (1, [])
    assert "manual mode is off: ask for manual first" in done.output


# ---- points --live ----


def test_live_points_show_quality_raw_value_and_age_once_where_there_is_no_terminal():
    with running(NotingRig(forced={"level_free": 0})):
        done = receiver("points", "buckwheat_mill", "--live")
    assert done.exit_code == 0
    row = next(line for line in done.output.splitlines() if line.strip().startswith("PT-102"))
    assert row.split() == [
        "PT-102", "supply_air_ua", "supply", "air", "at", "the", "header", "of", "the", "station",
        "good", "13.60", "mA", "600.0", "kPa", "gauge", "0", "ms",
    ]  # fmt: skip
    assert "FORCED INPUT: level_free reads 0" in done.output
    assert not any(line.endswith(" ") for line in done.output.splitlines())


def test_live_points_as_json_are_one_document():
    with running(NotingRig()):
        done = receiver("points", "buckwheat_mill", "--live", "--json")
    document = json.loads(done.output)
    assert {p["name"]: p["raw"] for p in document["points"]}["supply_air_ua"] == 13_600


@pytest.mark.parametrize("more", [["--once"], ["--check-out", "sheet.csv"]])
def test_what_needs_a_running_rig_is_refused_without_live(more):
    done = receiver("points", "buckwheat_mill", *more)
    assert done.exit_code == 2
    assert "need --live" in done.output


def test_live_points_without_a_rig_are_exit_code_2():
    assert receiver("points", "buckwheat_mill", "--live").exit_code == 2


def test_a_check_out_by_hand_leaves_a_sheet_and_goes_on_with_it(tmp_path):
    sheet = tmp_path / "sheet.csv"
    words = ("points", "buckwheat_mill", "--live", "--check-out", str(sheet))
    with running(NotingRig()):
        done = receiver(*words, typed="B. Baker\ngood pressed\nend\n")
        assert done.exit_code == 1
        again = receiver(*words, typed="B. Baker\n" + "good looked at\n" * 30)
        assert again.exit_code == 0, again.output
    lines = sheet.read_text().splitlines()
    assert len(lines) == 1 + 19
    assert lines[1].startswith("R-101,simulated,HS-101,start_pb,good,pressed,off,B. Baker,20")
