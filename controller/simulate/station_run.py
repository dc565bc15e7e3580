"""
A simulated run: the closed loop with an operator, with failures at their scans, and with its records kept.

Python is asked only where something happens; between, the loop runs a block of scans by itself.
"""

from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import NamedTuple

from controller.alarms.metrics import Report
from controller.clock import SteppedClock
from controller.engines.as_written import AsWritten, on_rows
from controller.events import EVENTS
from controller.explain import Scene
from controller.image import Inputs
from controller.maintenance import Counters, Note, Wiring
from controller.records import CycleRecord, EventRecord
from controller.sequence.logic import Logic
from controller.sequence.phrases import phrase
from controller.sequence.presets import Presets
from controller.sequence.steps import COUNTERWEIGHT, FAULT, FULL_BELOW, LEVEL_HOLD, VACUUM_HELD, Step
from controller.simulate.alarm_desk import AlarmDesk, follower, priority
from controller.simulate.cycle_book import AIR_KG_NM3, AIR_TOTALS, CycleBook
from controller.simulate.failures_asked import Failures
from controller.simulate.operator import Operator
from controller.simulate.run_end import RunEnd
from controller.simulate.station_loop import BLOCK, Segment, StationLoop, whole_memory
from controller.simulate.tally import HELD_BY, Hold, Refused, Tally

AT_END = -1
"""In place of the time of an explanation: the end of the run, whenever that comes."""


class Trip(NamedTuple):
    """A trip, with what stood in its scan."""

    at_ms: int
    id: str  # the first-out
    step: str
    grounds: tuple[str, ...]  # values against limits
    followers: tuple[str, ...]  # what acted in that scan too, and the alarms that followed it


class Totals(NamedTuple):
    """What a run came to."""

    ms: int
    delivered_kg: float
    air_nm3: float
    trips: tuple[Trip, ...]
    level_stops: int
    step: str  # at the end
    why: str  # at the end: the reason of the hold, the first-out of the fault
    alarms: tuple[tuple[str, int], ...]  # id, how often raised
    holds: tuple[Hold, ...]
    refusals: tuple[Refused, ...]
    alarm_load: Report
    counters: dict[str, float]  # of wear, over the run


class Explained(NamedTuple):
    """What the sequence did or waited for in one scan."""

    at_ms: int
    step: str
    in_step_ms: int
    moved: str  # the reason, if it entered that step in this very scan
    why: str  # the reason of the hold, the first-out of the fault
    rows: tuple[tuple[str, str, tuple[str, ...]], ...]  # to, guard in words, what holds it back
    acting: tuple[tuple[str, tuple[str, ...]], ...]  # the interlocks, each with its values


