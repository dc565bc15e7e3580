"""
How much of a journal stays.

Lines go from the oldest on, a few in each commit, so that no commit waits for a great clearing-up. By age
and by size only those go that every reader has told. At twice the size the others go too: then the disk
comes first, and what was lost so is counted. The file does not shrink; the room is used again.
"""

import sqlite3
from datetime import datetime, timedelta
from typing import NamedTuple

LOOKED_AT_EVERY = 256
"""Lines written between two looks at age and size."""

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


def remove(db: sqlite3.Connection, kept: Kept, told: int, newest_utc: str) -> Removed:
    """
    Removes what need not stay, inside the open transaction.

    Args:
        db: The journal.
        kept: What stays.
        told: Every reader has told the lines up to this number.
        newest_utc: Date of the newest line, ISO 8601 in UTC.
    """
    oldest = _first(db, "")
    if oldest is None:
        return Removed()
    most = oldest + MOST_AT_ONCE - 1
    up_to = min(told, most, _last_too_old(db, kept, newest_utc) or 0)
    size = used_bytes(db) / 1e6
    if size > kept.mb:
        up_to = max(up_to, min(told, most))
    if size > UNTOLD_TIMES * kept.mb:
        up_to = max(up_to, most)
    if up_to < oldest:
        return Removed()
    for table in ("event", "cycle"):
        db.execute(f"DELETE FROM {table} WHERE n <= ?", (up_to,))
    first_untold = max(told + 1, oldest)
    return Removed(up_to, first_untold, max(0, up_to - first_untold + 1))


def used_bytes(db: sqlite3.Connection) -> int:
    """What is in use of the file."""
    pages, free, size = (
        db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "freelist_count", "page_size")
    )
    return int((pages - free) * size)


def _last_too_old(db: sqlite3.Connection, kept: Kept, newest_utc: str) -> int | None:
    """Those before the first line that is young enough; one dated by a wrong clock shields the rest."""
    limit = datetime.fromisoformat(newest_utc) - timedelta(days=kept.days)
    young = _first(db, "WHERE utc >= ?", limit.isoformat(timespec="milliseconds"))
    return None if young is None else young - 1


def _first(db: sqlite3.Connection, where: str, *values: str) -> int | None:
    """The lowest number of any table."""
    found = [
        row[0]
        for table in ("event", "cycle")
        for row in db.execute(f"SELECT n FROM {table} {where} ORDER BY n LIMIT 1", values)
    ]
    return min(found, default=None)
