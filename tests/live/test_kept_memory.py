"""What is kept through a loss of power: whole or as before, written when it matters, refused when damaged."""

import json

import pytest
from live.rigs import LOGIC, MILL, Driven

from controller.live import kept_memory
from controller.live.kept_memory import (
    CLOCKS_EVERY_MS,
    FILE,
    KeptError,
    KeptMemory,
    read_kept,
    state_folder,
    write_kept,
)
from controller.sequence.steps import Step

KEPT = dict.fromkeys(LOGIC.kept, 1)


def test_what_was_written_is_read_again(tmp_path):
    write_kept(tmp_path / "new", KEPT)
    assert read_kept(tmp_path / "new", LOGIC) == KEPT


def test_nothing_is_kept_before_the_first_run(tmp_path):
    assert read_kept(tmp_path, LOGIC) == {}


def test_what_todays_logic_does_not_know_is_left_out(tmp_path):
    write_kept(tmp_path, {**KEPT, "forgotten": 1})
    assert read_kept(tmp_path, LOGIC) == KEPT


@pytest.mark.parametrize(
    "spoil", [lambda t: t[:-20], lambda t: t.replace(": 1", ": 0", 3), lambda t: "", lambda t: "[]"]
)
def test_a_damaged_file_is_refused_with_the_way_out(tmp_path, spoil):
    write_kept(tmp_path, KEPT)
    path = tmp_path / FILE
    path.write_text(spoil(path.read_text()))
    with pytest.raises(
        KeptError, match=r"kept\.json: .* removed the controller starts as for the first time"
    ):
        read_kept(tmp_path, LOGIC)


def test_a_power_cut_while_writing_leaves_what_was_there(tmp_path, monkeypatch):
    write_kept(tmp_path, KEPT)

    def cut(*_):
        raise OSError(5, "power")

    monkeypatch.setattr(kept_memory.os, "replace", cut)
    with pytest.raises(KeptError, match="power"):
        write_kept(tmp_path, {**KEPT, "on_board": 2})
    assert read_kept(tmp_path, LOGIC) == KEPT


def test_the_file_says_its_format(tmp_path):
    write_kept(tmp_path, KEPT)
    assert json.loads((tmp_path / FILE).read_text())["format"] == 1


def test_a_folder_that_cannot_be_written_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(KeptError, match="file"):
        write_kept(tmp_path / "file", KEPT)


def test_it_is_due_in_the_very_scan_that_changes_it_and_else_rarely():
    driven, follows, due = Driven(), KeptMemory(LOGIC), []
    driven.rig._keep = lambda memory, now_ms: due.append((now_ms, follows.due(memory, now_ms)))
    driven.run(1_000)
    driven.press("start_pb")
    driven.run_until(Step.CONVEY)
    written = [(now_ms, kept) for now_ms, kept in due if kept]
    assert written[0][0] == 10
    changes = len({tuple(kept.values()) for _, kept in written})
    assert len(written) == changes < 20
    assert written[-1][1] == {name: int(getattr(driven.rig.memory, name)) for name in LOGIC.kept}


def test_a_clock_is_written_once_a_minute():
    follows, memory = KeptMemory(LOGIC), LOGIC.power_up()
    assert follows.due(memory, 10)
    later = memory._replace(starts_bucket_ms=5_000)
    assert follows.due(later, 20) is None
    assert follows.due(later, 10 + CLOCKS_EVERY_MS)["starts_bucket_ms"] == 5_000
    assert follows.now(later) is None


def test_the_folder_is_the_users_own(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert state_folder(MILL).parent == tmp_path / "vacuum-receiver"
    monkeypatch.setenv("XDG_STATE_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert state_folder(MILL).parent == tmp_path / ".local" / "state" / "vacuum-receiver"


def test_two_stations_of_one_folder_name_keep_two_memories(tmp_path):
    assert state_folder(tmp_path / "a" / "mill") != state_folder(tmp_path / "b" / "mill")
    assert state_folder(tmp_path / "a" / "mill") == state_folder(tmp_path / "b" / ".." / "a" / "mill")
