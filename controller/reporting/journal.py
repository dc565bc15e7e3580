"""
The journal of a run: cycle records and events in one SQLite file, with one writer.

What was committed is on the disk (WAL, synchronous FULL), so that neither a killed process nor a power cut
loses it. A cycle is committed before `add_cycle` returns, a fault before `add_events` does; other events
wait for the next commit. Whoever tells lines to others does it by their numbers, after they are on the disk.
"""

import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Self

from controller.events import Priority
from controller.records import CycleRecord, EventRecord
from controller.reporting.journal_file import (
    AUDIT,
    FORMAT,
    GUEST,
    LASTED,
    NEWEST,
    REMOVED_UNTOLD,
    SIMULATED,
    TABLES,
    TAKEN,
    TOLD,
    Marks,
    insert,
    lines_after,
    marks_of,
    other_format,
)
from controller.reporting.journal_file import FILE as FILE
from controller.reporting.journal_file import JournalError as JournalError
from controller.reporting.journal_file import Line as Line
from controller.reporting.journal_file import each_line as each_line
from controller.reporting.journal_file import not_a_new_folder as not_a_new_folder
from controller.reporting.journal_file import read_cycles as read_cycles
from controller.reporting.journal_file import read_events as read_events
from controller.reporting.journal_file import read_marks as read_marks
from controller.reporting.journal_kept import LOOKED_AT_EVERY, UNTOLD_TIMES, Kept, Removed, remove

MOST_UNWRITTEN = 50_000
"""Lines that wait in memory while the disk takes none: hours of a busy receiver, some tens of MB."""


