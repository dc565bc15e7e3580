"""A disk that takes nothing while a station runs: what fails ends alone, and is said."""

import asyncio
import errno

import pytest
from live.rigs import LOGIC, MILL, PRESETS, STATION

from controller.live.kept_presets import changed
from controller.live.run_records import RunRecords
from controller.trace.header import header_of


class NotingReporter:
    """Takes everything; writes when it is told to."""

    def __init__(self):
        self.came, self.then, self.problems = [], [], ()

    async def start(self):
        pass

    async def close(self, said):
        self.came.append(said)

    def put(self, record):
        self.came.append(record)

    def when_written(self, work):
        self.then.append(work)


@pytest.fixture
def records(tmp_path):
    header = header_of(LOGIC, STATION.receiver, MILL, software="0", scan_ms=10)
    records = RunRecords(LOGIC, header, tmp_path / "run", tmp_path / "kept", {}, NotingReporter())
    (tmp_path / "run").mkdir()  # the reporter's first work
    asyncio.run(records.open())
    return records


def ended(records):
    asyncio.run(records.close(LOGIC.power_up(), {"ended": "the time is over"}))
    return records.problems


def no_room(*_):
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_trace_that_cannot_be_written_ends_alone(records, tmp_path, monkeypatch):
    monkeypatch.setattr(records._trace, "take", no_room)
    records.segment(None)
    records.segment(None)
    records.cycle("a cycle")
    records.presets_told(PRESETS)
    records._reporter.then[0]()
    assert ended(records) == ["[Errno 28] No space left on device"]
    assert records._reporter.came == ["a cycle", "the time is over"]
    assert changed(tmp_path / "kept", PRESETS) == []
    assert '"ended": "the time is over"' in (tmp_path / "run" / "run.json").read_text()


def test_presets_whose_changes_are_not_on_the_disk_are_told_by_the_next_run(records, tmp_path):
    records.presets_told(PRESETS)
    assert ended(records) == []
    assert changed(tmp_path / "kept", PRESETS) is None
