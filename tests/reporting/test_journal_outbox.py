"""The journal as an outbox: numbers that never repeat, nothing told before it is on the disk, none lost."""

import os
import random
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from test_journal import cycle, event

from controller.records import CycleRecord
from controller.reporting import journal as journal_module
from controller.reporting.journal import FILE, Journal, JournalError, read_cycles, read_events, read_marks
from controller.reporting.journal_file import GUEST, TOLD, latest_events

LONG = "x" * 20_000


def numbers(lines):
    return [line.n for line in lines]


def opened(folder, **given):
    return Journal(folder, boot="b1", readers=("mqtt",), **given)


def test_events_and_cycles_share_one_numbering_in_the_order_written(tmp_path):
    with opened(tmp_path) as journal:
        journal.add_events([event(), event()])
        journal.add_cycle(cycle(1))
        journal.add_events([event("NO_VACUUM", priority=3)])
        lines = journal.waiting("mqtt")
    assert numbers(lines) == [1, 2, 3, 4]
    assert {line.boot for line in lines} == {"b1"}
    assert [line.record for line in lines] == [event(), event(), cycle(1), event("NO_VACUUM", priority=3)]
    assert isinstance(lines[2].record, CycleRecord)


def test_what_is_not_on_the_disk_yet_is_not_told(tmp_path):
    """Else the number of a line that a kill took would come back with another line."""
    with opened(tmp_path) as journal:
        journal.add_events([event()])
        assert journal.waiting("mqtt") == []
        with pytest.raises(ValueError, match="line 1 was told before it was written: the newest is 0"):
            journal.told("mqtt", 1)
        journal.commit()
        assert numbers(journal.waiting("mqtt")) == [1]


def test_a_reader_goes_on_where_it_told_last_also_after_a_new_start(tmp_path):
    with opened(tmp_path) as journal:
        journal.add_events([event() for _ in range(10)])
        journal.commit()
        assert numbers(journal.waiting("mqtt", limit=4)) == [1, 2, 3, 4]
        assert numbers(journal.waiting("mqtt", limit=4, after=4)) == [5, 6, 7, 8]
        journal.told("mqtt", 6)
        journal.told("mqtt", 3)  # a late acknowledgement takes nothing back
    with Journal(tmp_path, boot="b2", readers=("mqtt",)) as journal:
        journal.add_cycle(cycle(1))
        lines = journal.waiting("mqtt")
    assert numbers(lines) == [7, 8, 9, 10, 11]
    assert [line.boot for line in lines] == ["b1"] * 4 + ["b2"]


def test_two_readers_do_not_know_of_each_other(tmp_path):
    with Journal(tmp_path, readers=("mqtt", "page")) as journal:
        journal.add_cycle(cycle(1))
        journal.told("mqtt", 1)
        assert journal.waiting("mqtt") == []
        assert numbers(journal.waiting("page")) == [1]


def test_a_new_reader_begins_at_the_present_end(tmp_path):
    with Journal(tmp_path) as journal:
        journal.add_cycle(cycle(1))
    with Journal(tmp_path, readers=("mqtt",)) as journal:
        assert journal.waiting("mqtt") == []
        journal.add_cycle(cycle(2))
        assert numbers(journal.waiting("mqtt")) == [2]


def test_a_start_that_does_not_name_a_reader_takes_its_place_from_it_no_more(tmp_path):
    """Figures alone for a day: what the broker was not told before still goes to it after."""
    with opened(tmp_path) as journal:
        journal.add_cycle(cycle(1))
    with Journal(tmp_path, boot="b2") as journal:
        journal.add_cycle(cycle(2))
    with opened(tmp_path) as journal:
        assert numbers(journal.waiting("mqtt")) == [1, 2]


def test_a_guest_goes_on_within_a_start_and_the_next_start_forgets_it(tmp_path):
    with Journal(tmp_path, boot="b1", readers=("mqtt", GUEST)) as journal:
        journal.take(1)
        journal.add_cycle(cycle(1))
    with Journal(tmp_path, boot="b1", readers=("mqtt", GUEST)) as journal:
        assert (numbers(journal.waiting(GUEST)), numbers(journal.waiting("mqtt"))) == ([1], [1])
        journal.told(GUEST, 1)
    with Journal(tmp_path, boot="b2", readers=(GUEST,)) as journal:
        assert (journal.waiting(GUEST), numbers(journal.waiting("mqtt"))) == ([], [1])
    with Journal(tmp_path, boot="b3"):
        assert {of for kind, of in read_marks(tmp_path) if kind == TOLD} == {"mqtt"}


def test_which_starts_were_simulated_stands_beside_the_lines(tmp_path):
    for boot, simulated in (("b1", True), ("b2", False), ("b3", None)):
        with Journal(tmp_path, boot=boot, simulated=simulated) as journal:
            journal.add_cycle(cycle(1))
    with Journal(tmp_path, boot="b1") as journal:
        was = [
            (journal.was_simulated(boot, True), journal.was_simulated(boot, False))
            for boot in ("b1", "b2", "b3")
        ]
    assert was == [(True, True), (False, False), (True, False)]


def test_a_cycle_of_the_same_number_in_a_second_start_has_a_line_of_its_own(tmp_path):
    for boot in ("b1", "b2"):
        with Journal(tmp_path, boot=boot) as journal:
            journal.add_cycle(cycle(1))
    assert read_cycles(tmp_path) == [cycle(1), cycle(1)]


def test_what_of_the_sender_was_taken_is_on_the_disk_with_its_records_and_counts_for_one_start(tmp_path):
    with opened(tmp_path) as journal:
        journal.add_events([event()])
        journal.take(17)
        assert journal.taken == 0
        journal.commit()
        assert journal.taken == 17
    with opened(tmp_path) as journal:
        assert journal.taken == 17
    with Journal(tmp_path, boot="b2") as journal:
        assert journal.taken == 0


