"""Where the panel socket lies: of its user alone, one for each station, nothing of others taken over."""

import errno
import os
import socket
import stat
from pathlib import Path

import pytest
from panel.callers import STATUS, Caller
from panel.rigs import NotingRig

from controller.panel.client import Client, NotRunningError
from controller.panel.place import PanelError, make_private, only_rig_at, socket_path
from controller.panel.server import Panel


async def test_only_its_user_reaches_the_socket(mill):
    async with Panel(mill, NotingRig()) as panel:
        assert stat.S_IMODE(panel.path.stat().st_mode) == 0o600
        assert stat.S_IMODE(panel.path.parent.stat().st_mode) == 0o700
        assert panel.path.parent.stat().st_uid == os.getuid()


async def test_without_a_runtime_folder_it_lies_in_one_named_by_the_user(mill, monkeypatch):
    monkeypatch.delenv("XDG_RUNTIME_DIR")
    monkeypatch.setattr("tempfile.tempdir", "/short")
    assert socket_path(mill).parent == Path(f"/short/vacuum-receiver-{os.getuid()}")


def test_each_station_name_has_a_socket_and_a_plant_one_beside_it(mill, tmp_path):
    strange = tmp_path / "halle 3 über"
    assert socket_path(mill) != socket_path(mill, plant=True)
    assert socket_path(strange) != socket_path(tmp_path / "halle_3__ber")
    assert socket_path(mill / ".." / "mill") == socket_path(mill)


async def test_two_stations_of_one_folder_name_are_two_machines(mill, tmp_path):
    """A start for the one must never reach the other; who looked for it is told that there is one."""
    other = tmp_path / "other" / mill.name
    assert socket_path(other) != socket_path(mill)
    async with Panel(mill, NotingRig()):
        with pytest.raises(NotRunningError, match=f"one of another folder named {mill.name} may: name its folder"):
            Client(other)
        Client(mill).close()


def test_a_station_reached_by_a_link_is_the_same_machine(mill, tmp_path):
    (tmp_path / "linked").symlink_to(mill)
    assert socket_path(tmp_path / "linked") == socket_path(mill)


def test_the_longest_name_of_a_folder_leaves_room_for_the_path_of_its_socket(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_RUNTIME_DIR", "")
    monkeypatch.setattr("tempfile.tempdir", "/tmp")
    monkeypatch.setattr("os.getuid", lambda: 2**31)
    assert len(os.fsencode(socket_path(tmp_path / ("ü" * 120), plant=True))) < 80


def test_a_path_too_long_for_a_socket_is_told_before_it_is_tried(mill, tmp_path, monkeypatch):
    deep = tmp_path / ("d" * 90)
    deep.mkdir()
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(deep))
    with pytest.raises(PanelError, match="longer than 100 bytes"):
        socket_path(mill)


@pytest.mark.parametrize("mode", [0o755, 0o770, 0o701])
def test_a_folder_that_others_may_enter_is_refused(tmp_path, mode):
    folder = tmp_path / "open"
    folder.mkdir()
    folder.chmod(mode)
    with pytest.raises(PanelError, match=f"run chmod 700 {folder}"):
        make_private(folder)


def test_a_link_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "real").mkdir(mode=0o700)
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(PanelError, match="not a folder of this user's own"):
        make_private(tmp_path / "link")


async def test_a_second_rig_of_the_station_is_refused_and_the_first_goes_on(mill):
    async with Panel(mill, NotingRig()) as first:
        with pytest.raises(PanelError, match=f"belongs to one that runs already as process {os.getpid()}; end"):
            await Panel(mill, NotingRig()).__aenter__()
        caller = await Caller.to(first)
        assert (await caller.ask(STATUS))["answer"] == "accepted"
        caller.close()


def at_module(host="10.0.0.7", unit=255):
    return only_rig_at(f"{host}:502", unit)


def test_two_folders_that_name_one_module_are_one_machine(mill):
    said = f"I/O at 10.0.0.7:502, unit 255: belongs to one that runs already as process {os.getpid()}; end"
    with at_module(), at_module(unit=1), at_module("10.0.0.8"), pytest.raises(PanelError, match=said), at_module():
        pass
    with at_module():
        pass


async def test_a_full_disk_costs_no_more_than_the_number_of_the_process(mill, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("controller.panel.place.os.write", full)
    with at_module(), pytest.raises(PanelError, match="belongs to one that runs already; end"), at_module():
        pass


async def test_a_socket_that_still_answers_is_never_taken_over(mill):
    """Somebody answers there who holds no lock: another version, or one in a copied folder."""
    path = socket_path(mill)
    make_private(path.parent)
    with socket.socket(socket.AF_UNIX) as other:
        other.bind(str(path))
        other.listen(1)
        with pytest.raises(PanelError, match="is answered by one that runs already"):
            await Panel(mill, NotingRig()).__aenter__()
        assert path.exists()


async def test_the_socket_of_a_killed_rig_is_replaced(mill):
    path = socket_path(mill)
    make_private(path.parent)
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(path))
    async with Panel(mill, NotingRig()) as panel:
        caller = await Caller.to(panel)
        assert (await caller.ask(STATUS))["status"]["station"] == "R-101"
        caller.close()
    assert not path.exists()


async def test_a_file_or_link_in_place_of_the_socket_is_left_alone(mill, tmp_path):
    path = socket_path(mill)
    make_private(path.parent)
    path.write_text("a note")
    with pytest.raises(PanelError, match="is no socket"):
        await Panel(mill, NotingRig()).__aenter__()
    assert path.read_text() == "a note"
    path.unlink()
    path.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(PanelError, match="is no socket"):
        await Panel(mill, NotingRig()).__aenter__()
