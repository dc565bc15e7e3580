"""
Journal and audit log as the reporter writes them: each record of the rig once, however often it is sent.

A record and its number go to the disk in one transaction of the journal, so a record that is sent again is
known by its number. A line of the audit log is on the disk before the journal knows its number; whoever was
killed between the two finds it behind the anchor that the journal holds, and does not write it again.
"""

from collections import deque
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from controller.audit.line import FIRST, Anchor, Read
from controller.audit.log import LOG, AuditLog
from controller.records import Deed
from controller.reporter.lines import Numbered
from controller.reporting.journal import FILE as JOURNAL
from controller.reporting.journal import Journal
from controller.reporting.journal_file import AUDIT, read_marks
from controller.reporting.journal_kept import Kept

_NAMES = ("utc", "mono_ms", "who", "place", "command", "parameters", "result", "reasons")
TAKEN_OVER = "take over lines that the journal does not know"


class Books:
    """The one writer of a run folder's journal and audit log."""

    def __init__(
        self,
        run: Path,
        boot: str,
        readers: Sequence[str] = (),
        kept: Kept | None = None,
        simulated: bool | None = None,
    ) -> None:
        """
        Opens or makes both.

        Raises:
            HeldError: Another process writes them.
            JournalError, AuditError: One of them cannot be written.
        """
        self.audit = AuditLog(run, lambda: _anchor(run))  # first, as there others are kept out
        try:
            self.journal = Journal(run, boot=boot, readers=readers, kept=kept, simulated=simulated)
        except BaseException:
            self.audit.close()
            raise
        self._number = self.journal.taken
        self._unanchored = deque(self.audit.behind)
        self._of_nobody = 0

    @property
    def taken(self) -> int:
        """The records up to this number are on the disk."""
        return self.journal.taken

    def add(self, came: Numbered) -> None:
        """
        Takes a record; on the disk with the next `commit`, a deed at once.

        Raises:
            AuditError: A deed could not be written. It was not taken: to be given again, before any other.
            JournalError, ValueError, TypeError, OverflowError, sqlite3.Error: See `Journal.add`.
        """
        number, record = came
        if number <= self._number:
            return
        if isinstance(record, Deed):
            self._add_deed(record)
        else:
            self.journal.add([record])
        self._number = number
        self.journal.take(number)

    def pass_over(self, came: Numbered) -> None:
        """This record can never be written: it counts as taken."""
        self._number = came.number
        self.journal.take(came.number)

    def add_own(self, deed: Deed) -> None:
        """
        A deed that the rig knows nothing of.

        Raises:
            AuditError: It could not be written.
        """
        self.audit.add(deed)
        self._anchor()

    def commit(self) -> None:
        """
        All that was taken is on the disk when it returns.

        Raises:
            JournalError: It is not, and waits on.
        """
        self.journal.commit()

    def close(self) -> None:
        """
        Both closed, whatever happens.

        Raises:
            JournalError: What waited could not be written.
        """
        self.audit.close()
        self.journal.close()

    def _add_deed(self, deed: Deed) -> None:
        """Lines that no deed of the rig explains are the reporter's own, or somebody put them there."""
        wanted = _plain(deed)
        if any(_deed(read) == wanted for read in self._unanchored):  # written before a kill
            while _deed(self._unanchored.popleft()) != wanted:
                self._of_nobody += 1
        else:
            self._of_nobody += len(self._unanchored)
            self._unanchored.clear()
            if self._of_nobody:
                lines = {"lines": self._of_nobody}
                self.audit.add(Deed(deed.at_ms, deed.utc, LOG, LOG, TAKEN_OVER, lines, "done"))
                self._of_nobody = 0
            self.audit.add(deed)
        self._anchor()

    def _anchor(self) -> None:
        """Never past a line that a deed still to come may explain, or the next one would write it twice."""
        if self._unanchored:
            self.journal.anchor(self._unanchored[0].prev, self._unanchored[0].seq - 1)
        else:
            self.journal.anchor(self.audit.head, self.audit.lines)


def _deed(read: Read) -> Mapping[str, Any]:
    return {name: read.document[name] for name in _NAMES}


def _anchor(run: Path) -> Anchor:
    marks = read_marks(run) if (run / JOURNAL).exists() else {}
    return Anchor(marks.get((AUDIT, "head"), FIRST), marks.get((AUDIT, "count"), 0))


def _plain(deed: Deed) -> Mapping[str, Any]:
    values = (
        deed.utc, deed.at_ms, deed.who, deed.place, deed.command, dict(deed.parameters), deed.result,
        list(deed.reasons),
    )  # fmt: skip
    return dict(zip(_NAMES, values, strict=True))
