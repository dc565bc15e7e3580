"""What a run leaves, and what it says where it could not: the rest is there."""

import errno

import pytest
from live.rigs import LOGIC, MILL, PRESETS, STATION
from reporter.rig_end import opening
from test_journal import cycle, event

from controller.live.kept_presets import changed
from controller.live.reporter import Heard, Reporter
from controller.live.run_records import RunRecords
from controller.reporting.journal import read_cycles, read_events
from controller.trace.header import header_of


@pytest.fixture
async def records(tmp_path):
    header = header_of(LOGIC, STATION.receiver, MILL, software="0", scan_ms=10)
    reporter = Reporter(opening(tmp_path / "run"), Heard(*[lambda *_: None] * 4))
    records = RunRecords(LOGIC, header, tmp_path / "run", tmp_path / "kept", {}, reporter)
    await records.open()
    return records


async def ended(records):
    await records.close(LOGIC.power_up(), {"ended": "the time is over"})
    return records.problems


async def test_all_of_it_is_there_at_the_end(records, tmp_path):
    records.events([event()] * 500)
    records.presets_told(PRESETS)
    records.cycle(cycle(1))
    assert await ended(records) == []
    assert (len(read_events(tmp_path / "run")), read_cycles(tmp_path / "run")) == (500, [cycle(1)])
    assert changed(tmp_path / "kept", PRESETS) == []
    assert '"ended": "the time is over"' in (tmp_path / "run" / "run.json").read_text()


async def test_presets_are_remembered_once_their_event_is_on_the_disk_and_not_sooner(records, tmp_path):
    records.events([event()])
    records.presets_told(PRESETS)
    assert changed(tmp_path / "kept", PRESETS) is None
    assert await ended(records) == []
    assert changed(tmp_path / "kept", PRESETS) == []


async def test_what_is_not_known_to_be_written_is_said_and_told_by_the_next_run(records, tmp_path):
    records._reporter._life.cancel()
    records.events([event()] * 3)
    records.presets_told(PRESETS)
    assert await ended(records) == ["3 records are not known to be written"]
    assert changed(tmp_path / "kept", PRESETS) is None


async def test_a_trace_that_cannot_be_written_ends_alone(records, tmp_path, monkeypatch):
    def no_room(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(records._trace, "take", no_room)
    records.segment(None)
    records.segment(None)
    records.cycle(cycle(1))
    assert await ended(records) == ["[Errno 28] No space left on device"]
    assert read_cycles(tmp_path / "run") == [cycle(1)]


async def test_without_a_folder_nothing_is_written_and_no_process_started(tmp_path):
    header = header_of(LOGIC, STATION.receiver, MILL, software="0", scan_ms=10)
    records = RunRecords(LOGIC, header, None, None, {}, None)
    await records.open()
    records.events([event()])
    records.presets_told(PRESETS)
    assert await ended(records) == []
    assert not list(tmp_path.iterdir())
