"""Reads a trace, block by block: a day of it need not fit in memory."""

import json
import re
import zlib
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

from controller.trace.header import MOST_QUIET, Header, TraceError, read_header
from controller.trace.members import Lines

BLOCK = 20_000
"""Scans given together, about."""

_LINE = re.compile(r"([1-9]\d{0,5})((?: \d{1,4}[+-]\d{1,19})*)")
_MOVE = re.compile(r"(\d+)([+-]\d+)")


class Block(NamedTuple):
    """Scans in a row."""

    first_ms: int  # when the first of them ends
    woke: tuple[int, ...] | None  # memory before the first, where the controller woke
    width: int
    values: "array[int]"  # int64, row by row, in the columns of the header

    @property
    def scans(self) -> int:
        """How many."""
        return len(self.values) // self.width


class Trace:
    """
    A trace that was read.

    Raises:
        TraceError: The file cannot be read or is no trace of this format; damage further on by `blocks`.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.cut = ""  # after `blocks`: what is to be said of an end that is missing
        first = next(iter(Lines(path)), None)
        if first is None:
            msg = f"{path}: is no trace: it holds no line"
            raise TraceError(msg)
        self.header: Header = read_header(path, first)

    def blocks(self) -> Iterator[Block]:
        """
        All scans, in order.

        Raises:
            TraceError: The file is damaged; with its line.
        """
        lines = Lines(self.path)
        self.cut = ""
        yield from _Decoder(self.header, lines).blocks()
        if lines.cut:
            self.cut = f"{self.path}: ends after line {lines.number} without its end: "
            self.cut += "the recording was killed or still runs; what followed is lost"


class _Decoder:
    """Where one stands in the text."""

    def __init__(self, header: Header, lines: Lines) -> None:
        self._lines, self._memories = lines, len(header.memory)
        self._width = len(header.columns)
        self._row = array("q")
        self._values = array("q")
        self._woke: tuple[int, ...] | None = None
        self._begun = self._fresh = False
        self._first_ms = self._at_ms = 0  # when the scan before ended; where fresh, when the next one ends

    def blocks(self) -> Iterator[Block]:
        crc = 0
        for line in self._lines:
            if line.startswith("#"):
                if line[1:] != f"{crc:08x}":
                    msg = f"its check is {line[1:]}, the text gives {crc:08x}"
                    raise self._lines.damaged(msg)
                crc = 0
                continue
            crc = zlib.crc32(line.encode() + b"\n", crc)
            if line.startswith("{"):
                if self._lines.number > 1:
                    yield from self._block()
                    self._wake(line)
            else:
                self._scans(line)
                if len(self._values) >= BLOCK * self._width:
                    yield from self._block()
        yield from self._block()

    def _block(self) -> Iterator[Block]:
        if self._values:
            yield Block(self._first_ms, self._woke, self._width, self._values)
            self._values, self._woke = array("q"), None

    def _wake(self, line: str) -> None:
        try:
            part: Any = json.loads(line)
            at_ms, memory = part["at_ms"], part["memory"]
            good = len(memory) == self._memories and all(type(v) is int for v in (at_ms, *memory))
        except (ValueError, KeyError, TypeError):
            good = False
        if not good:
            said = f"no time with {self._memories} values of memory"
            raise self._lines.damaged(said)
        self._at_ms, self._woke, self._begun, self._fresh = at_ms, tuple(memory), True, True
        self._row = array("q", bytes(8 * self._width))

    def _scans(self, line: str) -> None:
        found = _LINE.fullmatch(line)
        if not found or not self._begun:
            msg = f"{line[:40]!r} is no scan of a part"
            raise self._lines.damaged(msg)
        scans = int(found[1])
        if scans > MOST_QUIET:
            msg = f"{scans} scans in one line, there are at most {MOST_QUIET}"
            raise self._lines.damaged(msg)
        if not found[2]:
            self._repeat(scans)
            return
        self._repeat(scans - 1)
        for column, by in _MOVE.findall(found[2]):
            try:
                self._row[int(column)] += int(by)
            except (IndexError, OverflowError):
                msg = f"{column}{by} leads out of the table"
                raise self._lines.damaged(msg) from None
        self._repeat(1)

    def _repeat(self, scans: int) -> None:
        dt_ms = self._row[0]
        if not scans:
            return
        if dt_ms < 1:
            msg = f"{dt_ms} ms between two scans"
            raise self._lines.damaged(msg)
        first_ms = self._at_ms if self._fresh else self._at_ms + dt_ms
        if not self._values:
            self._first_ms = first_ms
        self._at_ms, self._fresh = first_ms + (scans - 1) * dt_ms, False
        self._values.extend(self._row * scans)
