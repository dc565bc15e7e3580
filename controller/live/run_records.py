"""What a live run leaves: the run folder, and the memory that is kept through a loss of power."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from controller.live.kept_memory import KeptMemory, write_kept
from controller.records import CycleRecord, EventRecord
from controller.reporting.journal import Journal
from controller.scan.outbox import Outbox
from controller.sequence.logic import Logic
from controller.simulate.run_trace import RunTrace
from controller.simulate.segment import Segment, layout_of
from controller.trace.header import Header

RUN_FILE = "run.json"


class RunRecords:
    """
    Writes in a thread of its own: journal, trace and run.json into `out`, the kept memory into `state`.
    """

    def __init__(
        self, logic: Logic, header: Header, out: Path | None, state: Path | None, document: Mapping[str, Any]
    ) -> None:
        self._out, self._state, self._document = out, state, dict(document)
        self._logic, self._header = logic, header
        self._box = Outbox("records")
        self._kept = KeptMemory(logic)
        self._journal: Journal | None = None
        self._trace: RunTrace | None = None

    def open(self) -> None:
        """
        Makes the run folder; before that nothing is written there.

        Raises:
            JournalError, TraceError: It cannot be written.
        """
        if self._out is not None:
            self._journal = Journal(self._out, other_thread=True)
            self._trace = RunTrace(self._out, self._header, layout_of(self._logic))
            self._write_run()

    @property
    def problems(self) -> Sequence[str]:
        """What could not be written, in words."""
        lost = [f"{self._box.dropped} records were lost"] if self._box.dropped else []
        return [*self._box.failed, *lost]

    def cycle(self, record: CycleRecord) -> None:
        """A cycle ended."""
        if journal := self._journal:
            self._box.put(lambda: journal.add_cycle(record))

    def events(self, records: Sequence[EventRecord]) -> None:
        """Events happened."""
        if (journal := self._journal) and records:
            self._box.put(lambda: _on_disk(journal, records))

    def segment(self, segment: Segment) -> None:
        """Scans were run."""
        if trace := self._trace:
            self._box.put(lambda: trace.take(segment))

    def keep(self, memory: Any, now_ms: int) -> None:
        """The memory after a scan."""
        if (state := self._state) and (kept := self._kept.due(memory, now_ms)):
            self._box.put(lambda: write_kept(state, kept))

    def close(self, memory: Any, ended: Mapping[str, Any]) -> None:
        """The last words, after which all is on the disk or told as a problem."""
        if (state := self._state) and (kept := self._kept.now(memory)):
            self._box.put(lambda: write_kept(state, kept))
        self._document |= ended
        if self._out is not None:
            self._box.put(self._end)
        self._box.close()

    def _end(self) -> None:
        assert self._journal is not None
        assert self._trace is not None
        self._write_run()
        self._trace.__exit__()
        self._journal.close()

    def _write_run(self) -> None:
        assert self._out is not None
        text = json.dumps(self._document, indent=1) + "\n"
        fresh = self._out / (RUN_FILE + ".new")
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(self._out / RUN_FILE)


def _on_disk(journal: Journal, records: Sequence[EventRecord]) -> None:
    journal.add_events(records)
    journal.commit()
