import gzip
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.trace.header import Header, TraceError
from controller.trace.reader import Trace
from controller.trace.writer import TraceWriter

HEADER = Header(
    station="R-101", software="1", logic="a", settings="b", scan_ms=10, seed=1,
    inputs=("start_pb", "vacuum_ua"), whole=("vacuum_ua",), outputs=("horn",), watched=("step", "TRIP"),
    steps=("REST", "WARNING"), interlocks=("TRIP",), memory=("step", "held_ms"), presets={"warning_ms": 3_000},
)  # fmt: skip
WHOLE = st.integers(-(2**31), 2**31)
BIT = st.integers(0, 1)
ROW = st.tuples(
    st.integers(1, 1_000), st.tuples(BIT, WHOLE), st.tuples(BIT), st.tuples(st.integers(0, 1), BIT)
)
ROWS = st.lists(st.tuples(ROW, st.integers(1, 30)), min_size=1, max_size=8).map(
    lambda pairs: [row for row, times in pairs for _ in range(times)]
)
PART = st.tuples(st.integers(0, 10**9), st.tuples(WHOLE, WHOLE), ROWS)
PARTS = st.lists(PART, min_size=1, max_size=4)
RUN = [
    (10, (0, 0), [(10, (0, 4_000 + n % 7), (n > 20,), (n > 40, n > 60)) for n in range(90)]),
    (5_000, (1, 70), [(10, (1, 3_990), (0,), (1, 0))] * 50),
]


def write(path, parts, every=7, again=False):
    """All parts in one go, or the file closed and opened again before each."""
    writer = TraceWriter(path, HEADER, check_every=every)
    for at_ms, memory, rows in parts:
        if again:
            writer.close()
            writer = TraceWriter(path, HEADER, check_every=every)
        writer.wake(at_ms, memory)
        for row in rows:
            writer.scan(*row)
    return writer


def flat(row):
    dt_ms, *images = row
    return (dt_ms, *(int(value) for image in images for value in image))


def told(parts):
    """What a reader must give: each scan with the time it ended, and the memory where the controller woke."""
    scans = []
    for at_ms, memory, rows in parts:
        now_ms = at_ms - rows[0][0]
        for k, row in enumerate(rows):
            now_ms += row[0]
            scans.append((now_ms, memory if k == 0 else None, flat(row)))
    return scans


def read(path):
    trace, scans = Trace(path), []
    for block in trace.blocks():
        now_ms = block.first_ms - block.values[0]
        for k in range(block.scans):
            row = tuple(block.values[k * block.width : (k + 1) * block.width])
            now_ms += row[0]
            scans.append((now_ms, block.woke if k == 0 else None, row))
    return scans, trace.cut


def refused(path):
    """Why a file is no trace; empty if it is one."""
    try:
        read(path)
    except TraceError as no:
        return str(no)
    return ""


def damaged(path, text):
    path.write_bytes(gzip.compress(text.encode()))
    return refused(path).removeprefix(f"{path}:")


@pytest.fixture
def path(tmp_path):
    return tmp_path / "trace.gz"


@given(parts=PARTS, every=st.integers(1, 50), again=st.booleans())
def test_what_was_written_is_read_again(tmp_path_factory, parts, every, again):
    path = tmp_path_factory.mktemp("trace") / "trace.gz"
    write(path, parts, every, again).close()
    assert read(path) == (told(parts), "")


@given(parts=PARTS, every=st.integers(1, 50))
def test_a_table_is_written_as_the_same_bytes_as_its_scans(tmp_path_factory, parts, every):
    np = pytest.importorskip("numpy")
    folder = tmp_path_factory.mktemp("trace")
    parts = [(at_ms, memory, [(10, *row[1:]) for row in rows]) for at_ms, memory, rows in parts]
    write(folder / "scans.gz", parts, every).close()
    with TraceWriter(folder / "tables.gz", HEADER, check_every=every) as writer:
        for at_ms, memory, rows in parts:
            writer.wake(at_ms, memory)
            for piece in (rows[:5], rows[5:]):
                if piece:
                    writer.table(10, np.array([flat(row)[1:] for row in piece]))
    assert (folder / "tables.gz").read_bytes() == (folder / "scans.gz").read_bytes()