def test_how_far_a_reader_is_behind_counts_lines_on_the_disk_alone(tmp_path):
    with opened(tmp_path) as journal:
        journal.add_events([event(), event(), event()])
        assert (journal.behind("mqtt"), journal.told_up_to("mqtt")) == (0, 0)
        journal.commit()
        journal.told("mqtt", 2)
        assert (journal.behind("mqtt"), journal.told_up_to("mqtt")) == (1, 2)


def test_the_latest_events_of_some_ids_come_newest_first_up_to_a_line(tmp_path):
    with opened(tmp_path) as journal:
        journal.add_events(
            [event(name) for name in ("POWER_UP", "NO_VACUUM", "POWER_UP", "NO_VACUUM", "NO_VACUUM")]
        )
    asked = list(latest_events(tmp_path, ("NO_VACUUM",), 4))
    assert numbers(asked) == [4, 2]
    assert {line.record.id for line in asked} == {"NO_VACUUM"}


# ---- a disk that takes nothing -------------------------------------------------------------------------
def full(journal, *, pages=None):
    """SQLite answers as on a full disk (SQLITE_FULL) once the file would grow."""
    (used,) = journal._db.execute("PRAGMA page_count").fetchone()
    journal._db.execute(f"PRAGMA max_page_count = {pages or used}")


def cycles_until_it_fails(journal):
    for number in range(2, 100):
        journal.add_cycle(cycle(number))


def test_a_full_disk_is_said_and_loses_nothing_once_there_is_room_again(tmp_path):
    with opened(tmp_path) as journal:
        journal.add_cycle(cycle(1))
        full(journal)
        with pytest.raises(JournalError, match=r"journal\.sqlite: cannot be written: .*full"):
            cycles_until_it_fails(journal)
        written = len(read_cycles(tmp_path))
        assert written >= 1
        journal.add_events([event()])
        for _ in range(2):  # in the same words, however much waits: else each would be said anew
            with pytest.raises(JournalError, match=r"full$"):
                journal.commit()
            journal.add_events([event()])
        assert numbers(journal.waiting("mqtt", limit=1_000))[-1] == written
        full(journal, pages=100_000)
        journal.commit()
        assert numbers(journal.waiting("mqtt", limit=1_000)) == [*range(1, written + 5)]
    assert [record.number for record in read_cycles(tmp_path)] == [*range(1, written + 2)]


def test_what_waits_for_the_disk_is_bounded_and_what_is_over_it_is_not_taken(tmp_path, monkeypatch):
    monkeypatch.setattr(journal_module, "MOST_UNWRITTEN", 3)
    with opened(tmp_path) as journal:
        full(journal, pages=1)
        journal.add_events([event(detail)._replace(detail=LONG) for detail in "abc"])
        with pytest.raises(JournalError, match="full, more are not taken"):
            journal.add_events([event("d"), event("e")])
        full(journal, pages=100_000)
        journal.add_events([event("f")])
    assert [found.id for found in read_events(tmp_path)] == ["a", "b", "c", "f"]


def test_a_full_disk_at_the_end_closes_the_file_and_is_said(tmp_path):
    journal = opened(tmp_path)
    full(journal, pages=1)
    journal.add_events([event() for _ in range(1_000)])
    with pytest.raises(JournalError, match="full"):
        journal.close()
    with pytest.raises(sqlite3.ProgrammingError):
        journal._db.execute("SELECT 1")


# ---- killed --------------------------------------------------------------------------------------------
WRITER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from test_journal import cycle, event
from controller.reporting.journal import Journal
journal = Journal(Path(sys.argv[1]), boot=sys.argv[3], readers=("mqtt",))
said = journal.taken
while True:
    said += 1
    journal.take(said)
    journal.add_events([event(), event(), event("NO_VACUUM", priority=3)])  # commits by itself
    print("on disk", said, flush=True)
    for line in journal.waiting("mqtt", limit=2):
        print("told", line.n, flush=True)
        journal.told("mqtt", line.n)
"""


def killed_at(folder, instant):
    """A writer killed once it has said so many words; all that it said before it was gone."""
    command = [sys.executable, "-c", WRITER, str(folder), str(Path(__file__).parents[1] / "controller"), "b1"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        heard = []
        for line in writer.stdout:
            heard.append(line.split())
            if len(heard) == instant:
                os.kill(writer.pid, signal.SIGKILL)
    return [words for words in heard if len(words) >= 2]


def test_ten_kills_at_random_instants_lose_nothing_acknowledged_and_repeat_no_number(tmp_path):
    chance, told = random.Random(20260105), []
    for _ in range(10):
        heard = killed_at(tmp_path, chance.randint(1, 60))
        on_disk = [int(words[2]) for words in heard if words[0] == "on"]
        told += [int(words[1]) for words in heard if words[0] == "told"]
        with opened(tmp_path) as journal:
            assert journal.taken >= on_disk[-1]
            assert len(read_events(tmp_path)) == 3 * journal.taken
            left = numbers(journal.waiting("mqtt", limit=1_000_000))
        assert {*told} | {*left} == {*range(1, 3 * journal.taken + 1)}
        assert not told or left[:1] <= [max(told) + 1]
    with closing(sqlite3.connect(tmp_path / FILE)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_how_long_a_start_lasted_and_the_end_of_the_audit_log_stand_beside_the_lines(tmp_path):
    with opened(tmp_path) as journal:
        journal.lasted(3_600_000)
        journal.anchor("ab12", 7)
    marks = read_marks(tmp_path)
    assert (marks["lasted", "b1"], marks["audit", "head"], marks["audit", "count"]) == (3_600_000, "ab12", 7)
