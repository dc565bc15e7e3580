"""The writer of the audit log: a line is on the disk when `add` returns."""

import errno
import os
from pathlib import Path

from controller.audit.line import FIRST, MOST_BYTES, Anchor, line_of, read_line
from controller.records import Deed

FILE = "audit.jsonl"
LOG = "the audit log"
"""Who writes lines of its own accord."""

_TAIL_BYTES = 2 * MOST_BYTES


class AuditError(Exception):
    """The audit log cannot be written or read; says where and why."""


class AuditLog:
    """
    The one writer of the audit log of a run folder; appends to what is there.

    A line that a kill tore was never acknowledged: it is cut off at opening, and a line says so.
    """

    def __init__(self, folder: Path, anchor: Anchor | None = None) -> None:
        """
        Opens or makes it.

        Args:
            folder: The run folder.
            anchor: How it stood as the journal knows it.

        Raises:
            AuditError: It cannot be written, another process writes it, its last line was changed, or it
                has fewer lines than the journal knows: nothing is chained to that.
        """
        self.path = folder / FILE
        self.lines, self.head = 0, FIRST
        self._torn = b""
        try:
            folder.mkdir(parents=True, exist_ok=True)
            flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC | os.O_NOFOLLOW
            self._file = os.open(self.path, flags, 0o640)
        except OSError as error:
            msg = f"{self.path}: cannot be written: {error.strerror}"
            raise AuditError(msg) from error
        try:
            self._begin(folder)
            if anchor and self.lines < anchor.lines:
                msg = f"{self.path}: ends with line {self.lines}, the journal knows {anchor.lines}: "
                raise AuditError(msg + "its end was cut off; keep both files, and name another run folder")
        except BaseException:
            os.close(self._file)
            raise

    def add(self, deed: Deed) -> None:
        """
        Writes a line; the first after a torn one says before it what was cut off.

        Raises:
            AuditError: It is not on the disk; nothing of it stays in the file.
        """
        if self._torn:
            begin = self._torn[:200].decode("ascii", "replace")
            self._write(
                Deed(deed.at_ms, deed.utc, LOG, LOG, "cut off a torn line",
                     {"bytes": len(self._torn), "begin": begin}, "done")
            )  # fmt: skip
            self._torn = b""
        self._write(deed)

    def close(self) -> None:
        """Others may write it from here on."""
        os.close(self._file)

    def _begin(self, folder: Path) -> None:
        try:
            import fcntl  # not on Windows, where a log can be read all the same

            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            msg = f"{self.path}: another process writes it; end that first"
            raise AuditError(msg) from None
        size = os.fstat(self._file).st_size
        tail = os.pread(self._file, _TAIL_BYTES, max(0, size - _TAIL_BYTES))
        whole, newline, self._torn = tail.rpartition(b"\n")
        if newline or size > _TAIL_BYTES:
            last = read_line(whole[whole.rfind(b"\n") + 1 :])
            if last is None:
                msg = f"{self.path}: its last line was changed; keep it, and look at it with receiver audit"
                raise AuditError(msg)
            self.lines, self.head = last.seq, last.hash
        try:
            if self._torn:
                os.ftruncate(self._file, size - len(self._torn))
            os.fsync(self._file)
            _sync_folder(folder)
        except OSError as error:
            msg = f"{self.path}: cannot be written: {error.strerror}"
            raise AuditError(msg) from error

    def _write(self, deed: Deed) -> None:
        line, digest = line_of(self.lines + 1, self.head, deed)
        if len(line) > MOST_BYTES:
            msg = (
                f"{self.path}: a line of {len(line)} bytes, at most {MOST_BYTES} are written: {deed.command}"
            )
            raise AuditError(msg)
        size = os.fstat(self._file).st_size
        try:
            if os.write(self._file, line + b"\n") <= len(line):
                raise OSError(errno.ENOSPC, "took a part of a line only")
            os.fsync(self._file)
        except OSError as error:
            os.ftruncate(self._file, size)
            msg = f"{self.path}: cannot be written: {error.strerror}"
            raise AuditError(msg) from error
        self.lines, self.head = self.lines + 1, digest


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
