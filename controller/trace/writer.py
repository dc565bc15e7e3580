"""
Writes a trace, change-coded: a line for each scan in which something moved.

After the header the lines are

- `{"at_ms":10,"memory":[…]}`: the controller woke; when its first scan ended, and the memory before it. All
  columns begin at 0.
- `3 12+1 40-25`: three scans. Two as the one before, then one in which column 12 rose by 1 and column 40 fell
  by 25. A condition counts 0 or 1. A number alone stands for scans in which nothing moved.
- `#1a2b3c4d`: CRC-32 of all text since the last such line. What stands before it is on its way to the disk.
"""

import json
import os
import zlib
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from controller.trace.header import MOST_QUIET, Header, TraceError, header_line, read_header
from controller.trace.members import GZIP, Lines, unfinished

if TYPE_CHECKING:
    import numpy as np

    Table = np.ndarray[tuple[int, int], np.dtype[np.int64]]


class TraceWriter:
    """
    The one writer of a trace; a file that is there is appended to. Needs no NumPy, but for `table`.

    Args:
        path: The file.
        header: What it is of.
        check_every: Scans between two check lines: as many as a killed process may lose. What a power cut
            takes is up to the file system.

    Raises:
        TraceError: The file cannot be written, is no trace, or is of something else.
    """

    def __init__(self, path: Path, header: Header, check_every: int = 1_000) -> None:
        assert 1 <= check_every <= MOST_QUIET
        self.header, self._path, self._every = header, path, check_every
        self._row: list[int] = []
        self._lines: list[str] = []  # since the last check line
        self._crc = self._quiet = self._unchecked = 0
        self._zip = zlib.compressobj(6, zlib.DEFLATED, GZIP)
        try:
            fresh = not path.exists() or not path.stat().st_size or not self._mended()
            self._file = path.open("ab")
        except OSError as error:
            raise self._failed(error) from error
        if fresh:
            self._lines.append(header_line(header))
        self.flush()

    def wake(self, at_ms: int, memory: Sequence[int]) -> None:
        """
        A new part: the controller woke.

        Args:
            at_ms: When its first scan ends.
            memory: Before that scan, in the order of the header.
        """
        assert len(memory) == len(self.header.memory)
        self._stood()
        self._row = [0] * len(self.header.columns)
        part = {"at_ms": at_ms, "memory": [int(value) for value in memory]}
        self._lines.append(json.dumps(part, separators=(",", ":")) + "\n")

    def scan(
        self, dt_ms: int, inputs: Sequence[int], outputs: Sequence[int], watched: Sequence[int] = ()
    ) -> None:
        """One scan: the time since the one before, and the images in the order of the header."""
        row = [dt_ms, *inputs, *outputs, *watched]
        before, self._row = self._row, row
        if row == before:
            self._stand(1)
        else:
            pairs = enumerate(zip(before, row, strict=True))
            self._move("".join([f" {c}{new - old:+}" for c, (old, new) in pairs if new != old]))

    def table(self, dt_ms: int, rows: "Table") -> None:
        """
        Scans in a row, quicker than one by one, as the same text.

        Args:
            dt_ms: The time of each since the one before.
            rows: Inputs, outputs and what is watched, one row a scan.
        """
        import numpy as np

        whole = np.empty((len(rows) + 1, len(self._row)), dtype=np.int64)
        whole[0], whole[1:, 0], whole[1:, 1:] = self._row, dt_ms, rows
        self._row = [int(value) for value in whole[-1]]
        steps = np.diff(whole, axis=0)
        scans, columns = np.nonzero(steps)
        moved: dict[int, str] = {}
        places = zip(scans.tolist(), columns.tolist(), steps[scans, columns].tolist(), strict=True)
        for k, column, step in places:
            moved[k] = f"{moved.get(k, '')} {column}{step:+}"
        before = -1
        for k, text in moved.items():
            self._stand(k - before - 1)
            self._move(text)
            before = k
        self._stand(len(rows) - before - 1)

    def flush(self) -> None:
        """All that was told so far goes to the operating system: a kill no longer takes it."""
        self._stood()
        text = "".join(self._lines).encode("ascii")
        self._lines, self._unchecked = [], 0
        if text:
            check = b"#%08x\n" % zlib.crc32(text, self._crc)
            self._crc = 0
            self._write(self._zip.compress(text + check) + self._zip.flush(zlib.Z_SYNC_FLUSH))

    def close(self) -> None:
        """Ends the file as gzip ends it; it may be opened again to append."""
        if not self._file.closed:
            self.flush()
            self._write(self._zip.flush())
            self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.close()

    # ---- text ----------------------------------------------------------------------------------------
    def _move(self, text: str) -> None:
        """A scan in which something moved."""
        self._lines.append(f"{self._quiet + 1}{text}\n")
        self._quiet = 0
        self._unchecked += 1
        if self._unchecked >= self._every:
            self.flush()

    def _stand(self, scans: int) -> None:
        """Scans in which nothing moved."""
        while scans:
            now = min(scans, self._every - self._unchecked)
            self._quiet += now
            self._unchecked += now
            scans -= now
            if self._unchecked >= self._every:
                self.flush()

    def _stood(self) -> None:
        if self._quiet:
            self._lines.append(f"{self._quiet}\n")
            self._quiet = 0

    def _write(self, last: bytes) -> None:
        try:
            self._file.write(last)
            self._file.flush()
        except OSError as error:
            raise self._failed(error) from error

    def _failed(self, error: OSError) -> TraceError:
        return TraceError(f"{self._path}: cannot be written: {error.strerror or error}")

    # ---- appending -----------------------------------------------------------------------------------
    def _mended(self) -> bool:
        """Makes the file one that can be appended to; whether anything is left of it."""
        lines = Lines(self._path)
        first = next(iter(lines), None)
        if first is not None:
            self._compare(read_header(self._path, first))
        lost = unfinished(self._path)
        if lost is None:
            return True
        start, text = lost
        mended = self._path.with_name(self._path.name + ".mended")
        member: Any = zlib.compressobj(6, zlib.DEFLATED, GZIP)
        with self._path.open("rb") as file:
            kept = file.read(start)
        mended.write_bytes(kept + (member.compress(text) + member.flush() if text else b""))
        os.replace(mended, self._path)
        self._crc = zlib.crc32(_unchecked(text))
        return bool(start or text)

    def _compare(self, there: Header) -> None:
        differ = [name for name in Header.model_fields if getattr(there, name) != getattr(self.header, name)]
        if differ:
            msg = f"{self._path}:1: was recorded with other {', '.join(differ)}: name another file"
            raise TraceError(msg)


def _unchecked(text: bytes) -> bytes:
    """The lines that no check line covers yet."""
    lines = text.splitlines(keepends=True)
    checks = [k for k, line in enumerate(lines) if line.startswith(b"#")]
    return b"".join(lines[checks[-1] + 1 :] if checks else lines)
