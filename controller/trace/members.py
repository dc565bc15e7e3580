"""
The text of a file of gzip members (RFC 1952), as far as it goes.

A killed process leaves its last member unfinished: what was flushed can be read, the rest is lost.
"""

import zlib
from collections.abc import Iterator
from pathlib import Path

from controller.trace.header import TraceError

GZIP = 31  # window bits of zlib: gzip, largest window
MAGIC = b"\x1f\x8b"
PIECE = 1 << 16


class Lines:
    """
    The lines of a file, each without its end, once through.

    Afterwards `cut` says whether the file ends before its last member does; then what followed the last
    whole line is lost. `number` is the line given last, from 1. `start` is where the member begins.
    """

    def __init__(self, path: Path) -> None:
        self.path, self.number, self.cut, self.start = path, 0, False, 0

    def __iter__(self) -> Iterator[str]:
        rest = b""
        for text in self._texts():
            *lines, rest = (rest + text).split(b"\n")
            for line in lines:
                self.number += 1
                try:
                    yield line.decode("ascii")
                except UnicodeDecodeError:
                    msg = "a byte that no trace has"
                    raise self.damaged(msg) from None
        if rest and not self.cut:
            self.number += 1
            msg = "its last line has no end"
            raise self.damaged(msg)

    def damaged(self, how: str) -> TraceError:
        """What this line shows."""
        return TraceError(f"{self.path}:{self.number}: is damaged: {how}")

    def _texts(self) -> Iterator[bytes]:
        try:
            with self.path.open("rb") as file:
                yield from self._inflated(iter(lambda: file.read(PIECE), b""))
        except OSError as error:
            msg = f"{self.path}: cannot be read: {error.strerror or error}"
            raise TraceError(msg) from error

    def _inflated(self, pieces: Iterator[bytes]) -> Iterator[bytes]:
        member, read = zlib.decompressobj(GZIP), 0
        for n, piece in enumerate(pieces):
            if n == 0 and not piece.startswith(MAGIC[: len(piece)]):
                msg = f"{self.path}: is no trace: its bytes are not gzip"
                raise TraceError(msg)
            data = piece
            while data:
                if member.eof:
                    member, self.start = zlib.decompressobj(GZIP), read
                before = len(data)
                try:
                    yield member.decompress(data)
                except zlib.error as error:
                    self.number += 1
                    msg = f"from here on: {error}"
                    raise self.damaged(msg) from None
                data = member.unused_data
                read += before - len(data)
        self.cut = not member.eof


def unfinished(path: Path) -> tuple[int, bytes] | None:
    """
    Where the last member of a file begins, and its whole lines; None if it is finished.

    Raises:
        TraceError: The file cannot be read, or is damaged before its end.
    """
    lines = Lines(path)
    start, kept = 0, list[str]()
    for line in lines:
        if lines.start != start:
            start, kept = lines.start, []
        kept.append(line)
    if lines.start != start:
        kept = []
    return (lines.start, "".join(f"{line}\n" for line in kept).encode()) if lines.cut else None
