"""
The alarms of a run in figures, from its journal.

What a rate means is that of EEMUA 191 / IEC 62682 for one operator, as public pages quote them: about 1 call
in 10 minutes is acceptable, 2 are manageable. Counted is the time in which the controller ran.
"""

import json
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from controller.alarms.metrics import WINDOW_MS, Metrics, Report
from controller.alarms.move import Move
from controller.alarms.states import Edge, State
from controller.alarms.told import move_told
from controller.events import ALARM_IDS, EVENTS, Priority
from controller.records import CycleRecord, EventRecord
from controller.reporting.journal import each_line, read_marks
from controller.reporting.journal_file import LASTED, REMOVED_UNTOLD

ACCEPTABLE, MANAGEABLE = 1.0, 2.0
PERIODS = ((0, 0), (1, 2), (3, 10), (11, None))
"""Calls in ten minutes, from and to: quiet, a person keeps up, busy, more than anybody can follow."""


class Period(NamedTuple):
    """How many of the ten minutes, one after the other, had so many calls."""

    from_calls: int
    to_calls: int | None  # None: any number
    counted: int


class History(NamedTuple):
    """All that is said of a journal."""

    run: Path
    about: dict[str, Any]  # run.json, as far as it is there
    starts: int  # of the controller
    begin_utc: str
    end_utc: str
    events: int
    cycles: int
    alarms: Report  # its times since 1970-01-01 UTC
    periods: tuple[Period, ...]
    by_priority: tuple[tuple[str, int], ...]
    removed_untold: int


def read(run: Path) -> History:
    """
    The history of a run folder.

    Raises:
        JournalError: There is no journal in it, or it cannot be read.
    """
    marks = read_marks(run)
    lasted = {of: int(value) for (kind, of), value in marks.items() if kind == LASTED}
    book = _Book(lasted)
    for line in each_line(run):
        book.take(line.boot, line.record)
    return book.history(run, int(marks.get((REMOVED_UNTOLD, ""), 0)))


class _Book:
    """
    Follows the lines of a journal.

    A start of the controller has a time of its own, from 0; they are laid one behind the other by their
    dates, and no alarm of the one before stands in the next.
    """

    def __init__(self, lasted: dict[str, int]) -> None:
        self._lasted = lasted
        self._metrics = Metrics()
        self._boot: str | None = None
        self._zero_ms = self._newest_ms = self._ran_ms = 0  # of this start; of this start; of those before
        self._standing: dict[str, State] = {}
        self._counted: Counter[str] = Counter()
        self._calls: Counter[int] = Counter()  # by the ten minutes in which they came
        self._priorities: Counter[int] = Counter()
        self._begin_ms = 0

    def take(self, boot: str, record: EventRecord | CycleRecord) -> None:
        """The next line."""
        at_ms, utc = record[:2] if isinstance(record, EventRecord) else (record.start_ms, record.start_utc)
        if boot != self._boot:
            self._start(boot, at_ms, utc)
        if isinstance(record, CycleRecord):
            self._counted["cycles"] += 1
            self._newest_ms = max(self._newest_ms, at_ms + record.ms)
            return
        self._counted["events"] += 1
        self._newest_ms = max(self._newest_ms, at_ms)
        move = move_told(self._zero_ms + at_ms, record.id, record.what, record.detail)
        if move is not None and record.id in ALARM_IDS:
            self._move(move, self._ran_ms + at_ms)

    def _start(self, boot: str, at_ms: int, utc: str) -> None:
        end_ms = self._end()
        self._metrics.take(
            Move(end_ms, name, state, State.NORMAL, Edge.RESET) for name, state in self._standing.items()
        )
        self._standing.clear()
        zero_ms = round(datetime.fromisoformat(utc).timestamp() * 1_000) - at_ms
        if self._boot is None:
            self._begin_ms = zero_ms
        self._ran_ms += end_ms - self._zero_ms
        self._zero_ms = max(zero_ms, end_ms)  # a clock that was set back lets no time run backwards
        self._boot, self._newest_ms = boot, 0
        self._counted["starts"] += 1

    def _move(self, move: Move, ran_ms: int) -> None:
        self._standing[move.id] = move.now
        self._metrics.take([move])
        if move.calls:
            self._calls[ran_ms // WINDOW_MS] += 1
            self._priorities[EVENTS[move.id].priority] += 1

    def _end(self) -> int:
        """Of this start, as far as is known."""
        lasted_ms = 0 if self._boot is None else self._lasted.get(self._boot, 0)
        return self._zero_ms + max(self._newest_ms, lasted_ms)

    def history(self, run: Path, removed_untold: int) -> History:
        """What it came to."""
        end_ms = self._end()
        ran_ms = self._ran_ms + end_ms - self._zero_ms
        periods = max(-(-ran_ms // WINDOW_MS), *(1 + place for place in self._calls), 0)
        found = [
            Period(low, high, sum(low <= n <= (high or n) for n in self._calls.values()))
            for low, high in PERIODS
        ]
        found[0] = found[0]._replace(counted=periods - len(self._calls))
        return History(
            run, _about(run), self._counted["starts"], date(self._begin_ms), date(end_ms),
            self._counted["events"], self._counted["cycles"], self._report(end_ms, ran_ms), tuple(found),
            tuple((p.name, self._priorities[p]) for p in reversed(Priority) if p), removed_untold,
        )  # fmt: skip

    def _report(self, end_ms: int, ran_ms: int) -> Report:
        """The figures over the time in which the controller ran."""
        report = self._metrics.report(end_ms)
        if not ran_ms:
            return report._replace(ms=0, per_10_min=0.0, in_flood_percent=0.0)
        in_flood_ms = sum((flood.end_ms or end_ms) - flood.begin_ms for flood in report.floods)
        return report._replace(
            ms=ran_ms,
            per_10_min=round(report.calls * WINDOW_MS / ran_ms, 3),
            in_flood_percent=round(min(100.0, 100 * in_flood_ms / ran_ms), 2),
        )


def rate_words(per_10_min: float) -> str:
    """
    What a mean rate asks of one operator.

    >>> [rate_words(rate) for rate in (1.0, 1.5, 2.1)]
    ['acceptable', 'manageable', 'more than one operator can manage']
    """
    if per_10_min <= ACCEPTABLE:
        return "acceptable"
    return "manageable" if per_10_min <= MANAGEABLE else "more than one operator can manage"


def as_json(history: History) -> str:
    """All of it but the events, as one JSON document."""
    alarms = history.alarms
    document = {
        **history._asdict(),
        "run": str(history.run),
        "about": {key: history.about.get(key) for key in ("station", "simulated", "version")},
        "alarms": {
            **alarms._asdict(),
            "rate": rate_words(alarms.per_10_min),
            "floods": [
                {
                    "begin_utc": date(f.begin_ms),
                    "end_utc": date(f.end_ms) if f.end_ms else None,
                    "calls": f.calls,
                }
                for f in alarms.floods
            ],
        },
        "periods_of_10_min": [period._asdict() for period in history.periods],
        "by_priority": dict(history.by_priority),
    }
    del document["periods"]
    return json.dumps(document, indent=1)


def date(at_ms: int) -> str:
    """A time since 1970-01-01 UTC as a date of ISO 8601."""
    return datetime.fromtimestamp(at_ms / 1_000, UTC).isoformat(timespec="milliseconds")


def _about(run: Path) -> dict[str, Any]:
    try:
        found = json.loads((run / "run.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}