def test_the_text_is_what_the_format_says(path):
    """Lines as documented; unpacked by the gzip of the standard library (RFC 1952), sums by its zlib."""
    rows = [(10, (0, 4_000), (0,), (0, 0))] * 3 + [(10, (1, 3_975), (0,), (1, 0))] * 2
    write(path, [(10, (0, 5), rows)], every=1_000).close()
    lines = gzip.decompress(path.read_bytes()).decode().splitlines()
    assert lines[0].startswith('{"receiver_trace":1,"station":"R-101"')
    assert lines[1][0] == "#"
    assert lines[2:6] == ['{"at_ms":10,"memory":[0,5]}', "1 0+10 2+4000", "3 1+1 2-25 4+1", "1"]
    assert len(lines) == 7
    assert lines[6][0] == "#"


def test_what_a_killed_process_leaves_is_read_up_to_its_end(path, tmp_path):
    """Cut at any byte: the scans read are the first of those written, and the cut is said."""
    write(path, RUN).close()
    whole, cut = path.read_bytes(), tmp_path / "cut.gz"
    scans, lengths = told(RUN), set()
    for length in range(1, len(whole)):
        cut.write_bytes(whole[:length])
        if why := refused(cut):
            assert "is no trace: it holds no line" in why
            continue
        found, said = read(cut)
        assert found == scans[: len(found)]
        assert "ends after line" in said
        lengths.add(len(found))
    assert max(lengths) == len(scans)
    assert len(lengths) > 10


def test_a_kill_takes_no_more_than_the_scans_since_the_last_check(path, tmp_path):
    writer = write(path, [(10, (0, 0), RUN[0][2])], every=20)
    found, said = read(path)  # the writer is never closed
    assert len(found) == 80
    assert "the recording was killed or still runs" in said
    writer.close()


def test_a_trace_that_was_killed_is_gone_on_with(path):
    """From each length that a kill may leave; what was whole stays, the new part follows."""
    write(path, RUN).close()
    whole = path.read_bytes()
    for length in range(0, len(whole), 5):
        path.write_bytes(whole[:length])
        kept = [] if refused(path) else read(path)[0]
        write(path, RUN[1:]).close()
        assert read(path) == (kept + told(RUN[1:]), "")
    assert [file.name for file in path.parent.iterdir()] == ["trace.gz"]


def test_no_flipped_byte_makes_another_trace(path):
    """Each byte of a finished file: refused with its place, or the same scans, or an end that is said to be cut."""
    write(path, RUN).close()
    whole, scans, refusals = path.read_bytes(), told(RUN), 0
    for place in range(len(whole)):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0x10]) + whole[place + 1 :])
        if why := refused(path):
            assert why.startswith(f"{path}:")
            refusals += 1
            continue
        found, cut = read(path)
        assert found == (scans[: len(found)] if cut else scans)
    assert refusals > 0.9 * len(whole)


def test_a_changed_number_is_found_by_the_check_and_named_with_its_line(path):
    write(path, RUN).close()
    lines = gzip.decompress(path.read_bytes()).decode().splitlines(keepends=True)
    row = next(k for k, line in enumerate(lines) if line == "1 2+1\n")
    check = next(k for k in range(row, len(lines)) if lines[k][0] == "#")
    lines[row] = "1 2+2\n"
    said = damaged(path, "".join(lines))
    assert said.startswith(f"{check + 1}: is damaged: its check is")


