"""What the records cost on this machine's disk: wall time, since they wait for it. Called by `benchmarks.py`."""

import tempfile
import time
from pathlib import Path

from controller.audit.check import check
from controller.audit.log import AuditLog
from controller.history.figures import read
from controller.records import Deed, EventRecord
from controller.reporting.journal import Journal, Kept

UTC = "2026-01-05T06:00:00.000+00:00"
EVENT = EventRecord(10, UTC, "STEP_CHANGED", "SEAL -> DRAW", 0, "body vacuum 12.4 kPa, over 8 kPa")


def percentile(times, share):
    return sorted(times)[min(len(times) - 1, int(share * len(times)))]


def commits(folder, rows, a_commit, kept=None):
    """Rows a second, and the milliseconds of each commit."""
    took = []
    with Journal(Path(folder), readers=("mqtt",), kept=kept) as journal:
        for n in range(rows // a_commit):
            journal.add_events([EVENT._replace(at_ms=n)] * a_commit)
            began = time.perf_counter()
            journal.commit()
            took.append(1_000 * (time.perf_counter() - began))
    return rows / sum(took) * 1_000, took


def drained(folder, a_read=100):
    """Rows a second that an outbox reads and marks as told, a commit each hundred."""
    with Journal(Path(folder), readers=("mqtt",)) as journal:
        count, began = 0, time.perf_counter()
        while lines := journal.waiting("mqtt", a_read):
            journal.told("mqtt", lines[-1].n)
            journal.commit()
            count += len(lines)
        return count / (time.perf_counter() - began)


def audited(folder, lines):
    """Milliseconds of each line of the audit log, and how many a second are looked at afterwards."""
    log, took = AuditLog(Path(folder)), []
    for n in range(lines):
        began = time.perf_counter()
        log.add(Deed(n, UTC, "Ada", "the panel socket", "force", {"point": "level_free", "value": 0}, "done"))
        took.append(1_000 * (time.perf_counter() - began))
    log.close()
    began = time.perf_counter()
    assert check(Path(folder), None).lines == lines
    return took, lines / (time.perf_counter() - began)


def report(line):
    with tempfile.TemporaryDirectory() as folder:
        rows_s, took = commits(folder, 2_000, 1)
        line("journal, a commit each row: rows/s", f"{rows_s:,.0f}")
        line(
            "journal, a commit each row: p50, p99",
            f"{percentile(took, 0.5):.2f}, {percentile(took, 0.99):.2f} ms",
        )
        line("outbox drained, a mark each 100 rows: rows/s", f"{drained(folder):,.0f}")
    with tempfile.TemporaryDirectory() as folder:
        rows_s, took = commits(folder, 100_000, 50)
        line("journal, 50 rows a commit: rows/s", f"{rows_s:,.0f}")
        line(
            "journal, 50 rows a commit: p50, p99",
            f"{percentile(took, 0.5):.2f}, {percentile(took, 0.99):.2f} ms",
        )
        began = time.perf_counter()
        assert read(Path(folder)).events == 100_000
        line("history of 100,000 events", f"{time.perf_counter() - began:.2f} s")
    with tempfile.TemporaryDirectory() as folder:
        rows_s, took = commits(
            folder, 100_000, 50, Kept(400, 1)
        )  # full all the time: it removes as it writes
        line(
            "journal that removes as it writes: p50, p99",
            f"{percentile(took, 0.5):.2f}, {percentile(took, 0.99):.2f} ms",
        )
    with tempfile.TemporaryDirectory() as folder:
        took, looked_at_s = audited(folder, 1_000)
        line(
            "audit log, a line on the disk: p50, p99",
            f"{percentile(took, 0.5):.2f}, {percentile(took, 0.99):.2f} ms",
        )
        line("audit log checked: lines/s", f"{looked_at_s:,.0f}")
