"""Each record once on the disk, wherever the writer is killed and however often it is sent again."""

import errno
import hashlib
import os

import pytest
from audit.test_audit import deed
from hypothesis import given
from hypothesis import strategies as st
from test_journal import cycle, event

from controller.audit.check import Checked, check
from controller.audit.line import Anchor, read_line
from controller.audit.log import FILE, AuditError, AuditLog
from controller.reporter.books import TAKEN_OVER, Books
from controller.reporter.lines import Numbered, line, read, read_record, record_line
from controller.reporting.journal import Journal, JournalError, each_line, read_cycles, read_marks

BOOT = "3f6d0a52-6a0e-4a8e-9d1d-6a4f0d9f5a10"
KINDS = {
    "event": lambda n: event()._replace(what=str(n)),
    "fault": lambda n: event("NO_VACUUM", 3)._replace(what=str(n)),
    "cycle": cycle,
    "deed": deed,
}


class Killed(BaseException):
    """Here the process ends."""


def records(kinds):
    """As they come over the channel."""
    raw = [record_line(n, KINDS[kind](n)) for n, kind in enumerate(kinds, 1)]
    return [read_record(*read(sent)) for sent in raw]


def killed(books):
    """What the system closes; nothing is written any more."""
    books.journal._db.close()
    os.close(books.audit._file)


def number_of(record):
    return int(record.what) if hasattr(record, "what") else record.number


