"""The audit log: whatever is changed is found, and a kill tears the last line at most."""

import hashlib
import json
import os
import random
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.audit.check import Checked, check
from controller.audit.line import FIRST, Anchor
from controller.audit.log import FILE, AuditError, AuditLog
from controller.records import Deed

UTC = "2026-01-05T06:00:00.000+00:00"


def deed(number=0, **changed):
    parameters = {"point": f"level_{number}", "value": number}
    return Deed(number * 10, UTC, "Ada Öz", "the panel socket", "force", parameters, "done")._replace(
        **changed
    )


def written(folder, lines):
    log = AuditLog(folder)
    for number in range(lines):
        log.add(deed(number))
    log.close()
    return Anchor(log.head, log.lines)


@pytest.fixture
def run(tmp_path):
    return tmp_path, written(tmp_path, 5)


def lines_of(folder):
    return (folder / FILE).read_bytes().splitlines(keepends=True)


def found(folder, lines, anchor=None):
    (folder / FILE).write_bytes(b"".join(lines))
    return check(folder, anchor)


# ---- as written ----------------------------------------------------------------------------------------
def test_a_log_as_it_was_written_is_good_with_and_without_what_the_journal_knows(run):
    folder, anchor = run
    assert check(folder, None) == Checked(5, "", 0, 0)
    assert check(folder, anchor) == Checked(5, "", 0, 5)
    assert check(folder, anchor).good


def test_each_line_is_json_and_its_hash_can_be_worked_out_with_any_tool(run):
    """SHA-256 over the line without its last member; RFC 8259 for the JSON."""
    folder, anchor = run
    prev = FIRST
    for number, line in enumerate(lines_of(folder), 1):
        document = json.loads(line)
        body = line.rstrip(b"\n")[: -len(',"hash":""}') - 64] + b"}"
        assert document["hash"] == hashlib.sha256(body).hexdigest()
        assert (document["seq"], document["prev"]) == (number, prev)
        prev = document["hash"]
    assert (document["who"], document["mono_ms"]) == ("Ada Öz", 40)
    assert prev == anchor.head


def test_a_writer_goes_on_where_the_one_before_ended(run):
    folder, _ = run
    log = AuditLog(folder)
    log.add(deed(9, result="refused", reasons=("the receiver is not at rest",)))
    log.close()
    assert check(folder, Anchor(log.head, log.lines)) == Checked(6, "", 0, 6)


# ---- changed -------------------------------------------------------------------------------------------
def test_every_single_byte_changed_is_found_in_its_line(run):
    folder, anchor = run
    good = (folder / FILE).read_bytes()
    for place in range(len(good)):
        changed = bytearray(good)
        changed[place] ^= 1
        told = found(folder, [bytes(changed)], anchor)
        line = good.count(b"\n", 0, place) + 1
        assert not told.good, place
        assert told.lines == line - 1, (place, told)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (lambda a, b, c, d, e: [a, b, d, e], "line 3 is missing: line 4 stands there"),
        (lambda a, b, c, d, e: [a, e], "lines 2 to 4 are missing: line 5 stands there"),
        (lambda a, b, c, d, e: [b, c, d, e], "line 1 is missing: line 2 stands there"),
        (lambda a, b, c, d, e: [a, c, b, d, e], "line 2 was moved: line 3 stands in its place, it comes later"),
        (lambda a, b, c, d, e: [a, b, b, c, d, e], "line 3 is not there: line 2 stands in its place, once more or moved"),
        (lambda a, b, c, d, e: [a, b, b"{}\n", c, d, e], "line 3 was changed: its bytes are not those that its hash was made of"),
        (lambda a, b, c, d, e: [a, b, b"\n", c, d, e], "line 3 was changed: its bytes are not those that its hash was made of"),
        (lambda a, b, c, d, e: [a, b, c], "the end was cut off: 3 lines, the journal knows 5"),
        (lambda a, b, c, d, e: [a, b, c, d, e[:-9]], "the end was cut off: 4 lines, the journal knows 5"),
        (lambda a, b, c, d, e: [a + b"x" * 200_000 + b"\n", b], "line 2 was changed: its bytes are not those that its hash was made of"),
    ],
)  # fmt: skip
def test_the_first_line_that_is_not_as_it_was_is_said_with_what_became_of_it(run, changed, said):
    folder, anchor = run
    assert found(folder, changed(*lines_of(folder)), anchor).problem == said


def test_a_line_written_anew_with_a_hash_that_fits_it_breaks_the_chain_behind_it(run, tmp_path):
    folder, anchor = run
    log = AuditLog(tmp_path / "other")
    for number in range(5):
        log.add(deed(number, who="somebody else" if number == 2 else "Ada Öz"))
    log.close()
    good, other = lines_of(folder), lines_of(tmp_path / "other")
    told = found(folder, [*good[:2], other[2], *good[3:]], anchor)
    assert told.problem == "line 4 does not follow line 3: one of the two was replaced"
    told = found(folder, [*good[:2], *other[2:]], anchor)
    assert told.problem == "line 5 was replaced: the journal knows another hash of it"


