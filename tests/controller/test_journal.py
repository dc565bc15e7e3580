"""The journal: nothing finished is lost, whatever happens to the process."""

import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

import pytest

from controller.records import CycleRecord, EventRecord, StepTaken
from controller.reporting.journal import FILE, Journal, JournalError, each_line, read_cycles, read_events


def cycle(number):
    return CycleRecord(
        number=number, kind="batch", start_utc="2026-01-05T06:00:00+00:00", start_ms=number * 1_000,
        steps=(StepTaken("SEAL", 1_000, "sealed"), StepTaken("DRAW", 110, "has vacuum")),
        result="complete", fill_ended_by="time", vacuum_peak_pa=14_000, vacuum_mean_pa=13_000,
        vacuum_air_only_pa=None, draw_ms=108, release_ms=61, filter_dp_cleaned_pa=1_800,
        filter_dp_laden_pa=2_500, flap_opening_ms=390, flap_closing_ms=None, pulses=2,
        supply_lowest_pa_g=650_000, supply_resting_pa_g=700_000, delivered_kg=7.97, fill_rate_kg_h=1_793.2,
        air_nm3=0.38, flap_retries=0, resumes=0, on_board="no", line_loaded=False, alarms=("NO_MATERIAL",),
        recipe="0a1b2c3d", software="0", simulated=True,
    )  # fmt: skip


def event(name="STEP_CHANGED", priority=0):
    return EventRecord(10, "2026-01-05T06:00:00+00:00", name, "SEAL -> DRAW", priority, "sealed")


def test_what_is_written_is_read_back_the_same(tmp_path):
    with Journal(tmp_path / "run") as journal:
        journal.add_events([event()])
        journal.add_cycle(cycle(1))
        journal.add_cycle(cycle(2))

    assert read_cycles(tmp_path / "run") == [cycle(1), cycle(2)]
    assert read_events(tmp_path / "run") == [event()]


def test_a_cycle_is_seen_by_others_while_the_writer_still_runs(tmp_path):
    with Journal(tmp_path) as journal:
        journal.add_cycle(cycle(1))
        assert read_cycles(tmp_path) == [cycle(1)]


def test_a_fault_is_on_the_disk_at_once(tmp_path):
    with Journal(tmp_path) as journal:
        journal.add_events([event("NO_VACUUM", priority=3)])
        assert [found.id for found in read_events(tmp_path)] == ["NO_VACUUM"]


WRITER = """
import sys
from itertools import count
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from test_journal import cycle, event
from controller.reporting.journal import Journal
journal = Journal(Path(sys.argv[1]))
for number in count(1):
    journal.add_events([event()] * 5)
    journal.add_cycle(cycle(number))
    print(number, flush=True)
"""


@pytest.mark.parametrize("cycles_before", [1, 37])
def test_a_killed_writer_loses_no_finished_cycle_and_its_journal_opens_again(tmp_path, cycles_before):
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(tmp_path), os.path.dirname(__file__)],
        stdout=subprocess.PIPE,
        text=True,
    )
    told = 0
    for line in writer.stdout:
        told = int(line)
        if told == cycles_before:
            os.kill(writer.pid, signal.SIGKILL)
    writer.wait()
    writer.stdout.close()

    kept = [record.number for record in read_cycles(tmp_path)]
    assert told >= cycles_before
    assert kept[:told] == list(range(1, told + 1))
    with Journal(tmp_path) as journal:
        journal.add_cycle(cycle(10_000))
    assert read_cycles(tmp_path)[-1] == cycle(10_000)
    with sqlite3.connect(tmp_path / FILE) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    db.close()


