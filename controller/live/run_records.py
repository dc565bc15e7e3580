"""What a live run leaves: the run folder, and the memory that is kept through a loss of power."""

import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from controller.audit.log import AuditError, AuditLog
from controller.live.kept_memory import KeptError, KeptMemory, write_kept
from controller.live.kept_presets import remember
from controller.records import CycleRecord, Deed, EventRecord
from controller.reporting.journal import Journal, JournalError
from controller.scan.outbox import Outbox
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.simulate.run_trace import RunTrace
from controller.simulate.segment import Segment, layout_of
from controller.trace.header import Header, TraceError

RUN_FILE = "run.json"


class RunRecords:
    """
    Writes in a thread of its own: journal, audit log, trace, run.json into `out`, what is kept into `state`.

    A full disk ends none of it: lines of the journal wait until there is room, what cannot wait is counted.
    """

    def __init__(
        self, logic: Logic, header: Header, out: Path | None, state: Path | None, document: Mapping[str, Any]
    ) -> None:
        self._out, self._state, self._document = out, state, dict(document)
        self._logic, self._header = logic, header
        self._box = Outbox("records")
        self._kept = KeptMemory(logic)
        self._journal: Journal | None = None
        self._audit: AuditLog | None = None
        self._failed: Counter[str] = Counter()
        self._trace: RunTrace | None = None

    def open(self) -> None:
        """
        Makes the run folder; before that nothing is written there.

        Raises:
            JournalError, AuditError, TraceError: It cannot be written.
        """
        if self._out is not None:
            self._journal = Journal(self._out, other_thread=True)
            self._audit = AuditLog(self._out)
            self._trace = RunTrace(self._out, self._header, layout_of(self._logic))
            self._write_run()

    @property
    def problems(self) -> Sequence[str]:
        """What could not be written, in words."""
        lost = [f"{self._box.dropped} records were lost"] if self._box.dropped else []
        if self._journal and self._journal.not_taken:
            lost.append(f"{self._journal.not_taken} lines of the journal were lost")
        failed = [f"{said} ({times} times)" if times > 1 else said for said, times in self._failed.items()]
        return [*self._box.failed, *failed, *lost]

    def cycle(self, record: CycleRecord) -> None:
        """A cycle ended."""
        if journal := self._journal:
            self._put(lambda: journal.add_cycle(record))

    def events(self, records: Sequence[EventRecord]) -> None:
        """Events happened."""
        if (journal := self._journal) and records:
            self._put(lambda: _on_disk(journal, records))

    def deed(self, deed: Deed) -> None:
        """Somebody did something."""
        if self._audit and self._journal:
            audit, journal = self._audit, self._journal
            self._put(lambda: _audited(audit, journal, deed))

    def presets_told(self, presets: Presets) -> None:
        """What was different about them is in the journal: the next run compares with these."""
        if (journal := self._journal) and (state := self._state):
            self._put(lambda: None if journal.unwritten else remember(state, presets))

    def segment(self, segment: Segment) -> None:
        """Scans were run."""
        if trace := self._trace:
            self._put(lambda: self._traced(trace, segment))

    def keep(self, memory: Any, now_ms: int) -> None:
        """The memory after a scan."""
        if (state := self._state) and (kept := self._kept.due(memory, now_ms)):
            self._put(lambda: write_kept(state, kept))

    def close(self, memory: Any, ended: Mapping[str, Any]) -> None:
        """The last words, after which all is on the disk or told as a problem."""
        if (state := self._state) and (kept := self._kept.now(memory)):
            self._put(lambda: write_kept(state, kept))
        self._document |= ended
        if self._out is not None:
            for work in (self._end_trace, self._write_run, self._end_journal):
                self._put(work)
        self._box.close()

    def _put(self, work: Callable[[], None]) -> None:
        self._box.put(lambda: self._try(work))

    def _try(self, work: Callable[[], None]) -> None:
        """Does it; one that fails keeps no other from the disk."""
        try:
            work()
        except JournalError:
            pass  # its lines wait for the next commit, or it counts them
        except (AuditError, KeptError, TraceError, OSError) as error:
            self._failed[str(error)] += 1

    def _traced(self, trace: RunTrace, segment: Segment) -> None:
        if self._trace is not None:
            try:
                trace.take(segment)
            except (TraceError, OSError):
                self._trace = None  # with a hole in it the rest would be worth nothing
                with suppress(TraceError, OSError):
                    trace.__exit__()
                raise

    def _end_trace(self) -> None:
        if self._trace is not None:
            self._trace.__exit__()

    def _end_journal(self) -> None:
        if self._audit and self._journal:
            self._audit.close()
            try:
                self._journal.close()
            except JournalError as error:
                self._failed[str(error)] += 1

    def _write_run(self) -> None:
        assert self._out is not None
        text = json.dumps(self._document, indent=1) + "\n"
        fresh = self._out / (RUN_FILE + ".new")
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(self._out / RUN_FILE)


def _on_disk(journal: Journal, records: Sequence[EventRecord]) -> None:
    journal.add_events(records)
    journal.commit()


def _audited(audit: AuditLog, journal: Journal, deed: Deed) -> None:
    audit.add(deed)
    journal.anchor(audit.head, audit.lines)
    journal.commit()