HEAD = '{"receiver_trace":1'


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("1 99+1", "3: is damaged: 99+1 leads out of the table"),
        ("1 0+10 2+9999999999999999999", "3: is damaged: 2+9999999999999999999 leads out of the table"),
        ("1 2+1", "3: is damaged: 0 ms between two scans"),
        ("1 0-10", "3: is damaged: -10 ms between two scans"),
        ("999999 0+10", "3: is damaged: 999999 scans in one line, there are at most 100000"),
        ("0 0+10", "3: is damaged: '0 0+10' is no scan of a part"),
        ("1 horn", "3: is damaged: '1 horn' is no scan of a part"),
        ("", "3: is damaged: '' is no scan of a part"),
        ('{"at_ms":10,"memory":[0]}', "3: is damaged: no time with 2 values of memory"),
        ('{"at_ms":1.5,"memory":[0,0]}', "3: is damaged: no time with 2 values of memory"),
        ("{", "3: is damaged: no time with 2 values of memory"),
        ("#00000000", "3: is damaged: its check is 00000000, the text gives"),
    ],
)
def test_a_line_that_cannot_be_is_refused_with_its_number(path, line, said):
    write(path, RUN[:1]).close()
    head = gzip.decompress(path.read_bytes()).decode().splitlines()[0]
    text = f'{head}\n{{"at_ms":10,"memory":[0,0]}}\n{line}\n'
    assert damaged(path, text).startswith(said)


def test_scans_before_the_controller_woke_are_refused(path):
    write(path, RUN[:1]).close()
    head = gzip.decompress(path.read_bytes()).decode().splitlines()[0]
    assert damaged(path, f"{head}\n1 0+10\n").startswith("2: is damaged: '1 0+10' is no scan of a part")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("# something else\n1\n", "1: is no trace: the first line is no header"),
        ('["receiver_trace"]\n', "1: is no trace: the first line is no header"),
        ('{"receiver_trace":2,"new":true}\n', "1: is a trace of format 2, this program knows format 1"),
        ('{"receiver_trace":1,"station":"R-101"}\n', "1: the header is damaged: software: Field required"),
    ],
)
def test_foreign_and_newer_files_are_refused(path, text, said):
    assert damaged(path, text).startswith(said)


def test_a_header_that_names_a_column_twice_is_refused(path):
    write(path, RUN[:1]).close()
    text = gzip.decompress(path.read_bytes()).decode().replace('"outputs":["horn"]', '"outputs":["start_pb"]')
    assert damaged(path, text) == "1: the header names twice: start_pb"


def test_a_file_that_is_not_gzip_or_not_there_is_refused(path, tmp_path):
    path.write_text("at_ms;step\n10;REST\n")
    with pytest.raises(TraceError, match="is no trace: its bytes are not gzip"):
        Trace(path)
    with pytest.raises(TraceError, match="cannot be read: No such file"):
        Trace(tmp_path / "none.gz")
    with pytest.raises(TraceError, match="cannot be read: Is a directory"):
        Trace(tmp_path)
    path.write_bytes(b"")
    with pytest.raises(TraceError, match="holds no line"):
        Trace(path)


def test_nothing_is_appended_to_the_trace_of_something_else(path):
    write(path, RUN).close()
    before = path.read_bytes()
    other = HEADER.model_copy(update={"logic": "c", "presets": {"warning_ms": 4_000}})
    with pytest.raises(TraceError, match="was recorded with other logic, presets: name another file"):
        TraceWriter(path, other)
    path.write_text("notes\n")
    with pytest.raises(TraceError, match="is no trace"):
        TraceWriter(path, HEADER)
    assert path.read_text() == "notes\n"
    path.write_bytes(before)
    assert read(path) == (told(RUN), "")


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(TraceError, match=r"none.trace\.gz: cannot be written: No such file"):
        TraceWriter(tmp_path / "none" / "trace.gz", HEADER)


def test_a_rig_without_numpy_writes_and_reads_a_trace(path):
    code = (
        "import sys; sys.modules['numpy'] = sys.modules['numba'] = None; import test_trace as t; "
        "from pathlib import Path; p = Path(sys.argv[1]); t.write(p, t.RUN).close(); "
        "assert t.read(p) == (t.told(t.RUN), '')"
    )
    here = Path(__file__).parent
    folders = f"import sys; sys.path[:0] = {[str(here), str(here.parents[1])]!r}; "
    subprocess.run([sys.executable, "-c", folders + code, str(path)], check=True, timeout=60)