def test_a_folder_that_cannot_be_written_is_said_with_its_name(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(JournalError, match=r"file/run: the run folder cannot be written: Not a directory"):
        Journal(tmp_path / "file" / "run")


def test_a_file_that_is_no_journal_is_refused(tmp_path):
    (tmp_path / FILE).write_text("not a database, but long enough to look like one " * 20)
    with pytest.raises(JournalError, match="cannot be written"):
        Journal(tmp_path)
    with pytest.raises(JournalError, match="cannot be read"):
        read_cycles(tmp_path)


def test_a_journal_of_another_format_is_left_alone(tmp_path):
    with Journal(tmp_path):
        pass
    db = sqlite3.connect(tmp_path / FILE)
    db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(JournalError, match="is a journal of format 99, this program knows format 3"):
        Journal(tmp_path)
    with pytest.raises(JournalError, match="is a journal of format 99, this program knows format 3"):
        read_cycles(tmp_path)


def test_a_folder_without_a_journal_says_so(tmp_path):
    with pytest.raises(JournalError, match=r"journal\.sqlite: no such file"):
        read_cycles(tmp_path)


@pytest.fixture
def others_folder():
    """A folder that may be read and not written; what is made in it before `as_a_guest` belongs to its owner."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder)
        path.chmod(0o755)
        yield path
        path.chmod(0o755)


@contextmanager
def as_a_guest(folder):
    folder.chmod(0o555)
    root = os.geteuid() == 0
    if root:
        os.seteuid(65_534)
    try:
        with pytest.raises(OSError, match=r"Permission denied|Read-only"):
            (folder / "new").touch()
        yield
    finally:
        if root:
            os.seteuid(0)


def test_a_run_is_read_by_somebody_who_may_not_write_its_folder_while_it_runs_and_afterwards(others_folder):
    run = others_folder / "run"
    with Journal(run) as journal:
        journal.add_cycle(cycle(1))
        with as_a_guest(run):
            assert read_cycles(run) == [cycle(1)]
        run.chmod(0o755)
        journal.add_cycle(cycle(2))
    with as_a_guest(run):
        assert read_cycles(run) == [cycle(1), cycle(2)]
        assert [line.n for line in each_line(run)] == [1, 2]
    assert read_cycles(run) == [cycle(1), cycle(2)]
    assert [path.name for path in run.iterdir()] == [FILE]


def test_who_reads_line_by_line_and_stops_keeps_the_file_of_a_running_controller_from_nothing(tmp_path):
    """As `receiver history RUN --csv | less`: SQLite empties its write-ahead log while nobody is in the middle of a read."""
    with Journal(tmp_path) as journal:
        for number in range(1_500):
            journal.add_events([event()._replace(at_ms=number)])
        journal.commit()
        lines = each_line(tmp_path)
        first = [next(lines) for _ in range(3)]
        journal.add_cycle(cycle(1))
        (busy, _, _) = journal._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        assert busy == 0
        assert [line.n for line in [*first, *lines]] == [*range(1, 1_502)]


@pytest.mark.parametrize(
    "wrong", [{"detail": "\ud800"}, {"at_ms": 2**63}, {"utc": None}, {"what": ["no", "text"]}]
)
def test_what_no_journal_can_hold_is_refused_and_nothing_waits_behind_it(wrong, tmp_path):
    with Journal(tmp_path) as journal:
        journal.add_events([event()])
        with pytest.raises((ValueError, OverflowError, sqlite3.Error)):
            journal.add_events([event(), event("NO_VACUUM", priority=3)._replace(**wrong)])
        journal.add_cycle(cycle(1))
    assert (read_events(tmp_path), read_cycles(tmp_path)) == ([event()], [cycle(1)])


def test_after_a_mistake_within_a_commit_the_next_writes_all(tmp_path, monkeypatch):
    with Journal(tmp_path) as journal:
        journal.add_events([event()])
        with monkeypatch.context() as patched:
            patched.setattr(Journal, "_remove", lambda _: 1 // 0)
            with pytest.raises(ZeroDivisionError):
                journal.commit()
        journal.add_cycle(cycle(1))
    assert (read_events(tmp_path), read_cycles(tmp_path)) == ([event()], [cycle(1)])
