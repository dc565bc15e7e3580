"""The writer of the audit log: a line is on the disk when `add` returns."""

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import NoReturn

from controller.audit.line import FIRST, MOST_BYTES, Anchor, Read, line_of, read_line
from controller.records import Deed

FILE = "audit.jsonl"
LOG = "the audit log"
"""Who writes lines of its own accord."""

_BLOCK_BYTES = 2 * MOST_BYTES


class AuditError(Exception):
    """The audit log cannot be written or read; says where and why."""


class HeldError(AuditError):
    """Another process writes it."""


class AuditLog:
    """
    The one writer of the audit log of a run folder; appends to what is there.

    A line that a kill tore, or a power cut spoiled, was never acknowledged: it is cut off at opening, and
    a line says so. Only the end of the file is read, back to the line that the journal knows.
    """

    def __init__(self, folder: Path, anchor: Callable[[], Anchor | None] = lambda: None) -> None:
        """
        Opens or makes it.

        Args:
            folder: The run folder.
            anchor: Reads how it stood as the journal knows it; once nobody else writes here.

        Raises:
            HeldError: Another process writes it.
            AuditError: It cannot be written, or it does not end with the lines that the journal knows and
                with what is chained to them: nothing is added to that.
        """
        self.path = folder / FILE
        self.lines, self.head = 0, FIRST
        self.behind: tuple[Read, ...] = ()
        """The lines behind the anchor, as they were at opening; without one none."""
        self._torn, self._in_vain = b"", False
        try:
            folder.mkdir(parents=True, exist_ok=True)
            flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC | os.O_NOFOLLOW
            self._file = os.open(self.path, flags, 0o640)
        except OSError as error:
            msg = f"{folder}: the run folder cannot be written: {error.strerror}"
            raise AuditError(msg) from error
        try:
            self._lock()
            self._begin(folder, anchor())
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

    def _lock(self) -> None:
        try:
            import fcntl  # not on Windows, where a log can be read all the same

            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            msg = f"{self.path}: another process writes it; end that first"
            raise HeldError(msg) from None

    def _begin(self, folder: Path, anchor: Anchor | None) -> None:
        try:
            size = os.fstat(self._file).st_size
            self._read_end(_from_the_end(self._file, size), anchor)
            self._size = size - len(self._torn)
            os.ftruncate(self._file, self._size)
            os.fsync(self._file)
            _sync_folder(folder)
        except OSError as error:
            msg = f"{self.path}: cannot be written: {error.strerror}"
            raise AuditError(msg) from error

    def _read_end(self, lines: Iterator[bytes], anchor: Anchor | None) -> None:
        """The last good line, what is torn behind it, and the way back to the anchor."""
        last = _BEGIN
        for raw in lines:
            if found := _whole(raw):
                last = found
                break
            if len(raw) > MOST_BYTES or (raw.endswith(b"\n") and (anchor is None or b"\n" in self._torn)):
                self._refuse("its last line was changed")
            self._torn = raw + self._torn
        self.lines, self.head = last.seq, last.hash
        if anchor and last.seq < anchor.lines:
            cut = f"ends with line {last.seq}, the journal knows {anchor.lines}: its end was cut off"
            self._refuse("its last line was changed" if b"\n" in self._torn else cut)
        self.behind = self._back(last, lines, anchor) if anchor else ()

    def _back(self, last: Read, lines: Iterator[bytes], known: Anchor) -> tuple[Read, ...]:
        """What is behind the anchor, in order."""
        behind, read = [], last
        while read.seq > known.lines:
            behind.append(read)
            raw = next(lines, None)
            before = _BEGIN if raw is None else _whole(raw)
            if before is None:
                self._refuse(f"line {read.seq - 1} was changed")
            if (before.seq, before.hash) != (read.seq - 1, read.prev):
                self._refuse(f"line {read.seq - 1} is missing, or was replaced")
            read = before
        if read.hash != known.head:
            self._refuse(f"line {read.seq} is not the one that the journal knows: it was replaced")
        return tuple(reversed(behind))

    def _refuse(self, said: str) -> NoReturn:
        way_out = "look at it with receiver audit, keep it and the journal, and name another run folder"
        msg = f"{self.path}: {said}; {way_out}"
        raise AuditError(msg)

    def _write(self, deed: Deed) -> None:
        line, digest = line_of(self.lines + 1, self.head, deed)
        if len(line) > MOST_BYTES:
            msg = (
                f"{self.path}: a line of {len(line)} bytes, at most {MOST_BYTES} are written: {deed.command}"
            )
            raise AuditError(msg)
        try:
            if self._in_vain:
                os.ftruncate(self._file, self._size)
                self._in_vain = False
            self._size = os.fstat(self._file).st_size  # what somebody else put there stays, for all to see
            if os.write(self._file, line + b"\n") <= len(line):
                raise OSError(errno.ENOSPC, "took a part of a line only")
            os.fsync(self._file)
        except OSError as error:
            self._in_vain = True
            with suppress(OSError):
                os.ftruncate(self._file, self._size)
                self._in_vain = False
            msg = f"{self.path}: cannot be written: {error.strerror}"
            raise AuditError(msg) from error
        self.lines, self.head, self._size = self.lines + 1, digest, self._size + len(line) + 1


_BEGIN = Read(0, "", FIRST, {})


def _whole(raw: bytes) -> Read | None:
    return read_line(raw[:-1]) if raw.endswith(b"\n") else None


def _from_the_end(file: int, size: int) -> Iterator[bytes]:
    """Lines with their ends, the last first; of what is too long for a line a part."""
    rest, at = b"", size
    while at and len(rest) <= _BLOCK_BYTES:
        block = os.pread(file, _BLOCK_BYTES, max(0, at - _BLOCK_BYTES))[:at]
        at = max(0, at - _BLOCK_BYTES)
        *whole, end = (block + rest).split(b"\n")
        rest, *lines = [*(line + b"\n" for line in whole), *filter(None, [end])]
        yield from reversed(lines)
    if rest:
        yield rest


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
