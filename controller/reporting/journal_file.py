"""
The file of a journal, format 3, and how it is read.

Events and cycle records share one numbering: `n` counts every line that was ever written into the file, over
starts of the controller and removals; no number is used twice. Beside them stand marks: what each reader has
told, how far the records of a start have come and whether it was simulated, the newest number, and the end
of the audit log.
"""

import json
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from itertools import count
from pathlib import Path
from typing import Any, NamedTuple

from controller.records import CycleRecord, EventRecord, as_document, from_document

FILE = "journal.sqlite"
FORMAT = 3

TABLES = """
CREATE TABLE IF NOT EXISTS event (
  n INTEGER PRIMARY KEY, boot TEXT NOT NULL, at_ms INTEGER NOT NULL, utc TEXT NOT NULL, id TEXT NOT NULL,
  what TEXT NOT NULL, priority INTEGER NOT NULL, detail TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS cycle (
  n INTEGER PRIMARY KEY, boot TEXT NOT NULL, start_ms INTEGER NOT NULL, utc TEXT NOT NULL,
  record TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS mark (
  kind TEXT NOT NULL, of TEXT NOT NULL, value NOT NULL, PRIMARY KEY (kind, of)) WITHOUT ROWID;
"""
_LINES = """
SELECT n, boot, at_ms, utc, id, what, priority, detail FROM event WHERE n > :after
UNION ALL SELECT n, boot, NULL, NULL, NULL, NULL, NULL, record FROM cycle WHERE n > :after
ORDER BY n LIMIT :limit
"""
Marks = dict[tuple[str, str], Any]
"""By kind and of what; a kind is one of the constants below."""

NEWEST, TOLD, TAKEN, LASTED, SIMULATED, REMOVED_UNTOLD, AUDIT = (
    "newest", "told", "taken", "lasted", "simulated", "removed untold", "audit",
)  # fmt: skip
GUEST = "guest"
"""The reader of one start alone: the next one forgets what it was not told."""

PIECE = 1_000
"""Lines that are read at once."""


class JournalError(Exception):
    """The journal cannot be written or read; says where and why."""


class Line(NamedTuple):
    """One line of the journal."""

    n: int
    boot: str  # of which start of the controller; empty where the writer named none
    record: EventRecord | CycleRecord


def not_a_new_folder(out: Path, file: str = FILE) -> str:
    """Why no run, of which this file stays, can be left in a folder; empty where one can."""
    if (out / file).exists():
        beside = (out.with_name(f"{out.name}_{n}") for n in count(2))
        return f"holds a run already; name another folder: --out {next(p for p in beside if not p.exists())}"
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        return "is not empty and holds no run; name a new folder, or an empty one"
    return ""


def read_cycles(folder: Path) -> list[CycleRecord]:
    """
    The finished cycles of a run.

    Raises:
        JournalError: There is no journal, it cannot be read, or it is of another format.
    """
    with _reading(folder) as db:
        rows = db.execute("SELECT record FROM cycle ORDER BY n").fetchall()
    return [from_document(json.loads(row[0])) for row in rows]


def read_events(folder: Path) -> list[EventRecord]:
    """The events of a run, in order. Raises as `read_cycles`."""
    columns = ", ".join(EventRecord._fields)
    with _reading(folder) as db:
        return [EventRecord(*row) for row in db.execute(f"SELECT {columns} FROM event ORDER BY n")]


def each_line(folder: Path) -> Iterator[Line]:
    """Every line in order. Raises as `read_cycles`. Between two pieces it keeps the writer from nothing."""
    with _reading(folder) as db:
        piece = list(lines_after(db, 0, PIECE))
        while piece:
            yield from piece
            piece = list(lines_after(db, piece[-1].n, PIECE))


def read_marks(folder: Path) -> Marks:
    """What stands beside the lines. Raises as `read_cycles`."""
    with _reading(folder) as db:
        return marks_of(db)


def lines_after(db: sqlite3.Connection, after: int, limit: int = -1) -> Iterator[Line]:
    """The lines with a number over `after`, in order; at most `limit`."""
    for n, boot, *values, last in db.execute(_LINES, {"after": after, "limit": limit}):
        is_event = values[0] is not None
        record = EventRecord._make((*values, last)) if is_event else from_document(json.loads(last))
        yield Line(n, boot, record)


def latest_events(folder: Path, ids: Sequence[str], up_to: int) -> Iterator[Line]:
    """The events with these ids and a number up to `up_to`, the newest first. Raises as `read_cycles`."""
    asked = ", ".join("?" * len(ids))
    columns = ", ".join(EventRecord._fields)
    found = f"SELECT n, boot, {columns} FROM event WHERE n <= ? AND id IN ({asked}) ORDER BY n DESC"
    with _reading(folder) as db:
        for n, boot, *values in db.execute(found, (up_to, *ids)):
            yield Line(n, boot, EventRecord(*values))


def marks_of(db: sqlite3.Connection) -> Marks:
    """Every mark."""
    return {(kind, of): value for kind, of, value in db.execute("SELECT kind, of, value FROM mark")}


def insert(db: sqlite3.Connection, lines: list[Line], marks: Marks) -> None:
    """Writes lines and marks into the transaction that is open."""
    events = [(line.n, line.boot, *line.record) for line in lines if isinstance(line.record, EventRecord)]
    cycles = [
        (line.n, line.boot, line.record.start_ms, line.record.start_utc, json.dumps(as_document(line.record)))
        for line in lines
        if isinstance(line.record, CycleRecord)
    ]
    db.executemany("INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?, ?)", events)
    db.executemany("INSERT INTO cycle VALUES (?, ?, ?, ?, ?)", cycles)
    db.executemany(
        "INSERT OR REPLACE INTO mark VALUES (?, ?, ?)", [(*key, value) for key, value in marks.items()]
    )


def other_format(path: Path, found: int) -> JournalError:
    """What to say of a journal of another format."""
    said = f"{path}: is a journal of format {found}, this program knows format {FORMAT}"
    return JournalError(f"{said}: read it with the version that wrote it (its run.json names that)")


@contextmanager
def _reading(folder: Path) -> Iterator[sqlite3.Connection]:
    path = folder / FILE
    if not path.is_file():
        msg = f"{path}: no such file; a run folder holds a {FILE}"
        raise JournalError(msg)
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?{_how(path)}", uri=True)) as db:
            (found,) = db.execute("PRAGMA user_version").fetchone()
            if found != FORMAT:
                raise other_format(path, found)
            yield db
    except sqlite3.Error as error:
        msg = f"{path}: cannot be read: {error}"
        raise JournalError(msg) from error


def _how(path: Path) -> str:
    """SQLite reads with a log beside the file; who may write the folder can make one, and remove it."""
    if path.with_name(FILE + "-wal").exists():
        return "mode=ro"
    may_write = os.access(path.parent, os.W_OK, effective_ids=os.access in os.supports_effective_ids)
    return "mode=rw" if may_write else "immutable=1"
