"""
The journal of a run: cycle records and events in one SQLite file, with one writer.

A cycle is on the disk before `add_cycle` returns (WAL, synchronous FULL, one commit each), so that neither a
killed process nor a power cut loses a finished cycle. Events wait for the next commit: a kill may take the
events since the last finished cycle or trip, never one before it.
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Self

from controller.events import Priority
from controller.records import CycleRecord, EventRecord, as_document, from_document

FILE = "journal.sqlite"
FORMAT = 2

_TABLES = """
CREATE TABLE IF NOT EXISTS cycle (
  number INTEGER PRIMARY KEY, start_ms INTEGER NOT NULL, record TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS event (
  n INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, utc TEXT NOT NULL, id TEXT NOT NULL, what TEXT NOT NULL,
  priority INTEGER NOT NULL, detail TEXT NOT NULL);
"""


class JournalError(Exception):
    """The journal cannot be written or read; says where and why."""


def not_a_new_folder(out: Path) -> str:
    """Why no run can be left in a folder; empty where one can."""
    if (out / FILE).exists():
        return "holds a run already; name another folder, or remove that one"
    if out.is_dir() and any(out.iterdir()):
        return "is not empty and holds no run; name a new folder, or an empty one"
    return ""


class Journal:
    """
    The one writer of a journal. `other_thread`: it is written by another thread than the one that opens it.

    Raises:
        JournalError: The folder or the file cannot be written, or it is not a journal of this format.
    """

    def __init__(self, folder: Path, *, other_thread: bool = False) -> None:
        self.path = folder / FILE
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(self.path, isolation_level=None, check_same_thread=not other_thread)
            self._prepare()
        except (OSError, sqlite3.Error) as error:
            msg = f"{folder}: the run folder cannot be written: {_why(error)}"
            raise JournalError(msg) from error

    def _prepare(self) -> None:
        self._db.execute("PRAGMA journal_mode = WAL")
        self._db.execute("PRAGMA synchronous = FULL")
        (found,) = self._db.execute("PRAGMA user_version").fetchone()
        if found not in (0, FORMAT):
            self._db.close()
            raise _other_format(self.path, found)
        self._db.executescript(_TABLES)
        self._db.execute(f"PRAGMA user_version = {FORMAT}")
        self._db.execute("BEGIN")

    def add_cycle(self, record: CycleRecord) -> None:
        """Writes a cycle and commits all that waits."""
        row = (record.number, record.start_ms, json.dumps(as_document(record)))
        with self._told():
            self._db.execute("INSERT INTO cycle VALUES (?, ?, ?)", row)
            self._commit()

    def add_events(self, records: Iterable[EventRecord]) -> None:
        """Writes events; commits at once where one of them is a fault."""
        rows = list(records)
        with self._told():
            self._db.executemany("INSERT INTO event VALUES (NULL, ?, ?, ?, ?, ?, ?)", rows)
            if any(row.priority == Priority.HIGH for row in rows):
                self._commit()

    def commit(self) -> None:
        """What waits is on the disk when it returns."""
        with self._told():
            self._commit()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Commits what waits."""
        with self._told():
            self._db.execute("COMMIT")
            self._db.close()

    def _commit(self) -> None:
        self._db.execute("COMMIT")
        self._db.execute("BEGIN")

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            msg = f"{self.path}: cannot be written: {error}"
            raise JournalError(msg) from error


def read_cycles(folder: Path) -> list[CycleRecord]:
    """
    The finished cycles of a run.

    Raises:
        JournalError: There is no journal, it cannot be read, or it is of another format.
    """
    rows = _rows(folder, "SELECT record FROM cycle ORDER BY number")
    return [from_document(json.loads(row[0])) for row in rows]


def read_events(folder: Path) -> list[EventRecord]:
    """The events of a run, in order. Raises as `read_cycles`."""
    columns = ", ".join(EventRecord._fields)
    return [EventRecord(*row) for row in _rows(folder, f"SELECT {columns} FROM event ORDER BY n")]


def _rows(folder: Path, query: str) -> list[tuple[Any, ...]]:
    path = folder / FILE
    if not path.is_file():
        msg = f"{path}: no such file; a run folder holds a {FILE}"
        raise JournalError(msg)
    try:
        with closing(sqlite3.connect(path)) as db:
            (found,) = db.execute("PRAGMA user_version").fetchone()
            if found != FORMAT:
                raise _other_format(path, found)
            return db.execute(query).fetchall()
    except sqlite3.Error as error:
        msg = f"{path}: cannot be read: {error}"
        raise JournalError(msg) from error


def _other_format(path: Path, found: int) -> JournalError:
    return JournalError(f"{path}: is a journal of format {found}, this program knows format {FORMAT}")


def _why(error: Exception) -> str:
    return (error.strerror or str(error)) if isinstance(error, OSError) else str(error)
