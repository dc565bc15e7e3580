"""What a rig tells on the screen: one line for each thing that happens, with its time since power-up."""

from collections.abc import Callable, Container, Iterator, Mapping, Sequence

from controller.events import EVENTS, FITTED
from controller.records import CycleRecord, EventRecord, printable

FOLD_MS = 10_000
FOLDED = {"SCAN_OVERRUN": ("CONTROLLER_ENDED",), "IO_LOST": ("CONTROLLER_ENDED", "STEP_CHANGED")}
"""What a slow computer raises many times a second, and what brings out at once what was folded of it."""


class Console:
    """
    Makes the lines.

    Args:
        say: Takes a line.
        marks: What does not read or act as the machine would by itself; stands behind each line.
        parts: Of the station, for its words.
    """

    def __init__(
        self,
        say: Callable[[str], None],
        marks: Callable[[], Sequence[str]],
        parts: Container[str] = FITTED,
    ) -> None:
        self._say, self._marks, self._parts = say, marks, parts
        self._folded = [Folded(*which) for which in FOLDED.items()]

    def events(self, records: Sequence[EventRecord]) -> None:
        """Those of a scan as they are written to the journal, but for the moves of the list of alarms."""
        trips = any(map(_trips, records))
        for record in records:
            if " -> " in record.what and record.id != "STEP_CHANGED":
                continue
            for folded in self._folded:
                if more := folded.over(record):
                    self.line(record.at_ms, more)
            if any(folded.takes(record, shown=trips) for folded in self._folded):
                continue
            head = record.what if record.id == "STEP_CHANGED" else f"{_head(record)}{record.what}"
            self.line(record.at_ms, head + (f": {record.detail}" if record.detail else ""))
            for more in self._to_do(record):
                self.line(record.at_ms, more)

    def _to_do(self, record: EventRecord) -> Iterator[str]:
        """Where a trip usually comes from, and what to do."""
        row = EVENTS.get(record.detail.split("; ")[0])
        if row and _trips(record):
            row = row.at(self._parts)
            yield from (f"  cause: {row.cause}", f"  to do: {row.action}")

    def cycle(self, record: CycleRecord) -> None:
        """A cycle that ended."""
        kg = "mass not known" if record.delivered_kg is None else f"{record.delivered_kg:.2f} kg"
        end_ms = record.start_ms + record.ms
        said = f"cycle {record.number}, {record.kind}: {record.result}, {record.ms / 1_000:.2f} s, {kg}"
        self.line(end_ms, said)

    def line(self, at_ms: int, said: str) -> None:
        """Anything else."""
        marks = "".join(f"  [{mark}]" for mark in self._marks())
        self._say(printable(f"{at_ms / 1_000:9.2f} s  {said}{marks}"))


class Folded:
    """One alarm that comes and goes: said once in `FOLD_MS`, the rest of it counted."""

    def __init__(self, name: str, ends: Sequence[str]) -> None:
        self._name, self._ends = name, ends
        self._since_ms: int | None = None  # when it was said; None: it is said when it comes
        self._count = 0  # raised since
        self._is_said = False  # the last that was raised

    def over(self, record: EventRecord) -> str:
        """What is to be said before an event: how often it was raised, where its time is over."""
        ends = record.id in self._ends
        if self._since_ms is None or not (ends or record.at_ms >= self._since_ms + FOLD_MS):
            return ""
        count, ms = self._count, record.at_ms - self._since_ms
        self._since_ms, self._count = record.at_ms if count and not ends else None, 0
        return f"{_named(self._name)} raised {count} x more in {ms / 1_000:.1f} s" if count else ""

    def takes(self, record: EventRecord, *, shown: bool) -> bool:
        """Whether an event is not said by itself; `shown`: what is raised is, however often."""
        if record.id != self._name:
            return False
        if record.what == "raised":
            self._is_said = shown or self._since_ms is None
            self._count += not self._is_said
            self._since_ms = record.at_ms if self._since_ms is None else self._since_ms
        return not self._is_said


def marks_of(forced: Mapping[str, int], failures: Mapping[str, float]) -> list[str]:
    """What stands behind each line: forced inputs and failures of the simulated plant."""
    return [
        *(f"FORCED {name}={value}" for name, value in forced.items()),
        *(f"FAILED {mode}" + (f"={amount:.2g}" if amount < 1 else "") for mode, amount in failures.items()),
    ]


_PLAIN = {
    "POWER_UP": "",
    "COMMAND_ACCEPTED": "accepted: ",
    "COMMAND_REFUSED": "refused: ",
    "HOLD_REASON_CHANGED": "hold: ",
    "PRESET_CHANGED": "setting changed since the run before: ",
    "FAILURE_SET": "failure put in: ",
    "FAILURE_ENDED": "failure ended: ",
    "LINK_CHANGED": "link: ",
    "REPORTER_RESTARTED": "reporter: ",
    "RECORDS_LOST": "records lost: ",
    "CLOCK_CHANGED": "clock: ",
    "CONTROLLER_ENDED": "ended: ",
    "OUTPUT_HELD": "",
    "OUTPUT_LET_GO": "let go: ",
    "INPUT_FORCED": "",
    "FORCE_ENDED": "no longer forced: ",
}


def _trips(record: EventRecord) -> bool:
    return record.id == "STEP_CHANGED" and record.what.endswith("-> FAULT")


def _head(record: EventRecord) -> str:
    return _PLAIN.get(record.id, f"{_named(record.id)} ")


def _named(name: str) -> str:
    return f"{name} ({EVENTS[name].text})"
