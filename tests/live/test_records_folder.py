"""Where a live run leaves its journal and its audit log."""

from contextlib import ExitStack

import pytest
from live.rigs import MILL

from controller.live.kept_memory import state_folder
from controller.live.run_ask import read_ask
from controller.live.run_command import JOURNAL, records_folder

ASKED = {"lasts": None, "connect": None, "rate": 1.0, "fifo": False, "start": False}


def folder(out=None, state=None, io=None, **asked):
    with ExitStack() as stack:
        return records_folder(read_ask(MILL, out=out, state=state, io=io, **ASKED, **asked), stack)


def test_on_real_io_there_is_a_journal_and_an_audit_log_whatever_was_asked_for(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert folder() == state_folder(MILL) / JOURNAL
    assert folder(state=tmp_path / "kept") == tmp_path / "kept" / JOURNAL
    assert folder(out=tmp_path / "run") == tmp_path / "run"


@pytest.mark.parametrize("state", [None, "kept"])
def test_a_simulated_machine_that_tells_nobody_leaves_none_unless_it_was_asked_for(tmp_path, state):
    kept = tmp_path / state if state else None
    assert folder(io="simulated", state=kept) is None
    assert folder(io="simulated", state=kept, out=tmp_path / "run") == tmp_path / "run"


def test_others_are_told_nothing_that_is_not_written_first(tmp_path):
    assert folder(io="simulated", state=tmp_path, broker="embedded") == tmp_path / JOURNAL
    assert folder(io="simulated", broker="embedded").name.startswith("receiver-")
