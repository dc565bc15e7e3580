"""What a run leaves, and what it says where it could not: the rest is there."""

import errno
from threading import Event

import pytest
from live.rigs import LOGIC, MILL, PRESETS, STATION
from reporter.rig_end import opening
from test_journal import cycle, event

from controller.live import kept_memory, run_records
from controller.live.kept_memory import AGAIN_MS, read_kept
from controller.live.kept_presets import changed
from controller.live.reporter import Heard, Reporter
from controller.live.run_records import RunRecords
from controller.reporting.journal import read_cycles, read_events
from controller.scan.outbox import Outbox
from controller.trace.header import header_of


@pytest.fixture
def said():
    return []


@pytest.fixture
async def records(tmp_path, said):
    header = header_of(LOGIC, STATION.receiver, MILL, software="0", scan_ms=10)
    reporter = Reporter(opening(tmp_path / "run"), Heard(*[lambda *_: None] * 4))
    records = RunRecords(LOGIC, header, tmp_path / "run", tmp_path / "kept", {}, reporter, said.append)
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
    records = RunRecords(LOGIC, header, None, None, {}, None, print)
    await records.open()
    records.events([event()])
    records.presets_told(PRESETS)
    assert await ended(records) == []
    assert not list(tmp_path.iterdir())


# ---- what is kept through a loss of power --------------------------------------------------------------
class Keeps:
    """A run that keeps its memory and leaves nothing else; what is put into its box is done at once."""

    def __init__(self, folder, monkeypatch):
        header = header_of(LOGIC, STATION.receiver, MILL, software="0", scan_ms=10)
        self.folder, self.said = folder, []
        monkeypatch.setattr(run_records, "Outbox", AtOnce)
        self.records = RunRecords(LOGIC, header, None, folder, {}, None, self.said.append)
        self.memory = LOGIC.power_up()._replace(on_board=2)

    def keep(self, now_ms):
        self.records.keep(self.memory, now_ms)
        return read_kept(self.folder, LOGIC).get("on_board")


class AtOnce(Outbox):
    is_full = False

    def put(self, work):
        if not self.is_full:
            work()
        return not self.is_full


@pytest.fixture
def keeps(tmp_path, monkeypatch):
    return Keeps(tmp_path / "kept", monkeypatch)


@pytest.mark.parametrize(
    "error", [OSError(errno.ENOSPC, "No space left on device"), MemoryError("none left")]
)
async def test_what_could_not_be_kept_is_tried_again_until_it_is_on_the_disk(keeps, error, monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr(kept_memory.os, "replace", raising(error))
        assert keeps.keep(10) is None
        assert keeps.keep(10 + AGAIN_MS) is None
        assert len(keeps.said) == 1, "said while it runs, and once"
        assert str(error.args[-1]) in keeps.said[0]
        assert keeps.records.problems == [keeps.said[0].removeprefix("records: ")]
    assert keeps.keep(10 + 2 * AGAIN_MS - 10) is None, "not in every scan"
    assert keeps.keep(10 + 2 * AGAIN_MS) == 2
    assert keeps.said[1:] == ["records: what is kept through a loss of power is written again"]
    assert await ended(keeps.records) == []


async def test_what_found_no_room_on_its_way_to_the_disk_is_tried_again(keeps, monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr(AtOnce, "is_full", True)
        assert keeps.keep(10) is None
    assert keeps.said == ["records: what is kept through a loss of power is not written: too much waits"]
    assert keeps.keep(10 + AGAIN_MS) == 2
    assert await ended(keeps.records) == []


async def test_what_was_not_kept_until_the_end_is_tried_once_more(keeps, monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr(kept_memory.os, "replace", raising(OSError(errno.EIO, "Input/output error")))
        keeps.keep(10)
    await keeps.records.close(keeps.memory, {"ended": "the time is over"})
    assert read_kept(keeps.folder, LOGIC)["on_board"] == 2
    assert keeps.records.problems == []


async def test_a_mistake_in_one_piece_keeps_no_other_from_the_disk(records, tmp_path, said, monkeypatch):
    monkeypatch.setattr(records._trace, "take", raising(KeyError("nobody thought of this")))
    records.segment(None)
    records.segment(None)
    records.keep(LOGIC.power_up()._replace(on_board=2), 10)
    assert await ended(records) == said_of(said) == ["'nobody thought of this'"]
    assert records._trace is None, "it ends there: one with a hole in it would be worth nothing"
    assert read_kept(tmp_path / "kept", LOGIC)["on_board"] == 2


async def test_a_disk_that_hangs_is_no_good_end(keeps, tmp_path, monkeypatch):
    go = Event()
    monkeypatch.setattr("controller.scan.outbox.PATIENCE_S", 0.01)
    keeps.records._box._queue.put_nowait(go.wait)
    try:
        assert await ended(keeps.records) == ["the disk did not take all of it in time"]
    finally:
        go.set()


def said_of(lines):
    return [line.removeprefix("records: ") for line in lines]


def raising(error):
    def fails(*_, **__):
        raise error

    return fails