def written(run):
    """Numbers in the journal and in the audit log, in order."""
    audit = [read_line(raw).document for raw in (run / FILE).read_bytes().splitlines()]
    return [number_of(found.record) for found in each_line(run)], [each["mono_ms"] // 10 for each in audit]


def anchor(run):
    marks = read_marks(run)
    return Anchor(marks["audit", "head"], marks["audit", "count"])


def work_until(books, came, kill, commits, monkeypatch):
    """Takes the records, or is killed at so many steps of writing: before or after one of the two files."""
    steps = iter(range(10**6))

    def dying(do):
        def step(*given, **named):
            if next(steps) == kill:
                raise Killed
            done = do(*given, **named)
            if next(steps) == kill:
                raise Killed
            return done

        return step

    with monkeypatch.context() as patched:
        patched.setattr(Journal, "commit", dying(Journal.commit))
        patched.setattr(AuditLog, "add", dying(AuditLog.add))
        try:
            for place, record in enumerate(came):
                books.add(record)
                if place in commits:
                    books.commit()
            books.commit()
        except Killed:
            killed(books)
            return False
    books.close()
    return True


@given(
    kinds=st.lists(st.sampled_from(sorted(KINDS)), min_size=1, max_size=12),
    lives=st.lists(st.tuples(st.integers(0, 20), st.sets(st.integers(0, 11))), max_size=5),
)
def test_wherever_it_is_killed_each_record_is_written_once_and_in_order(kinds, lives, tmp_path_factory):
    run, came = tmp_path_factory.mktemp("run"), records(kinds)
    with pytest.MonkeyPatch.context() as monkeypatch:
        acknowledged = 0
        for kill, commits in (*lives, (None, set())):
            books = Books(run, BOOT)
            assert books.taken >= acknowledged, "an acknowledged record is gone"
            acknowledged = books.taken
            work_until(books, came, kill, commits, monkeypatch)  # also those that were acknowledged
    in_journal, in_audit = written(run)
    assert in_journal == [n for n, kind in enumerate(kinds, 1) if kind != "deed"]
    assert in_audit == [n for n, kind in enumerate(kinds, 1) if kind == "deed"]
    if in_audit:
        found = check(run, anchor(run))
        assert (found.problem, found.anchored) == ("", len(in_audit))


def test_two_deeds_that_say_the_same_are_two_lines_also_after_a_kill(tmp_path):
    books = Books(tmp_path, BOOT)
    books.add(Numbered(1, deed(1)))
    killed(books)  # before the commit: the log has the line, the journal does not know it
    books = Books(tmp_path, BOOT)
    assert books.taken == 0
    for number in (1, 2):
        books.add(Numbered(number, deed(1)))
    books.commit()
    books.close()
    assert check(tmp_path, anchor(tmp_path)).lines == 2


@pytest.mark.parametrize("own", [False, True])
def test_a_deed_that_was_found_again_leaves_those_after_it_to_be_found_by_the_next(tmp_path, own):
    books = Books(tmp_path, BOOT)
    for number in (1, 2):
        books.add(Numbered(number, deed(number)))
    killed(books)
    books = Books(tmp_path, BOOT)
    books.add(Numbered(1, deed(1)))
    if own:
        books.add_own(deed(7))
    books.commit()
    killed(books)
    books = Books(tmp_path, BOOT)
    assert books.taken == 1
    books.add(Numbered(2, deed(2)))
    books.close()
    assert written(tmp_path)[1] == [1, 2, *([7] if own else [])]


def test_deeds_of_the_reporter_itself_do_not_keep_those_of_the_rig_from_being_known_again(tmp_path):
    books = Books(tmp_path, BOOT)
    books.add_own(deed(7))
    books.add(Numbered(1, deed(1)))
    books.add_own(deed(8))
    killed(books)
    books = Books(tmp_path, BOOT)
    for number in (1, 2):
        books.add(Numbered(number, deed(number)))
    books.close()
    assert written(tmp_path)[1] == [7, 1, 8, 2, 2]
    assert [each["command"] for each in deeds_of_the_log(tmp_path)][3] == TAKEN_OVER


def test_the_numbers_of_another_start_mean_nothing_here(tmp_path):
    for boot in ("b1", "b2"):
        books = Books(tmp_path, boot)
        assert books.taken == 0
        books.add(Numbered(1, cycle(1)))
        books.close()
    assert read_cycles(tmp_path) == [cycle(1)] * 2


# ---- a full disk ---------------------------------------------------------------------------------------
def full(books, pages):
    books.journal._db.execute(f"PRAGMA max_page_count = {pages}")


def test_without_a_disk_nothing_is_acknowledged_and_with_one_all_of_it_is_there(tmp_path):
    books = Books(tmp_path, BOOT)
    full(books, 1)
    for number in range(1, 400):
        books.add(Numbered(number, event()._replace(what="x" * 200)))
    with pytest.raises(JournalError, match=r"full$"):
        books.commit()
    assert books.taken == 0
    full(books, 100_000)
    books.commit()
    assert books.taken == 399
    books.close()
    assert len(list(each_line(tmp_path))) == 399


def test_a_deed_that_finds_no_room_was_not_taken_and_is_given_again(tmp_path, monkeypatch):
    books = Books(tmp_path, BOOT)

    def no_room(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "write", no_room)
        with pytest.raises(AuditError, match="No space left"):
            books.add(Numbered(1, deed(1)))
    books.commit()
    assert books.taken == 0
    books.add(Numbered(1, deed(1)))
    books.close()
    assert check(tmp_path, anchor(tmp_path)).lines == 1


@pytest.mark.parametrize("kind", KINDS)
def test_a_record_comes_out_of_its_line_as_it_went_in(kind):
    record = KINDS[kind](5)
    assert read_record(*read(record_line(5, record))) == Numbered(5, record)


def test_what_is_no_line_is_refused():
    for raw in (b"[]", b"{}", b"[1,2]", b'"taken"'):
        with pytest.raises(ValueError, match="is no line of the channel"):
            read(raw)
    assert read(line("answer", 3, ["why"])) == ("answer", [3, ["why"]])


# ---- what the journal knows of the audit log -----------------------------------------------------------
def deeds_of_the_log(run):
    return [read_line(raw).document for raw in (run / FILE).read_bytes().splitlines()]


def forged(run, lines):
    (run / FILE).unlink()
    log = AuditLog(run)
    for number in range(1, lines + 1):
        log.add(deed(number, who="somebody else"))
    log.close()


@pytest.mark.parametrize("lines", [3, 5])
def test_a_log_that_was_written_anew_beside_its_journal_is_never_gone_on_with(tmp_path, lines):
    books = Books(tmp_path, "b1")
    for number in (1, 2, 3):
        books.add(Numbered(number, deed(number)))
    books.close()
    forged(tmp_path, lines)
    for boot in ("b2", "b3"):
        with pytest.raises(AuditError, match="line 3 is not the one that the journal knows: it was replaced"):
            Books(tmp_path, boot)
    assert check(tmp_path, anchor(tmp_path)).problem == "line 3 was replaced: the journal knows another hash of it"


def test_lines_that_the_journal_does_not_know_are_taken_over_with_a_line_that_says_how_many(tmp_path):
    books = Books(tmp_path, "b1")
    books.add(Numbered(1, deed(1)))
    books.close()
    log = AuditLog(tmp_path)
    for number in (7, 8):
        log.add(deed(number, who="somebody else"))
    log.close()
    books = Books(tmp_path, "b2")
    for number in (1, 2):
        books.add(Numbered(number, deed(number)))
    books.close()
    found = [(each["command"], each["parameters"]) for each in deeds_of_the_log(tmp_path)]
    assert found[3] == (TAKEN_OVER, {"lines": 2})
    assert [command for command, _ in found] == ["force"] * 3 + [found[3][0]] + ["force"] * 2
    assert check(tmp_path, anchor(tmp_path)) == Checked(6, "", 0, 6)


def test_a_line_behind_the_anchor_that_is_not_chained_to_it_is_not_gone_on_with(tmp_path):
    books = Books(tmp_path, "b1")
    books.add(Numbered(1, deed(1)))
    books.close()
    log = AuditLog(tmp_path)
    for number in (2, 3, 4):
        log.add(deed(number))
    log.close()
    a, b, c, d = (tmp_path / FILE).read_bytes().splitlines(keepends=True)
    for lines in ([a, c, d], [a, b, d], [a, b, b"{}\n", d], [b, c, d]):
        (tmp_path / FILE).write_bytes(b"".join(lines))
        with pytest.raises(AuditError, match=r"was changed|is missing"):
            Books(tmp_path, "b2")


def test_a_last_line_that_a_power_cut_spoiled_is_cut_off_where_the_journal_does_not_know_it(tmp_path):
    books = Books(tmp_path, "b1")
    for number in (1, 2):
        books.add(Numbered(number, deed(number)))
    books.close()
    known = anchor(tmp_path)
    with (tmp_path / FILE).open("ab") as file:
        file.write(b'{"command":"sta\0\0\0\0"}\n')
    assert check(tmp_path, known) == Checked(2, "", 22, 2)
    books = Books(tmp_path, "b2")
    books.add(Numbered(1, deed(3)))
    books.close()
    assert [each["command"] for each in deeds_of_the_log(tmp_path)] == ["force"] * 2 + ["cut off a torn line", "force"]
    good = (tmp_path / FILE).read_bytes()
    for damaged in (good.replace(b"force", b"start"), good[:-2] + b"\n", b"\0" * 40 + b"\n" + good[-40:]):
        (tmp_path / FILE).write_bytes(damaged)
        with pytest.raises(AuditError, match="its last line was changed"):
            Books(tmp_path, "b3")
        assert (tmp_path / FILE).read_bytes() == damaged


def test_a_long_log_is_opened_by_its_end(tmp_path, monkeypatch):
    books = Books(tmp_path, "b1")
    for number in range(1, 201):
        books.add(Numbered(number, deed(number)))
    books.commit()
    books.add(Numbered(201, deed(201)))
    killed(books)
    looked_at, sha256 = [], hashlib.sha256
    monkeypatch.setattr("controller.audit.line.hashlib.sha256", lambda raw: looked_at.append(1) or sha256(raw))
    books = Books(tmp_path, "b1")
    assert len(looked_at) == 2
    books.add(Numbered(201, deed(201)))
    books.close()
    assert check(tmp_path, anchor(tmp_path)).lines == 201


def test_who_finds_another_at_the_books_has_changed_nothing_in_them(tmp_path):
    first = Books(tmp_path, "b1", ("mqtt",))
    before = read_marks(tmp_path)
    with pytest.raises(AuditError, match="another process writes it"):
        Books(tmp_path, "b2", ("page",))
    assert read_marks(tmp_path) == before
    first.close()
