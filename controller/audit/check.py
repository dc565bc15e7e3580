"""
Whether an audit log is as it was written.

Found is each byte changed, each line missing, put in, replaced or moved, and, with what the journal knows of
its end, lines cut off there, and a log written anew: no start adds to one. Lines put behind the end are more
than the journal knows; the next start says in a line of its own how many it took over. Not found is who
writes log and journal anew as a whole.
"""

from collections.abc import Iterator, Mapping
from io import BufferedReader
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

from controller.audit.line import FIRST, MOST_BYTES, Anchor, Read, read_line
from controller.audit.log import FILE, AuditError
from controller.records import printable


class Checked(NamedTuple):
    """What was found."""

    lines: int  # good ones, from the first on
    problem: str  # the first, in words; empty: none
    torn_bytes: int  # of a last line that a kill or a power cut spoiled; nobody was told that it is written
    anchored: int  # so many of the lines the journal knows too

    @property
    def good(self) -> bool:
        """Nothing was changed."""
        return not self.problem


def check(folder: Path, anchor: Anchor | None) -> Checked:
    """
    Looks at every line of the log of a run folder.

    Args:
        folder: The run folder.
        anchor: The end of the log as the journal knows it; None: it knows none.

    Raises:
        AuditError: There is no log, or it cannot be read.
    """
    path = folder / FILE
    try:
        with path.open("rb") as file:
            return _checked(file, anchor)
    except FileNotFoundError:
        if anchor and anchor.lines:
            return Checked(0, f"{FILE} is gone: the journal knows {anchor.lines} lines", 0, 0)
        msg = f"{path}: no such file; a live run leaves one (receiver run STATION --out RUN)"
        raise AuditError(msg) from None
    except OSError as error:
        msg = f"{path}: cannot be read: {error.strerror}"
        raise AuditError(msg) from error


def lines(folder: Path, count: int) -> Iterator[str]:
    """The first lines of a log as a person reads them: number, when, who and where, what, what came of it."""
    with (folder / FILE).open("rb") as file:
        for raw in islice(_raw_lines(file), count):
            if read := read_line(raw.removesuffix(b"\n")):
                yield printable(f"{read.seq:>5}  {said(read.document)}")


def said(document: Mapping[str, Any]) -> str:
    """
    What a line says, in words.

    >>> said({"utc": "2026-01-05T06:00:01.010+00:00", "who": "alice", "place": "remote", "command": "stop",
    ...       "parameters": {"id": "desk-1"}, "result": "refused", "reasons": ["too many commands"]})
    '2026-01-05 06:00:01  alice at remote: stop, id desk-1: refused: too many commands'
    """
    when = document["utc"][:19].replace("T", " ")
    by = " at ".join(filter(None, (document["who"], document["place"])))
    given = (f"{name} {value}" for name, value in document["parameters"].items() if value is not None)
    came = ": ".join(filter(None, (document["result"], "; ".join(document["reasons"]))))
    return f"{when}  {by}: {', '.join((document['command'], *given))}: {came}"


def _checked(file: BufferedReader, anchor: Anchor | None) -> Checked:
    lines, head, torn_bytes, known = 0, FIRST, 0, anchor or Anchor(FIRST, 0)
    for raw in _raw_lines(file):
        read = read_line(raw.removesuffix(b"\n"))
        spoiled = anchor and not read and lines >= anchor.lines and not file.peek(1)
        if len(raw) <= MOST_BYTES and (spoiled or not raw.endswith(b"\n")):
            torn_bytes = len(raw)
            break
        problem = _problem(read, lines + 1, head, file)
        if not problem and read and read.seq == known.lines and read.hash != known.head:
            problem = f"line {read.seq} was replaced: the journal knows another hash of it"
        if problem or read is None:
            return Checked(lines, problem, 0, min(lines, known.lines))
        lines, head = read.seq, read.hash
    cut = f"the end was cut off: {lines} lines, the journal knows {known.lines}"
    return Checked(lines, cut if lines < known.lines else "", torn_bytes, min(lines, known.lines))


def _problem(read: Read | None, number: int, head: str, rest: BinaryIO) -> str:
    """What is wrong with the line that should be `number` and follow `head`; empty if nothing."""
    if read is None:
        return f"line {number} was changed: its bytes are not those that its hash was made of"
    if read.seq > number:
        if number in _numbers(rest):
            return f"line {number} was moved: line {read.seq} stands in its place, it comes later"
        last = read.seq - 1
        what = f"line {number} is" if last == number else f"lines {number} to {last} are"
        return f"{what} missing: line {read.seq} stands there"
    if read.seq < number:
        return f"line {number} is not there: line {read.seq} stands in its place, once more or moved"
    if read.prev != head:
        before = f"line {number - 1}" if number > 1 else "the beginning"
        return f"line {number} does not follow {before}: one of the two was replaced"
    return ""


def _raw_lines(file: BinaryIO) -> Iterator[bytes]:
    """Lines with their ends; of one that is too long its beginning."""
    while raw := file.readline(MOST_BYTES + 1):
        yield raw


def _numbers(file: BinaryIO) -> Iterator[int]:
    """Those of the lines that are whole, from here on."""
    for raw in _raw_lines(file):
        if read := read_line(raw.removesuffix(b"\n")):
            yield read.seq
