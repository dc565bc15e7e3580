"""What a live run leaves: the run folder, and the memory that is kept through a loss of power."""

import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from controller.live.kept_memory import KeptMemory, write_kept
from controller.live.kept_presets import remember
from controller.live.reporter import Reporter
from controller.records import CycleRecord, Deed, EventRecord
from controller.reporter.lines import Record
from controller.scan.outbox import Outbox
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.simulate.run_trace import RunTrace
from controller.simulate.segment import Segment, layout_of
from controller.trace.header import Header

RUN_FILE = "run.json"


class RunRecords:
    """
    Records go to the reporter; a thread of its own writes trace and run.json into `out`,
    and into `state` what is kept.

    A full disk ends none of it: records wait until there is room, what is kept is tried again, what cannot
    wait is counted; `say` is told in words what is not written, and that it is again.
    """

    def __init__(
        self,
        logic: Logic,
        header: Header,
        out: Path | None,
        state: Path | None,
        document: Mapping[str, Any],
        reporter: Reporter | None,
        say: Callable[[str], None],
    ) -> None:
        self._out, self._state, self._document, self._say = out, state, dict(document), say
        self._logic, self._header = logic, header
        self._box = Outbox("records")
        self._kept = KeptMemory(logic)
        self._reporter = reporter
        self._failed: Counter[str] = Counter()
        self._unkept = ""
        self._trace: RunTrace | None = None

    async def open(self) -> None:
        """
        Makes the run folder; before that nothing is written there.

        Raises:
            ReporterError, TraceError: It cannot be written.
        """
        if self._reporter:
            await self._reporter.start()
        if self._out is not None:
            self._trace = RunTrace(self._out, self._header, layout_of(self._logic))
            self._write_run()

    @property
    def problems(self) -> Sequence[str]:
        """What could not be written, in words."""
        dropped = self._box.dropped
        lost = [f"{dropped} pieces of the trace or of what is kept were lost"] if dropped else []
        failed = [f"{said} ({times} times)" if times > 1 else said for said, times in self._failed.items()]
        unkept = [self._unkept] if self._unkept else []
        return [*unkept, *failed, *lost, *(self._reporter.problems if self._reporter else ())]

    def cycle(self, record: CycleRecord) -> None:
        """A cycle ended."""
        self._records((record,))

    def events(self, records: Sequence[EventRecord]) -> None:
        """Events happened."""
        self._records(records)

    def deed(self, deed: Deed) -> None:
        """Somebody did something."""
        self._records((deed,))

    def _records(self, records: Sequence[Record]) -> None:
        if self._reporter:
            for record in records:
                self._reporter.put(record)

    def presets_told(self, presets: Presets) -> None:
        """What was different about them is in the journal: the next run compares with these."""
        if (reporter := self._reporter) and (state := self._state):
            reporter.when_written(lambda: self._put(lambda: remember(state, presets)))

    def segment(self, segment: Segment) -> None:
        """Scans were run."""
        if trace := self._trace:
            self._put(lambda: self._traced(trace, segment))

    def keep(self, memory: Any, now_ms: int) -> None:
        """The memory after a scan."""
        if (state := self._state) and (kept := self._kept.due(memory, now_ms)):
            self._keep(state, kept)

    async def close(self, memory: Any, ended: Mapping[str, Any]) -> None:
        """The last words, after which all is on the disk or told as a problem."""
        if self._reporter:
            await self._reporter.close(str(ended["ended"]))
        if (state := self._state) and (kept := self._kept.now(memory)):
            self._keep(state, kept)
        self._document |= ended
        if self._out is not None:
            for work in (self._end_trace, self._write_run):
                self._put(work)
        if not self._box.close() and not self.problems:
            self._failed["the disk did not take all of it in time"] += 1

    def _put(self, work: Callable[[], None]) -> bool:
        return self._box.put(lambda: self._try(work))

    def _try(self, work: Callable[[], None]) -> None:
        """Does it; one that fails, however it does, keeps no other from the disk."""
        try:
            work()
        except Exception as error:
            said = str(error) or type(error).__name__
            self._failed[said] += 1
            if self._failed[said] == 1:
                self._say(f"records: {said}")

    def _keep(self, state: Path, kept: Mapping[str, int]) -> None:
        if not self._put(lambda: self._write_kept(state, kept)):
            self._kept.failed = True
            self._tell_unkept("what is kept through a loss of power is not written: too much waits")

    def _write_kept(self, state: Path, kept: Mapping[str, int]) -> None:
        try:
            write_kept(state, kept)
        except Exception as error:
            self._kept.failed = True
            self._tell_unkept(str(error))
        else:
            self._tell_unkept("")

    def _tell_unkept(self, said: str) -> None:
        if said != self._unkept:
            self._unkept = said
            self._say(f"records: {said or 'what is kept through a loss of power is written again'}")

    def _traced(self, trace: RunTrace, segment: Segment) -> None:
        if self._trace is not None:
            try:
                trace.take(segment)
            except Exception:
                self._trace = None  # with a hole in it the rest would be worth nothing
                with suppress(Exception):
                    trace.__exit__()
                raise

    def _end_trace(self) -> None:
        if self._trace is not None:
            self._trace.__exit__()

    def _write_run(self) -> None:
        assert self._out is not None
        text = json.dumps(self._document, indent=1) + "\n"
        fresh = self._out / (RUN_FILE + ".new")
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(self._out / RUN_FILE)