def test_a_log_that_is_gone_is_said_where_the_journal_knows_of_one(run):
    folder, anchor = run
    (folder / FILE).unlink()
    assert check(folder, anchor).problem == "audit.jsonl is gone: the journal knows 5 lines"
    with pytest.raises(AuditError, match="no such file; a live run leaves one"):
        check(folder, None)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_whatever_happens_to_bytes_or_lines_is_found(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("audit")
    anchor = written(folder, data.draw(st.integers(1, 6)))
    good = lines_of(folder)
    kind = data.draw(st.sampled_from(("byte", "put in", "take out", "remove", "swap", "double")))
    whole, lines = b"".join(good), list(good)
    place = data.draw(st.integers(0, len(whole) - 1))
    number = data.draw(st.integers(0, len(good) - 1))
    if kind == "byte":
        lines = [whole[:place], data.draw(st.binary(min_size=1, max_size=1)), whole[place + 1 :]]
    elif kind == "put in":
        lines = [whole[:place], data.draw(st.binary(min_size=1, max_size=4)), whole[place:]]
    elif kind == "take out":
        lines = [whole[:place], whole[place + data.draw(st.integers(1, 400)) :]]
    elif kind == "remove":
        del lines[number]
    elif kind == "double":
        lines.insert(data.draw(st.integers(0, len(good))), good[number])
    else:
        other = data.draw(st.integers(0, len(good) - 1))
        lines[number], lines[other] = lines[other], lines[number]
    told = found(folder, lines, anchor)
    assert told.good == (b"".join(lines) == whole)


# ---- torn, full, killed --------------------------------------------------------------------------------
def test_a_last_line_torn_by_a_kill_is_no_change_and_the_next_writer_says_what_it_cut_off(run):
    folder, anchor = run
    with (folder / FILE).open("ab") as file:
        file.write(b'{"command":"sta')
    assert check(folder, anchor) == Checked(5, "", 15, 5)
    log = AuditLog(folder, lambda: anchor)
    log.add(deed(9))
    log.close()
    assert check(folder, Anchor(log.head, log.lines)) == Checked(7, "", 0, 7)
    said = json.loads(lines_of(folder)[5])
    assert (said["command"], said["parameters"]) == (
        "cut off a torn line",
        {"begin": '{"command":"sta', "bytes": 15},
    )


def test_nothing_is_chained_to_a_log_that_was_changed_or_cut(run):
    folder, anchor = run
    good = lines_of(folder)
    (folder / FILE).write_bytes(b"".join(good[:3]))
    with pytest.raises(AuditError, match=r"ends with line 3, the journal knows 5: its end was cut off"):
        AuditLog(folder, lambda: anchor)
    (folder / FILE).write_bytes(b"".join(good).replace(b"force", b"start"))
    with pytest.raises(AuditError, match="its last line was changed"):
        AuditLog(folder)


def test_only_one_writes(run):
    folder, _ = run
    log = AuditLog(folder)
    with pytest.raises(AuditError, match="another process writes it"):
        AuditLog(folder)
    log.close()


def test_a_line_put_behind_the_end_while_it_is_written_stays_and_is_found(run):
    folder, _ = run
    log = AuditLog(folder)
    with log.path.open("ab") as somebody:
        somebody.write(lines_of(folder)[-1])
    log.add(deed(9))
    log.close()
    checked = check(folder, Anchor(log.head, log.lines))
    assert (len(lines_of(folder)), checked.good) == (7, False)


def test_a_line_too_long_is_refused_and_the_next_one_is_written(run):
    folder, _ = run
    log = AuditLog(folder)
    with pytest.raises(AuditError, match="at most 65536 are written: force"):
        log.add(deed(reasons=("x" * 70_000,)))
    log.add(deed())
    log.close()
    assert check(folder, Anchor(log.head, 6)).good


FULL = """
import resource, signal, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from test_audit import deed
from controller.audit.log import AuditError, AuditLog
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
log = AuditLog(Path(sys.argv[1]))
log.add(deed(1))
size = log.path.stat().st_size
resource.setrlimit(resource.RLIMIT_FSIZE, (size + 100, resource.RLIM_INFINITY))
try:
    log.add(deed(2))
except AuditError as no:
    print(no)
assert log.path.stat().st_size == size
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
log.add(deed(3))
print(log.lines, log.head)
"""


def test_a_disk_that_takes_a_part_of_a_line_only_is_said_and_nothing_of_it_stays(tmp_path):
    """The limit of a file's size (setrlimit of POSIX) stands for the full disk."""
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path), str(Path(__file__).parent)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    said, end = done.stdout.splitlines()
    lines, head = end.split()
    assert "audit.jsonl: cannot be written" in said
    assert check(tmp_path, Anchor(head, int(lines))) == Checked(2, "", 0, 2)
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] == resource.RLIM_INFINITY


WRITER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from test_audit import deed
from controller.audit.log import AuditLog
log = AuditLog(Path(sys.argv[1]))
while True:
    log.add(deed(log.lines))
    print(log.lines, log.head, flush=True)
"""


def test_ten_kills_at_random_instants_lose_no_line_that_was_acknowledged(tmp_path):
    chance = random.Random(20260106)
    for _ in range(10):
        until = chance.randint(1, 40)
        command = [sys.executable, "-c", WRITER, str(tmp_path), str(Path(__file__).parent)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
            heard = []
            for line in writer.stdout:
                heard.append(line.split())
                if len(heard) == until:
                    os.kill(writer.pid, signal.SIGKILL)
        lines, head = next(words for words in reversed(heard) if len(words) == 2 and len(words[1]) == 64)
        told = check(tmp_path, Anchor(head, int(lines)))
        assert told.good
        assert told.lines - int(lines) in (0, 1)
