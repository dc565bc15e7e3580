"""
A simulated run: the closed loop with an operator, with failures at their scans, and with its records kept.

Python is asked only where something happens; between, the loop runs a block of scans by itself.
"""

from collections.abc import Callable
from datetime import timedelta

from controller.clock import SteppedClock
from controller.sequence.presets import Presets
from controller.simulate.cycle_book import AIR_KG_NM3, AIR_TOTALS
from controller.simulate.failures_asked import Failures
from controller.simulate.operator import Operator
from controller.simulate.run_end import RunEnd
from controller.simulate.segment import Segment
from controller.simulate.station_loop import BLOCK, StationLoop
from controller.simulate.station_watch import Explained, Given, StationWatch, Totals, Watcher

AT_END = -1
"""In place of the time of an explanation: the end of the run, whenever that comes."""


class StationRun:
    """One run of a station in the closed loop."""

    def __init__(
        self,
        loop: StationLoop,
        presets: Presets,
        operator: Operator,
        failures: Failures,
        watcher: Watcher,
        software: str,
        end: RunEnd | None = None,
    ) -> None:
        self._loop, self._operator, self._failures = loop, operator, failures
        self._end, start = end or RunEnd(None), SteppedClock().date()
        self._watch = StationWatch(
            loop.logic, presets, watcher, software=software, simulated=True,
            dated=lambda at_ms: start + timedelta(milliseconds=at_ms), end=self._end,
        )  # fmt: skip
        self._command = ""
        self._segment: Segment | None = None
        self.explained: Explained | None = None

    def run(self, for_ms: int, explain_ms: int | None, progress: Callable[[int], None]) -> Totals:
        """
        Runs for so long, or until `end` is reached; `progress` is told the time every now and then.

        Of a time that the run does not come to, or `None`, there is no explanation; `AT_END` has one always.
        """
        loop = self._loop
        if loop.now_ms == 0:
            self._watch.tell("POWER_UP", "power-up, all safe")
        while loop.now_ms < for_ms and not self._end.reached:
            self._do_what_is_due()
            segment = self._segment = loop.run(self._scans_to(for_ms, explain_ms))
            self._look(segment)
            if loop.now_ms == explain_ms:
                self.explained = self._watch.explain(segment)
            progress(loop.now_ms)
        if self._segment and explain_ms == AT_END:
            self.explained = self._watch.explain(self._segment)
        if self._segment:
            self._watch.unfinished(self._segment)
        return self._totals()

    def _scans_to(self, for_ms: int, explain_ms: int | None) -> int:
        """Scans until somebody has something to do."""
        now_ms, scan_ms = self._loop.now_ms, self._loop.scan_ms
        stops = (for_ms, explain_ms, self._operator.next_ms, self._failures.next_ms)
        nearest = min((ms for ms in stops if ms is not None and ms > now_ms), default=for_ms)
        return 1 if self._command else min(max(-(-(nearest - now_ms) // scan_ms), 1), BLOCK)

    def _do_what_is_due(self) -> None:
        self._command = self._operator.act(self._loop)
        self._tell_failures(self._failures.on_time(self._loop))

    def _tell_failures(self, moved: list[tuple[str, bool]]) -> None:
        for mode, begun in moved:
            self._watch.tell("FAILURE_SET" if begun else "FAILURE_ENDED", mode)

    def _look(self, segment: Segment) -> None:
        looked = self._watch.look(segment, [Given(self._command)] if self._command else [])
        if looked.tripped:
            self._operator.tripped(self._loop.now_ms)
        if looked.moved:
            self._tell_failures(self._failures.on_step(self._loop, segment.after("step")))

    def _totals(self) -> Totals:
        assert self._segment is not None, "a run has a scan at least"
        air_nm3 = sum(self._loop.reading(name) for name in AIR_TOTALS) / AIR_KG_NM3
        return self._watch.totals(self._segment, self._loop.reading("delivered_kg"), air_nm3)
