"""A full disk while a station runs: nothing of the journal is lost once there is room, and the rest is said."""

import errno

import pytest
from audit.test_audit import deed
from live.rigs import LOGIC, MILL, PRESETS, STATION
from test_journal import cycle, event

from controller.audit.check import check
from controller.audit.log import AuditError
from controller.live.kept_presets import changed
from controller.live.run_records import RunRecords
from controller.reporting.journal import read_cycles, read_events
from controller.trace.header import header_of

NO_ROOM = "audit.jsonl: cannot be written: No space left on device"


@pytest.fixture
def records(tmp_path):
    header = header_of(LOGIC, STATION.receiver, MILL, software="0", scan_ms=10)
    records = RunRecords(LOGIC, header, tmp_path / "run", tmp_path / "kept", {})
    records.open()
    return records


def in_its_thread(records, work):
    records._box.put(work)


def full(records, pages):
    in_its_thread(records, lambda: records._journal._db.execute(f"PRAGMA max_page_count = {pages}"))


def ended(records):
    records.close(LOGIC.power_up(), {"ended": "the time is over"})
    return records.problems


def test_lines_wait_for_room_and_then_there_is_no_problem(records, tmp_path):
    full(records, 1)
    records.events([event()] * 500)
    records.cycle(cycle(1))
    full(records, 100_000)
    records.cycle(cycle(2))
    records.presets_told(PRESETS)
    assert ended(records) == []
    assert (len(read_events(tmp_path / "run")), len(read_cycles(tmp_path / "run"))) == (500, 2)
    assert changed(tmp_path / "kept", PRESETS) == []


def test_what_never_found_room_is_said_and_the_rest_of_the_run_is_there(records, tmp_path):
    full(records, 1)
    records.events([event()] * 500)
    records.presets_told(PRESETS)
    (said,) = ended(records)
    assert "journal.sqlite: cannot be written" in said
    assert "500 lines wait" in said
    assert changed(tmp_path / "kept", PRESETS) is None  # what was not told is told by the next run
    assert '"ended": "the time is over"' in (tmp_path / "run" / "run.json").read_text()


def test_a_deed_that_could_not_be_written_is_said_and_the_next_one_is_there(records, tmp_path, monkeypatch):
    def no_room(*_):
        raise AuditError(NO_ROOM)

    records.deed(deed(1))
    in_its_thread(records, lambda: monkeypatch.setattr(records._audit, "add", no_room))
    records.deed(deed(2))
    in_its_thread(records, monkeypatch.undo)
    records.deed(deed(3))
    assert ended(records) == [NO_ROOM]
    assert check(tmp_path / "run", None).lines == 2


def test_a_trace_that_cannot_be_written_ends_alone(records, tmp_path, monkeypatch):
    def no_room(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(records._trace, "take", no_room)
    records.segment(None)
    records.segment(None)
    records.cycle(cycle(1))
    assert ended(records) == ["[Errno 28] No space left on device"]
    assert read_cycles(tmp_path / "run") == [cycle(1)]
