"""What a rig reads of its station: every mistake of all files at once, and the same for a check and for a start."""

import shutil
import socket
from pathlib import Path

import pytest
from typer.testing import CliRunner

from controller.cli import app
from controller.problems import StationError
from controller.rig_files import load_rig_files

CONFIGS = Path(__file__).parents[2] / "configs"
MISTAKES = {
    "modbus.yaml": (("watchdog_ms: 500", "watchdog_ms: 150"), ("retries: 1 ", "retries: 2 ")),
    "services.yaml": (("keepalive_s: 15", "keepalive_s: 1"), ("unit: 1\n", "unit: 0\n")),
}


@pytest.fixture
def mill(tmp_path):
    return shutil.copytree(CONFIGS / "buckwheat_mill", tmp_path / "mill")


def spoil(folder, file, *slips):
    text = (folder / file).read_text("utf-8")
    for before, after in slips:
        assert text.count(before) == 1, before
        text = text.replace(before, after)
    (folder / file).write_text(text, "utf-8")


def told(*arguments):
    """The problems of a command, without the folder."""
    done = CliRunner().invoke(app, [*map(str, arguments)])
    assert isinstance(done.exception, StationError), done.output
    return [f"{Path(one.file).name}:{one.key}" for one in done.exception.problems]


def test_a_station_as_it_comes_is_read_whole(mill):
    found = load_rig_files(mill)
    assert found.map
    assert found.map.watchdog_ms > found.station.receiver.presets.io_lost_ms


def test_a_check_and_a_start_tell_the_same_of_every_file_and_nothing_is_connected(mill):
    spoil(mill, "receiver.yaml", ("  warning_ms: ", "  warnings_ms: "))
    for file, slips in MISTAKES.items():
        spoil(mill, file, *slips)
    with socket.create_server(("127.0.0.1", 0)) as device:
        found = told("run", mill, "--connect", f"127.0.0.1:{device.getsockname()[1]}", "--for", "1s")
        device.setblocking(False)
        with pytest.raises(BlockingIOError):
            device.accept()
    assert found == told("check", mill)
    assert set(found) >= {
        "receiver.yaml:start.warnings_ms", "modbus.yaml:link.retries", "modbus.yaml:link.timeout_ms",
        "services.yaml:mqtt.keepalive_s", "services.yaml:registers.unit",
    }  # fmt: skip
    assert len(found) == len(set(found))


def test_a_watchdog_that_is_too_short_is_told_with_both_values_and_both_files(mill):
    """Whatever else is wrong in the map."""
    for file, slips in MISTAKES.items():
        spoil(mill, file, *slips)
    with pytest.raises(StationError) as caught:
        load_rig_files(mill)
    (said,) = (str(one) for one in caught.value.problems if one.key == "backstops.io_lost_ms")
    assert said.startswith(f"{mill / 'receiver.yaml'}:")
    assert f"is 200: watchdog_ms in {mill / 'modbus.yaml'} is 150 and must be longer" in said


def test_a_life_counter_is_asked_for_that_the_device_does_not_have(tmp_path):
    folder = shutil.copytree(CONFIGS / "sugar_kitchen", tmp_path / "kitchen")
    text = (folder / "receiver.yaml").read_text("utf-8")
    (folder / "receiver.yaml").write_text(f"{text}\nbackstops:\n  io_life_watched: true\n", "utf-8")
    assert told("check", folder) == told("run", folder) == ["receiver.yaml:backstops.io_life_watched"]


def test_simulated_io_needs_no_map(mill):
    spoil(mill, "modbus.yaml", *MISTAKES["modbus.yaml"])
    assert load_rig_files(mill, with_map=False).map is None