class Journal:
    """
    The one writer of a journal.

    A JournalError of a commit loses nothing: all that was added stays in memory and goes with the next commit
    that succeeds, under the same numbers. So it is never added again; what to do meanwhile is the caller's.
    Over `MOST_UNWRITTEN` lines no more are taken.
    """

    def __init__(
        self,
        folder: Path,
        *,
        boot: str = "",
        readers: Sequence[str] = (),
        kept: Kept | None = None,
        simulated: bool | None = None,
    ) -> None:
        """
        Opens or makes it.

        Args:
            folder: The run folder.
            boot: Names this start of the controller.
            readers: Who tells lines to others. A new one begins at the present end; one that was named before
                and is not now keeps its place, GUEST alone does not.
            kept: How much stays; None: all.
            simulated: This start moves no machine; None: it is not said.

        Raises:
            JournalError: The folder or the file cannot be written, or it is not a journal of this format.
        """
        self.path = folder / FILE
        self._boot, self._kept = boot, kept
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(self.path, isolation_level=None)
            self._prepare(readers, simulated)
        except (OSError, sqlite3.Error) as error:
            msg = f"{folder}: the run folder cannot be written: {_why(error)}"
            raise JournalError(msg) from error
        self._lines: list[Line] = []
        self._since_look = LOOKED_AT_EVERY
        self._trial = sqlite3.connect(":memory:", isolation_level=None)
        self._trial.executescript(TABLES)

    def _prepare(self, readers: Sequence[str], simulated: bool | None) -> None:
        self._db.execute("PRAGMA auto_vacuum = INCREMENTAL")  # of a new file; an older one never shrinks
        self._db.execute("PRAGMA journal_mode = WAL")
        self._db.execute("PRAGMA synchronous = FULL")
        (found,) = self._db.execute("PRAGMA user_version").fetchone()
        if found not in (0, FORMAT):
            self._db.close()
            raise other_format(self.path, found)
        self._db.executescript(TABLES)
        self._db.execute(f"PRAGMA user_version = {FORMAT}")
        marks = marks_of(self._db)
        self._newest = self._written = int(marks.get((NEWEST, ""), 0))
        told = {of: int(value) for (kind, of), value in marks.items() if kind == TOLD}
        if (TAKEN, self._boot) not in marks:
            told.pop(GUEST, None)
        self._told = {**dict.fromkeys(readers, self._newest), **told}
        self._simulated = {of: bool(value) for (kind, of), value in marks.items() if kind == SIMULATED}
        if simulated is not None:
            self._simulated[self._boot] = simulated
        self.removed_untold = int(marks.get((REMOVED_UNTOLD, ""), 0))
        self._taken = int(marks.get((TAKEN, self._boot), 0))
        self._marks: Marks = {(TOLD, reader): told for reader, told in self._told.items()}
        self._marks |= {(SIMULATED, boot): int(was) for boot, was in self._simulated.items()}
        self._db.execute("BEGIN IMMEDIATE")  # a kill between the two would forget what waits
        self._db.execute("DELETE FROM mark WHERE kind = ? OR kind = ? AND of <> ?", (TOLD, TAKEN, self._boot))
        insert(self._db, [], self._marks)
        self._db.execute("COMMIT")
        self._marks.clear()

    # ---- written ---------------------------------------------------------------------------------------
    def add_cycle(self, record: CycleRecord) -> None:
        """Writes a cycle and commits all that waits."""
        self.add([record])
        self.commit()

    def add_events(self, records: Iterable[EventRecord]) -> None:
        """Writes events; commits at once where one of them is a fault."""
        rows = list(records)
        self.add(rows)
        if any(row.priority == Priority.HIGH for row in rows):
            self.commit()

    def add(self, records: Sequence[EventRecord | CycleRecord]) -> None:
        """
        These lines are on the disk with the next commit.

        Raises:
            JournalError: Too many wait already.
            ValueError, TypeError, OverflowError, sqlite3.Error: No journal can hold these; none waits.
        """
        self._try(self._numbered(records))
        if len(self._lines) + len(records) > MOST_UNWRITTEN:
            try:
                self.commit()
            except JournalError as error:
                msg = f"{error}, more are not taken"
                raise JournalError(msg) from error
        self._lines += self._numbered(records)  # after the commit, which may have taken a number itself
        self._newest += len(records)

    def take(self, number: int) -> None:
        """The record just added is `number` of this start, as its sender counts: both with one commit."""
        self._marks[TAKEN, self._boot] = number

    def lasted(self, at_ms: int) -> None:
        """This start of the controller ran until then, also where it says nothing more."""
        self._marks[LASTED, self._boot] = at_ms

    def anchor(self, head: str, count: int) -> None:
        """How the audit log stands; with the next commit."""
        self._marks[AUDIT, "head"], self._marks[AUDIT, "count"] = head, count

    def commit(self) -> None:
        """
        What waits is on the disk when it returns.

        Raises:
            JournalError: It is not; all of it waits on.
        """
        if not self._lines and not self._marks:
            return
        marks = {(NEWEST, ""): self._newest, **self._marks} if self._lines else self._marks
        try:
            self._db.execute("BEGIN IMMEDIATE")
            insert(self._db, self._lines, marks)
            removed = self._remove()
            self._db.execute("COMMIT")
        except BaseException as error:
            with suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")
            if not isinstance(error, sqlite3.Error):
                raise
            msg = f"{self.path}: cannot be written: {error}"
            raise JournalError(msg) from error
        self._written = self._newest
        self._taken = int(self._marks.get((TAKEN, self._boot), self._taken))
        self._lines, self._marks = [], {}
        if removed.up_to:
            self._since_look = LOOKED_AT_EVERY  # there may be more to remove
        if removed.untold:
            self.removed_untold += removed.untold
            self._newest = self._written = self._newest + 1  # the line that says so

    @property
    def taken(self) -> int:
        """The records of this start up to this number are on the disk."""
        return self._taken

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Commits what waits; closed in any case."""
        try:
            self.commit()
        finally:
            self._db.close()
            self._trial.close()

    # ---- told to others --------------------------------------------------------------------------------
    def waiting(self, reader: str, limit: int = 100, after: int = 0) -> list[Line]:
        """
        What this reader has not told yet, in order: lines that are on the disk, and no others.

        Args:
            reader: One of those named at opening.
            limit: At most so many.
            after: Only with a number over this: what is on its way need not be read again.

        Raises:
            JournalError: It cannot be read.
        """
        try:
            return list(lines_after(self._db, max(after, self._told[reader]), limit))
        except sqlite3.Error as error:
            msg = f"{self.path}: cannot be read: {error}"
            raise JournalError(msg) from error

    def behind(self, reader: str) -> int:
        """How many lines on the disk this reader has not told, by their numbers."""
        return self._written - self._told[reader]

    def was_simulated(self, boot: str, otherwise: bool) -> bool:
        """Whether that start moved no machine; `otherwise` where it did not say so."""
        return self._simulated.get(boot, otherwise)

    def told_up_to(self, reader: str) -> int:
        """The number of the last line that this reader has told."""
        return self._told[reader]

    def told(self, reader: str, up_to: int) -> None:
        """
        This reader has told the lines up to this number. On the disk with the next commit.

        Raises:
            ValueError: There is no such line on the disk yet.
        """
        if up_to > self._written:
            msg = f"line {up_to} was told before it was written: the newest is {self._written}"
            raise ValueError(msg)
        if up_to > self._told[reader]:
            self._told[reader] = self._marks[TOLD, reader] = up_to

    # ---- inside ----------------------------------------------------------------------------------------
    def _numbered(self, records: Sequence[EventRecord | CycleRecord]) -> list[Line]:
        return [Line(n, self._boot, record) for n, record in enumerate(records, self._newest + 1)]

    def _try(self, lines: list[Line]) -> None:
        """In memory: one that fails on the disk would fail with each commit, and all others with it."""
        self._trial.execute("BEGIN")
        try:
            insert(self._trial, lines, {})
        finally:
            self._trial.execute("ROLLBACK")

    def _remove(self) -> Removed:
        """Within the commit, now and then."""
        self._since_look += len(self._lines)
        if self._kept is None or not self._lines or self._since_look < LOOKED_AT_EVERY:
            return Removed()
        self._since_look = 0
        newest = self._lines[-1].record
        at_ms, utc = newest[:2] if isinstance(newest, EventRecord) else (newest.start_ms, newest.start_utc)
        told = min(self._told.values(), default=self._newest)
        removed = remove(self._db, self._kept, told, self._newest, utc)
        if removed.untold:
            what = f"{removed.untold} lines, {removed.first_untold} to {removed.up_to}"
            size = f"the journal is larger than {UNTOLD_TIMES} x {self._kept.mb:g} MB"
            event = EventRecord(at_ms, utc, "RECORDS_REMOVED", what, int(Priority.LOW), size)
            line = Line(self._newest + 1, self._boot, event)
            count = self.removed_untold + removed.untold
            insert(self._db, [line], {(NEWEST, ""): line.n, (REMOVED_UNTOLD, ""): count})
        return removed


def _why(error: Exception) -> str:
    return (error.strerror or str(error)) if isinstance(error, OSError) else str(error)
