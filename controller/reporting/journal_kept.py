"""
How much of a journal stays.

Lines go from the oldest on, a few in each commit, so that no commit waits for a great clearing-up. By age
and by size only those go that every reader has told. At twice the size the others go too: then the disk
comes first, and what was lost so is counted. Room is used again; a file that is a quarter empty shrinks.

Age is by the dates that the lines bear, and those of one start may be wrong by years. So nothing goes by age
where the dates leap by more than the days that are kept: there a clock was wrong, or the controller rested.
"""

import sqlite3
from datetime import datetime, timedelta
from typing import NamedTuple

from controller.reporting.journal_file import LASTED, SIMULATED

LOOKED_AT_EVERY = 256
"""Lines written between two looks at age and size."""

TABLES = ("event", "cycle")
MOST_AT_ONCE = 1_024
UNTOLD_TIMES = 2
"""So many times the size, lines go that nobody was told of."""


class Kept(NamedTuple):
    """What stays. The defaults are those of `services.yaml`."""

    days: int = 400  # before the date of the newest line: by the dates that the lines bear
    mb: float = 500  # in use in the file; 1 MB = 1,000,000 bytes


class Removed(NamedTuple):
    """Lines that went: those up to `up_to`; 0: none."""

    up_to: int = 0
    first_untold: int = 0
    untold: int = 0


def remove(db: sqlite3.Connection, kept: Kept, told: int, newest: int, newest_utc: str) -> Removed:
    """
    Removes what need not stay, inside the open transaction.

    Args:
        db: The journal.
        kept: What stays.
        told: Every reader has told the lines up to this number.
        newest: Number of the newest line.
        newest_utc: Date of the newest line, ISO 8601 in UTC.
    """
    if 4 * _pragma(db, "freelist_count") > _pragma(db, "page_count"):
        for _ in range(MOST_AT_ONCE):
            db.execute("PRAGMA incremental_vacuum(1)")  # of more, sqlite3 takes but the first step
    oldest = _first(db, "")
    if oldest is None:
        return Removed()
    most = min(oldest + MOST_AT_ONCE - 1, newest)
    up_to = min(told, most, _last_too_old(db, kept, newest_utc) or 0)
    size = used_bytes(db) / 1e6
    if size > kept.mb:
        up_to = max(up_to, min(told, most))
    if size > UNTOLD_TIMES * kept.mb:
        up_to = max(up_to, most)
    if up_to < oldest:
        return Removed()
    going = _boots(db, "WHERE n <= ?", up_to)
    for table in TABLES:
        db.execute(f"DELETE FROM {table} WHERE n <= ?", (up_to,))
    gone = going - _boots(db, "ORDER BY n LIMIT 1")  # the lines of a start stand together
    db.executemany("DELETE FROM mark WHERE of = ? AND kind IN (?, ?)", [(b, LASTED, SIMULATED) for b in gone])
    first_untold = max(told + 1, oldest)
    return Removed(up_to, first_untold, max(0, up_to - first_untold + 1))


def used_bytes(db: sqlite3.Connection) -> int:
    """What is in use of the file."""
    return (_pragma(db, "page_count") - _pragma(db, "freelist_count")) * _pragma(db, "page_size")


def _pragma(db: sqlite3.Connection, name: str) -> int:
    return int(db.execute(f"PRAGMA {name}").fetchone()[0])


def _boots(db: sqlite3.Connection, which: str, *values: int) -> set[str]:
    """Starts of the lines of each table."""
    rows = (row for table in TABLES for row in db.execute(f"SELECT boot FROM {table} {which}", values))
    return {str(boot) for (boot,) in rows}


def _last_too_old(db: sqlite3.Connection, kept: Kept, newest_utc: str) -> int | None:
    """Those before the first line that is young enough; one dated by a wrong clock may shield the rest."""
    newest, days = datetime.fromisoformat(newest_utc), timedelta(days=kept.days)
    young = _first(db, "WHERE utc BETWEEN ? AND ?", _text(newest - days), _text(newest + days))
    if young is None:
        return None
    dates = [utc for n in (young - 1, young) if (utc := _utc(db, n))]
    leap = datetime.fromisoformat(dates[-1]) - datetime.fromisoformat(dates[0])
    return None if abs(leap) > days else young - 1


def _text(date: datetime) -> str:
    return date.isoformat(timespec="milliseconds")


def _utc(db: sqlite3.Connection, n: int) -> str | None:
    """The date of a line; numbers have no gaps."""
    found = (db.execute(f"SELECT utc FROM {table} WHERE n = ?", (n,)).fetchone() for table in TABLES)
    return next((str(row[0]) for row in found if row), None)


def _first(db: sqlite3.Connection, where: str, *values: str) -> int | None:
    """The lowest number of any table."""
    found = [
        row[0]
        for table in TABLES
        for row in db.execute(f"SELECT n FROM {table} {where} ORDER BY n LIMIT 1", values)
    ]
    return min(found, default=None)