class Watcher(NamedTuple):
    """Where a run tells what happens, while it runs."""

    cycle: Callable[[CycleRecord], None]
    events: Callable[[Sequence[EventRecord]], None]
    segment: Callable[[Segment], None]


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
        self._loop, self._presets, self._operator, self._failures = loop, presets, operator, failures
        self._watcher, self._engine, self._end = watcher, AsWritten(loop.logic, on_rows), end or RunEnd(None)
        self._book = CycleBook(loop.logic, presets, software=software, simulated=True)
        self._start = SteppedClock().date()
        self._step_place = list(loop.logic.memory).index("step")
        self._acting: frozenset[str] = frozenset()
        self._trips: list[Trip] = []
        self._tally = Tally()
        self._desk = AlarmDesk()
        uncommanded = presets.flap_kind in (COUNTERWEIGHT, VACUUM_HELD)
        self._wiring = Wiring(not uncommanded, presets.bypass_fitted)
        self._counters = Counters(self._wiring)
        self._level_stops = 0
        self._hold_reason = 0
        self._command = ""
        self.explained: Explained | None = None

    def run(self, for_ms: int, explain_ms: int | None, progress: Callable[[int], None]) -> Totals:
        """
        Runs for so long, or until `end` is reached; `progress` is told the time every now and then.

        Of a time that the run does not come to, or `None`, there is no explanation; `AT_END` has one always.
        """
        loop = self._loop
        self._tell([self._event("POWER_UP", "power-up, all safe")])
        segment: Segment | None = None
        while loop.now_ms < for_ms and not self._end.reached:
            self._do_what_is_due()
            segment = loop.run(self._scans_to(for_ms, explain_ms))
            self._look(segment)
            if loop.now_ms == explain_ms:
                self.explained = self._explain(segment)
            progress(loop.now_ms)
        if segment and explain_ms == AT_END:
            self.explained = self._explain(segment)
        if segment and (record := self._book.unfinished(segment)):
            self._cycle_ended(record)
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
        named = [("FAILURE_SET" if begun else "FAILURE_ENDED", mode) for mode, begun in moved]
        self._tell([self._event(name, mode) for name, mode in named])

    def _tell(self, events: Sequence[EventRecord]) -> None:
        self._end.written(events)
        self._watcher.events(events)

    # ---- after a segment -------------------------------------------------------------------------------
    def _look(self, segment: Segment) -> None:
        loop = self._loop
        step, before = loop.remembers("step"), segment.memory_before[self._step_place]
        acting = frozenset(loop.acting())
        raised = [name for name in loop.acting() if name not in self._acting]
        moved, changed = step != before, acting != self._acting
        scene = self._scene(segment) if moved or changed or self._command else None
        events: list[EventRecord] = []
        reset = self._command == "reset" and scene is not None
        if scene is not None:
            events += self._command_events(scene)
            events += [self._event(name, "raised", scene.grounds_of_interlock(name)) for name in raised]
            events += [self._event(name, "gone") for name in sorted(self._acting - acting)]
        self._acting = acting
        self._tally.raised(raised)
        self._tally.passed(segment, before, loop.remembers("hold_reason"))
        self._watcher.segment(segment)
        record = self._book.take(segment, scene if moved else None, self._utc(), raised)
        if scene is not None and moved:
            was, now = Step(before).name, Step(step).name
            events.append(self._event("STEP_CHANGED", f"{was} -> {now}", (scene.reason(),)))
            self._step_entered(step, was, scene)
            self._end.entered(step, before)
        events += self._hold_events()
        accepted = bool(scene.facts["reset_accepted"]) if scene is not None and reset else None
        events += self._alarm_events(acting, step, accepted)
        events += self._notes(self._counters.take(self._columns(segment), segment.scan_ms))
        self._tell(sorted(events, key=lambda event: event.at_ms))
        if record is not None:
            self._cycle_ended(record)
        if moved:
            self._tell_failures(self._failures.on_step(loop, step))

    def _step_entered(self, step: int, was: str, scene: Scene) -> None:
        if step == FAULT:
            name = scene.first_out()
            followers = tuple(other for other in self._loop.acting() if other != name)
            grounds = scene.grounds_of_interlock(name) if name else ()
            self._trips.append(Trip(self._loop.now_ms, name, was, grounds, followers))
            self._operator.tripped(self._loop.now_ms)
        if step == LEVEL_HOLD:
            self._level_stops += scene.facts["hold_reason"] == FULL_BELOW

    def _command_events(self, scene: Scene) -> list[EventRecord]:
        command, self._command = self._command, ""
        if not command:
            return []
        if scene.facts[f"{command}_accepted"]:
            return [self._event("COMMAND_ACCEPTED", f"{command} from the panel")]
        reasons = scene.refusals(command)
        self._tally.refused(command, reasons)
        return [self._event("COMMAND_REFUSED", f"{command} from the panel", reasons)]

    def _alarm_events(self, acting: frozenset[str], step: int, reset: bool | None) -> list[EventRecord]:
        """The moves of the alarms; `reset`: whether it was accepted, where the button was pressed."""
        first_out, names = self._loop.remembers("first_out"), self._loop.logic.interlock_names
        moves = self._desk.look(self._loop.now_ms, acting, step, names[first_out - 1] if first_out else "")
        if reset is not None:
            moves += self._desk.reset_pressed(self._loop.now_ms, reset)
        if self._trips:
            trip = self._trips[-1]
            more = (follower(move, trip.id) for move in moves)
            followers = dict.fromkeys((*trip.followers, *filter(None, more)))
            self._trips[-1] = trip._replace(followers=tuple(followers))
        return [EventRecord(m.at_ms, self._utc(m.at_ms), m.id, m.words, priority(m), m.detail) for m in moves]

    def _cycle_ended(self, record: CycleRecord) -> None:
        self._watcher.cycle(record)
        self._tell(self._notes(self._counters.take_cycle(record)))

    def _columns(self, segment: Segment) -> dict[str, list[int]]:
        return {point: segment.column(point) for point in self._wiring.points}

    def _notes(self, notes: Sequence[Note]) -> list[EventRecord]:
        return [self._event(note.id, note.what, (note.detail,)) for note in notes]

    def _hold_events(self) -> list[EventRecord]:
        reason = self._loop.remembers("hold_reason")
        if reason == self._hold_reason:
            return []
        self._hold_reason = reason
        return [self._event("HOLD_REASON_CHANGED", HELD_BY.get(reason, "none"))]

    def _scene(self, segment: Segment, ahead: bool = False) -> Scene:
        """The last scan of a segment laid open; `ahead`: the next, if no input changes."""
        logic: Logic = self._loop.logic
        memory = segment.memory(segment.scans if ahead else segment.scans - 1)
        hints = Inputs._field_defaults
        inputs = Inputs._make(
            bool(value) if isinstance(hints[name], bool) else value
            for name, value in zip(Inputs._fields, segment.inputs(segment.scans - 1), strict=True)
        )
        scan_ms = self._loop.scan_ms
        return Scene(self._engine, whole_memory(logic, memory), inputs, self._presets, scan_ms)

    def _explain(self, segment: Segment) -> Explained:
        scene = self._scene(segment)
        moved = scene.reason()
        acting = tuple((name, scene.grounds_of_interlock(name)) for name in self._loop.acting())
        if scene.fired():
            scene = self._scene(segment, ahead=True)
        rows = tuple((w.to, phrase(w.guard), w.holds_back) for w in scene.waiting())
        why = self._why()
        step, in_step_ms = Step(scene.was_step).name, self._loop.remembers("step_ms")
        return Explained(segment.last_ms, step, in_step_ms, moved, why, rows, acting)

    def _why(self) -> str:
        """Why it holds or stands in fault, now; else empty."""
        first_out, names = self._loop.remembers("first_out"), self._loop.logic.interlock_names
        return HELD_BY.get(self._loop.remembers("hold_reason"), names[first_out - 1] if first_out else "")

    def _utc(self, at_ms: int | None = None) -> str:
        date = self._start + timedelta(milliseconds=self._loop.now_ms if at_ms is None else at_ms)
        return date.isoformat(timespec="milliseconds")

    def _event(self, name: str, what: str, grounds: Sequence[str] = ()) -> EventRecord:
        priority = int(EVENTS[name].priority) if what != "gone" else 0
        return EventRecord(self._loop.now_ms, self._utc(), name, what, priority, "; ".join(grounds))

    def _totals(self) -> Totals:
        loop = self._loop
        air_nm3 = sum(loop.reading(name) for name in AIR_TOTALS) / AIR_KG_NM3
        step = Step(loop.remembers("step")).name
        kg = loop.reading("delivered_kg")
        tally = self._tally
        return Totals(
            loop.now_ms, kg, air_nm3, tuple(self._trips), self._level_stops, step, self._why(),
            tally.alarms, tally.holds, tally.refusals, self._desk.report(loop.now_ms),
            self._counters.as_document(),
        )  # fmt: skip
