"""
The alarms of a run in figures, from its journal.

What a rate means is that of EEMUA 191 / IEC 62682 for one operator, as public pages quote them: about 1 call
in 10 minutes is acceptable, 2 are manageable. Counted is the time in which the controller ran, as far as the
journal still has lines of it. A start whose clock was set is dated by the clock as it was set last.
"""

import json
from collections import Counter
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from controller.alarms.metrics import WINDOW_MS, Metrics, Report
from controller.alarms.move import Move
from controller.alarms.told import move_told
from controller.events import ALARM_IDS, EVENTS, Priority
from controller.records import CycleRecord, EventRecord
from controller.reporting.journal import each_line, read_marks
from controller.reporting.journal_file import LASTED, NEWEST, REMOVED_UNTOLD, Line, latest_events

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
    raised: tuple[tuple[str, int, int], ...]  # id, how often its interlock came, and called; the most first
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
    set_last: dict[str, int] = {}
    for line in latest_events(run, ("CLOCK_CHANGED",), int(marks.get((NEWEST, ""), 0))):
        set_last.setdefault(line.boot, _zero_ms(line.record))
    book = _Book(lasted, set_last)
    for line in each_line(run):
        book.take(line)
    return book.history(run, int(marks.get((REMOVED_UNTOLD, ""), 0)))


class _Book:
    """
    Follows the lines of a journal.

    A start of the controller has a time of its own, from 0; they are laid one behind the other by their
    dates. Where lines of the first were removed, it counts from the first that is left.
    """

    def __init__(self, lasted: Mapping[str, int], set_last: Mapping[str, int]) -> None:
        """`lasted`: how long each start ran; `set_last`: the time 0 of those whose clock was set."""
        self._lasted, self._set_last = lasted, set_last
        self._metrics = Metrics()
        self._boot: str | None = None
        self._zero_ms = self._newest_ms = self._ran_ms = 0  # of this start; of this start; of those before
        self._counted: Counter[str] = Counter()
        self._raised: Counter[str] = Counter()
        self._called: Counter[str] = Counter()
        self._calls: Counter[int] = Counter()  # by the ten minutes in which they came
        self._priorities: Counter[int] = Counter()
        self._begin_ms = 0

    def take(self, line: Line) -> None:
        """The next line."""
        record = line.record
        at_ms = record.at_ms if isinstance(record, EventRecord) else record.start_ms
        if line.boot != self._boot:
            self._start(line, at_ms)
        if isinstance(record, CycleRecord):
            self._counted["cycles"] += 1
            self._newest_ms = max(self._newest_ms, at_ms + record.ms)
            return
        self._counted["events"] += 1
        self._newest_ms = max(self._newest_ms, at_ms)
        if record.id in ALARM_IDS and record.what == "raised":
            self._raised[record.id] += 1
        move = move_told(self._zero_ms + at_ms, record.id, record.what, record.detail)
        if move is not None and record.id in ALARM_IDS:
            self._move(move, self._ran_ms + at_ms)

    def _start(self, line: Line, at_ms: int) -> None:
        zero_ms, end_ms = self._set_last.get(line.boot, _zero_ms(line.record)), self._end()
        if self._boot is None:
            missing_ms = at_ms if line.n > 1 else 0
            self._begin_ms, self._ran_ms = zero_ms + missing_ms, -missing_ms
        else:
            self._ran_ms += end_ms - self._zero_ms
            zero_ms = max(zero_ms, end_ms)  # a clock that was set back lets no time run backwards
            self._metrics.restart(end_ms, zero_ms)
        self._zero_ms, self._boot, self._newest_ms = zero_ms, line.boot, 0
        self._counted["starts"] += 1

    def _move(self, move: Move, ran_ms: int) -> None:
        self._metrics.take([move])
        if move.calls:
            self._called[move.id] += 1
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
            self._counted["events"], self._counted["cycles"], self._report(end_ms, ran_ms),
            tuple((name, k, self._called[name]) for name, k in self._raised.most_common()), tuple(found),
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


def _zero_ms(record: EventRecord | CycleRecord) -> int:
    """The time 0 of its start, since 1970-01-01 UTC, as the record is dated."""
    at_ms, utc = record[:2] if isinstance(record, EventRecord) else (record.start_ms, record.start_utc)
    return round(datetime.fromisoformat(utc).timestamp() * 1_000) - at_ms


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
        "raised": {name: times for name, times, _ in history.raised},
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
