"""What `receiver run` is asked for, beyond what the command line tests show."""

from pathlib import Path

import pytest

from controller.live.kept_memory import state_folder, write_kept
from controller.live.run_ask import WrongAskError, read_ask

CONFIGS = Path(__file__).parents[2] / "configs"


@pytest.fixture(autouse=True)
def own_state(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))


def asked(station: str, io: str | None, state: Path | None = None):
    nothing = {"lasts": None, "out": None, "connect": None, "rate": 1.0, "fifo": False, "start": False}
    return read_ask(CONFIGS / station, io=io, state=state, **nothing)


@pytest.mark.parametrize(
    ("station", "io", "watched"),
    [("buckwheat_mill", None, True), ("sugar_kitchen", None, False), ("buckwheat_mill", "simulated", False)],
)
def test_a_life_counter_that_the_map_names_is_watched(station, io, watched):
    """The device of the sugar kitchen has none; the plant in the same process needs none."""
    assert asked(station, io).station.receiver.presets.io_life_watched is watched


def test_what_was_kept_under_the_name_alone_is_neither_lost_nor_taken_for_this_stations(tmp_path):
    old = tmp_path / "vacuum-receiver" / "buckwheat_mill"
    write_kept(old, {"rest_stored": 1})
    with pytest.raises(WrongAskError, match=f"if it is of this one: mv {old} ") as refused:
        asked("buckwheat_mill", None)
    assert asked("buckwheat_mill", "simulated").state is None
    assert asked("buckwheat_mill", None, tmp_path / "own").state == tmp_path / "own"
    moved = Path(str(refused.value).split(f"mv {old} ")[1].split(";")[0])
    old.rename(moved)
    assert asked("buckwheat_mill", None).state == moved


def test_what_was_kept_before_the_folder_was_moved_is_not_silently_left_behind(tmp_path):
    kept = state_folder(CONFIGS / "buckwheat_mill")
    before = kept.with_name("buckwheat_mill-0123abcd")
    write_kept(before, {"rest_stored": 1})
    with pytest.raises(WrongAskError, match=f"if it is of this one: mv {before} {kept}; if not: mkdir {kept}$"):
        asked("buckwheat_mill", None)
    assert asked("sugar_kitchen", None).state == state_folder(CONFIGS / "sugar_kitchen")
    kept.mkdir()
    assert asked("buckwheat_mill", None).state == kept, "another machine, of the same name"
