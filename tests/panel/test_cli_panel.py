"""The commands of the command line over a real socket: what they print, and their exit codes."""

import asyncio
import json
import os
import pwd
import tempfile
import threading
from concurrent.futures import Future
from contextlib import contextmanager, suppress

import pytest
from panel.rigs import LonelyPlant, NotingRig
from typer.testing import CliRunner

from controller.cli import app
from controller.panel.client import Client
from controller.panel.hold_command import held
from controller.panel.messages import HoldAsked
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
def running(rig, *, plant=False, station=MILL):
    """The panel of a rig on a loop in a thread of its own."""
    started: Future[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = Future()

    async def serve():
        ended = asyncio.Event()
        async with Panel(station, rig, plant=plant):
            started.set_result((asyncio.get_running_loop(), ended))
            await ended.wait()

    thread = threading.Thread(target=asyncio.run, args=(serve(),))
    thread.start()
    loop, ended = started.result(timeout=20)
    try:
        yield ended
    finally:
        with suppress(RuntimeError):  # it has ended by itself
            loop.call_soon_threadsafe(ended.set)
        thread.join()


def receiver(*words, typed=None):
    return CliRunner().invoke(app, words, input=typed)


class RefusingRig(NotingRig):
    async def request(self, command, who="", to_hold=""):
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
    with running(rig, station=station):
        assert receiver("command", str(station), "stop").exit_code == 0
    assert rig.asked == ["stop"]


# ---- fail ----


def test_a_failure_goes_into_the_running_rig_and_shows():
    rig = NotingRig(failures={"line_blocked": 0.5})
    with running(rig):
        done = receiver("fail", "buckwheat_mill", "line_blocked", "--for", "5s", "--amount", "0.5")
    assert (done.exit_code, rig.asked) == (0, ["fail line_blocked 0.5 5000"])
    assert "SIMULATED FAILURE: line_blocked, amount 0.5" in done.output


@pytest.mark.parametrize("how", [["--mend"], ["--amount", "0"]])
def test_a_failure_is_mended_in_words_of_its_own(how):
    rig = NotingRig()
    with running(rig):
        done = receiver("fail", "buckwheat_mill", "line_blocked", *how)
    assert (done.exit_code, rig.asked) == (0, ["fail line_blocked 0.0 None"])
    assert done.output.startswith("mend line_blocked: accepted\n")
    assert receiver("fail", "buckwheat_mill", "line_blocked", "--mend", "--for", "5s").exit_code == 2


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


@pytest.mark.parametrize(
    ("io", "said"), [("modbus 127.0.0.1:1502", True), ("modbus 192.168.7.20:502", False)]
)
def test_a_rig_on_the_map_of_this_machine_whose_plant_is_gone_is_told_with_how_to_start_one(io, said):
    with running(NotingRig(real=True, io=io)):
        done = receiver("fail", "buckwheat_mill", "line_blocked")
    assert done.exit_code == 1
    assert ("start it with `receiver plant buckwheat_mill`" in done.output) == said


@pytest.mark.parametrize("typed", ["link_drops", "link_drop"])
def test_a_failure_of_the_link_is_told_with_who_has_it(typed):
    with running(LonelyPlant(), plant=True):
        done = receiver("fail", "buckwheat_mill", typed)
    assert done.exit_code == 1
    assert "link_drops is a failure of the link: scenario files over the wire have it" in done.output


def test_a_reset_that_is_accepted_says_what_it_has_not_proved():
    class Resetting(NotingRig):
        async def request(self, command, who="", to_hold=""):
            self.now = self.now.model_copy(update={"state": "IDLE", "told": ""})
            return ()

    with running(Resetting(state="FAULT", told="FLAP_NOT_CLOSED")):
        done = receiver("command", "buckwheat_mill", "reset")
    assert done.exit_code == 0
    (line,) = [line for line in done.output.splitlines() if "FLAP_NOT_CLOSED" in line]
    assert "not proved mended by the reset: looked at in SEAL" in line


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

    asked = HoldAsked(ask="hold", output="flap_open_cmd")
    with running(rig), Client(MILL) as client, pytest.raises(KeyboardInterrupt):
        held(client, asked, told.append, wait)
    assert rig.asked[:7] == ["automatic", "manual", *["jog flap_open_cmd"] * 5]
    assert waits == [0.2] * 5
    assert told == ["flap_open_cmd: on, while you hold it; Ctrl-C lets go"]
    assert rig.asked[7:] == ["jog "], "the end of the connection lets go"


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
    assert rig.asked == ["automatic", "manual", "jog flap_open_cmd", "jog "]


class Falling(NotingRig):
    """What is held falls after the third renewal."""

    falls = {"manual": False}  # noqa: RUF012

    def jog(self, output, who="", area_clear_by=""):
        super().jog(output, who, area_clear_by)
        assert self.asked.count("jog flap_open_cmd") < 20, "held on although it fell"
        if self.asked.count("jog flap_open_cmd") == 3:
            self.now = self.now.model_copy(update=self.falls)


@pytest.mark.parametrize(
    ("falls", "why"),
    [
        ({"manual": False}, "manual mode has ended"),
        ({"state": "FAULT", "told": "IO_LOST"}, "a fault came: IO_LOST"),
        ({"dropped": True, "held_back": ("the inputs are too old",), "at_ms": 600}, "the inputs are too old"),
    ],
)
def test_a_hold_that_falls_ends_by_itself_with_exit_code_1_and_why(falls, why):
    rig = Falling(held="flap_open_cmd", held_on=True, **IN_MANUAL)
    rig.falls = falls
    with running(rig):
        done = receiver("hold", "buckwheat_mill", "flap_open_cmd")
    assert done.exit_code == 1
    assert f"hold flap_open_cmd: refused: flap_open_cmd fell: {why}\n" in done.output
    assert rig.asked[-2:] == ["jog flap_open_cmd", "jog "]


def test_a_hold_whose_rig_goes_away_ends_by_itself_with_exit_code_1():
    class Leaving(Falling):
        def jog(self, output, who="", area_clear_by=""):
            if self.asked.count("jog flap_open_cmd") == 2:
                asyncio.get_running_loop().call_soon(self.ended.set)
            NotingRig.jog(self, output, who, area_clear_by)

    rig = Leaving(held="flap_open_cmd", held_on=True, **IN_MANUAL)
    with running(rig) as rig.ended:
        done = receiver("hold", "buckwheat_mill", "flap_open_cmd")
    assert done.exit_code == 1
    assert "flap_open_cmd fell: " in done.output
    assert "the connection was ended" in done.output


REAL = {"real": True, "io": "modbus 127.0.0.1:1502"}


@pytest.mark.parametrize("given", [[], *(["--area-is-clear", no] for no in ("yes", "no", "not yet", ""))])
def test_on_io_that_may_be_real_a_script_holds_nothing_without_the_name_of_who_gives_the_area_as_clear(given):
    rig = Falling(**REAL, **IN_MANUAL)
    with running(rig):
        done = receiver("hold", "buckwheat_mill", "flap_open_cmd", *given, typed="A. Miller\n")
    assert (done.exit_code, rig.asked) == (1, [])
    assert "nobody gave the area as clear" in done.output
    assert ("--area-is-clear NAME" in done.output) == (not given)


@pytest.mark.parametrize(
    ("typed", "held"),
    [("clear\nA. Miller\n", True), ("Clear\nA. Miller\n", True), ("Yes\nA. Miller\n", False),
     ("no\nA. Miller\n", False), ("A. Miller\n" * 2, False),
     ("\n", False), ("", False), ("yes\n", False), ("yes\nyes\n", False), ("yes\nnein\n", False)],
)
def test_on_io_that_may_be_real_a_person_at_a_terminal_is_asked(monkeypatch, typed, held):
    rig = Falling(**REAL, **IN_MANUAL)
    monkeypatch.setattr("controller.cli_panel._at_hand", lambda: True)
    with running(rig):
        done = receiver("hold", "buckwheat_mill", "flap_open_cmd", typed=typed)
    assert "Are people, hands and tools clear of R-101? flap_open_cmd may move it." in done.output
    assert done.exit_code == 1
    assert ("jog flap_open_cmd" in rig.asked) == held
    assert ("A. Miller" in {area for _, area in rig.people}) == held


def test_the_option_with_a_name_holds_and_is_written_down_with_who():
    rig = Falling(**REAL, **IN_MANUAL)
    options = ("--area-is-clear", "A. Miller", "--on-behalf-of", "Bob")
    with running(rig):
        done = receiver("hold", "buckwheat_mill", "flap_open_cmd", *options)
    assert "clear of" not in done.output
    assert rig.people[2] == (f"{pwd.getpwuid(os.getuid()).pw_name} for Bob", "A. Miller")


def test_with_the_plant_in_the_rig_nobody_is_asked():
    rig = Falling(**IN_MANUAL)
    with running(rig):
        done = receiver("hold", "buckwheat_mill", "flap_open_cmd")
    assert "clear of" not in done.output
    assert "jog flap_open_cmd" in rig.asked


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
        again = receiver(*words, typed="B. Baker\n" + "good looked at\nnext\n" * 30)
        assert again.exit_code == 1, "nothing has moved"
    assert "good: 0; by word only: start_pb, " in again.output
    assert "not good: none; open: 0\n" in again.output
    lines = sheet.read_text().splitlines()
    assert len(lines) == 1 + 1 + 19
    assert lines[1].startswith("R-101,simulated,HS-101,start_pb,by word only,pressed,off,B. Baker,20")
