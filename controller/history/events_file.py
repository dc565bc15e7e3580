"""The events of a journal for other programs: as CSV, and as Parquet through duckdb."""

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from controller.records import EventRecord
from controller.reporting.journal import each_line

COLUMNS = {
    "n": "BIGINT", "boot": "VARCHAR", "at_ms": "BIGINT", "utc": "TIMESTAMPTZ", "id": "VARCHAR",
    "what": "VARCHAR", "priority": "TINYINT", "detail": "VARCHAR",
}  # fmt: skip
"""By name, with their types of SQL: number of the line, start of the controller, then the event record."""


def csv_lines(run: Path) -> Iterator[str]:
    """
    Every event as CSV (RFC 4180, but lines end with a line feed), one by one, the heading first.

    Raises:
        JournalError: There is no journal in the folder, or it cannot be read.
    """
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    lines.writerow(COLUMNS)
    for line in each_line(run):
        if isinstance(line.record, EventRecord):
            yield text.getvalue()
            text.seek(0)
            text.truncate()
            lines.writerow([line.n, line.boot, *line.record])
    yield text.getvalue()


def write_parquet(run: Path, path: Path) -> int:
    """
    Writes every event into a new Parquet file.

    Returns:
        How many.

    Raises:
        JournalError: As above.
        ModuleNotFoundError: duckdb is not installed.
        OSError: The file is there already, or it cannot be written.
    """
    import duckdb

    path.open("xb").close()
    try:
        with (
            TemporaryDirectory() as folder,
            duckdb.connect(config={"autoinstall_known_extensions": False}) as db,
        ):
            table = Path(folder) / "events.csv"
            with table.open("w", encoding="utf-8") as file:
                file.writelines(csv_lines(run))
            db.execute("SET TimeZone = 'UTC'")
            columns = ", ".join(f"'{name}': '{kind}'" for name, kind in COLUMNS.items())
            source = (
                f"read_csv($table, columns = {{{columns}}}, header = true, nullstr = '\\N', quote = '\"')"
            )
            db.execute(f"CREATE TABLE event AS SELECT * FROM {source} ORDER BY n", {"table": str(table)})
            db.execute("COPY event TO '" + str(path).replace("'", "''") + "' (FORMAT parquet)")
            found = db.execute("SELECT count(*) FROM event").fetchone()
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return int(found[0]) if found else 0
