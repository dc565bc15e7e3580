"""`receiver audit`: good with the number of lines, or the first line that is not as it was."""

import json

import pytest
from audit.test_audit import deed, lines_of, written
from typer.testing import CliRunner

from controller.audit.log import FILE, AuditLog
from controller.cli import app
from controller.reporting.journal import Journal


def audit(folder, *more):
    return CliRunner().invoke(app, ["audit", str(folder), *more])


@pytest.fixture
def run(tmp_path):
    anchor = written(tmp_path, 4)
    with Journal(tmp_path) as journal:
        journal.anchor(anchor.head, anchor.lines)
    return tmp_path


def test_a_good_log_is_said_with_its_lines(run):
    done = audit(run)
    assert (done.exit_code, done.stdout) == (0, f"{run / FILE}: good, 4 lines\n")
    assert json.loads(audit(run, "--json").stdout) == {
        "run": str(run), "good": True, "lines": 4, "problem": "", "torn_bytes": 0, "anchored": 4, "journal": "read",
    }  # fmt: skip


def test_its_lines_can_be_read_up_to_the_first_that_is_not_as_it_was(run):
    log = AuditLog(run)
    log.add(deed(5, command="start\x1b[2J", result="refused", reasons=("manual mode is on", "no fault")))
    log.close()
    last = audit(run, "--lines").stdout.splitlines()[4]
    assert last.startswith("    5  ")
    assert "start?[2J" in last
    assert last.endswith(": refused: manual mode is on; no fault")
    whole = lines_of(run)
    (run / FILE).write_bytes(b"".join([*whole[:2], whole[2].replace(b"force", b"start"), *whole[3:]]))
    done = audit(run, "--lines")
    assert [line[:7] for line in done.stdout.splitlines()[:-1]] == ["    1  ", "    2  "]
    assert done.exit_code == 1


def test_a_changed_line_is_said_and_ends_with_1(run):
    good = lines_of(run)
    (run / FILE).write_bytes(b"".join([*good[:2], good[2].replace(b"force", b"start"), good[3]]))
    done = audit(run)
    assert done.exit_code == 1
    assert "NOT as it was written: line 3 was changed" in done.stdout
    assert "good up to line 2" in done.stdout
    assert audit(run, "--json").exit_code == 1


def test_lines_cut_off_at_the_end_show_because_the_journal_knows_how_many_there_were(run):
    (run / FILE).write_bytes(b"".join(lines_of(run)[:3]))
    done = audit(run)
    assert done.exit_code == 1
    assert "the end was cut off: 3 lines, the journal knows 4" in done.stdout


def test_a_line_that_a_kill_tore_is_said_and_is_no_change(run):
    with (run / FILE).open("ab") as file:
        file.write(b'{"comm')
    done = audit(run)
    assert done.exit_code == 0
    assert "last line torn: 6 bytes behind line 4, as a kill leaves them" in done.stdout


def test_lines_that_the_journal_does_not_know_yet_are_said(run):
    log = AuditLog(run)
    log.add(deed(5))
    log.close()
    said = audit(run).stdout
    assert "good, 5 lines" in said
    assert "the journal knows 4 of them; lines cut off behind these would not show" in said


def test_without_a_journal_its_end_cannot_be_judged_and_without_a_log_there_is_nothing_to_look_at(run):
    for path in run.glob("journal.sqlite*"):
        path.unlink()
    done = audit(run)
    assert done.exit_code == 0
    assert "its end cannot be judged" in done.stdout
    (run / FILE).unlink()
    done = audit(run)
    assert (done.exit_code, "a live run leaves one" in done.stderr) == (2, True)
