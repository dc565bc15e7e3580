"""
The check-out sheet: point, how, value seen, by whom, when. Saved whole after every entry, and resumable.

A CSV file with one line an entry. A point may be entered again; its last entry counts. The I/O stands in
every line, so that a check-out of a simulated plant is never taken for one of a machine.
"""

import csv
import io
import os
from pathlib import Path
from typing import Literal, NamedTuple, get_args

Verdict = Literal["good", "not good", "by word only"]
"""By word only: a person says that it is good, and the program has not seen both of its states."""


class Entry(NamedTuple):
    """One line of the sheet."""

    station: str
    io: str
    tag: str
    point: str
    verdict: str  # a `Verdict`
    how: str
    seen: str
    by: str
    when: str  # date and time, UTC


class SheetError(Exception):
    """The sheet cannot be read or written; says file, line and why."""


class Sheet:
    """
    The sheet of one station, at `path`: a new one, or one to go on with.

    Raises:
        SheetError: it is another file, damaged, or of another station.
    """

    def __init__(self, path: Path, station: str, io: str) -> None:
        self.path, self.station, self.io = path, station, io
        self.entries = _read(path)
        for line, entry in enumerate(self.entries, 2):
            if entry.station != station or entry.io != io:
                msg = (
                    f"{path}:{line}: is of {entry.station} on {entry.io}, this is {station} on {io}: "
                    "name another file"
                )
                raise SheetError(msg)

    def add(self, entry: Entry) -> None:
        """
        Writes an entry; after a loss of power the file is the one before or the one after.

        Raises:
            SheetError: it cannot be written; the entry is not in.
        """
        text = io.StringIO(newline="")
        writer = csv.writer(text, lineterminator="\n")
        writer.writerows([Entry._fields, *self.entries, entry])
        part = self.path.with_name(self.path.name + ".part")
        try:
            with part.open("w", encoding="utf-8", newline="") as file:
                file.write(text.getvalue())
                file.flush()
                os.fsync(file.fileno())
            part.replace(self.path)
        except OSError as error:
            msg = f"{self.path}: cannot be written: {error.strerror}; the entry of {entry.point} is not saved"
            raise SheetError(msg) from None
        self.entries.append(entry)

    @property
    def saved(self) -> str:
        """Where the entries are, if there are any."""
        return f"saved in {self.path}" if self.entries else "nothing is entered, and no sheet written"

    def verdicts(self) -> dict[str, str]:
        """The last verdict of each point that has one."""
        return {entry.point: entry.verdict for entry in self.entries}


def _read(path: Path) -> list[Entry]:
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError) as error:
        msg = f"{path}: cannot be read: {error}"
        raise SheetError(msg) from None
    rows = list(csv.reader(io.StringIO(text, newline="")))
    if not rows or tuple(rows[0]) != Entry._fields:
        msg = f"{path}:1: is no check-out sheet: its first line must be {','.join(Entry._fields)}"
        raise SheetError(msg)
    for line, row in enumerate(rows[1:], 2):
        if len(row) != len(Entry._fields) or row[4] not in get_args(Verdict):
            known = ", ".join(get_args(Verdict))
            msg = f"{path}:{line}: must have {len(Entry._fields)} cells, the fifth one of: {known}"
            raise SheetError(msg)
    return [Entry(*row) for row in rows[1:]]
