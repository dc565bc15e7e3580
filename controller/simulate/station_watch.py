"""
What a run tells of a station: events, alarms, cycles, wear and explanations, from its segments alone.

The simulated run and the live one feed it; it knows neither clock nor plant.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from types import MappingProxyType
from typing import Any, NamedTuple

from controller.alarms.metrics import Report
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
from controller.simulate.cycle_book import CycleBook
from controller.simulate.run_end import RunEnd
from controller.simulate.segment import Segment, whole_memory
from controller.simulate.tally import HELD_BY, Hold, Refused, Tally

GONE, NOT_LOOKED_AT = "gone", "no longer looked at in"
"""What is told of an interlock that acts no longer: its cause is gone, or nobody looks in this step."""


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


class Given(NamedTuple):
    """A command, and where it was given."""

    command: str
    place: str = "the panel"
    who: str = ""  # the name that came with it, where one did


class Answer(NamedTuple):
    """What became of a command."""

    given: Given
    accepted: bool
    reasons: tuple[str, ...]  # of a refusal


class Looked(NamedTuple):
    """What a segment brought, for those who act on it."""

    moved: bool  # the step changed in its last scan
    tripped: bool
    answers: tuple[Answer, ...]


class StationWatch:
    """
    Feed it every segment of a run, in order, with the commands that its last scan saw.

    Args:
        logic: What runs.
        presets: With what settings.
        watcher: Is told what happens.
        software: Version, for the records.
        simulated: Whether the plant is.
        dated: The date of a time of the run.
        end: Looks on, and knows when the run is to end.
        known_beside: By interlock, what whoever runs the station knows of it in the scan in which it acts.
    """

    def __init__(
        self,
        logic: Logic,
        presets: Presets,
        watcher: Watcher,
        *,
        software: str,
        simulated: bool,
        dated: Callable[[int], datetime],
        end: RunEnd | None = None,
        known_beside: Mapping[str, Callable[[], tuple[str, ...]]] = MappingProxyType({}),
    ) -> None:
        self.logic, self.now_ms = logic, 0
        self._presets, self._watcher, self._dated = presets, watcher, dated
        self._engine, self._end = AsWritten(logic, on_rows), end or RunEnd(None)
        self._book = CycleBook(logic, presets, software=software, simulated=simulated)
        self._step_place = list(logic.memory).index("step")
        self._acting: frozenset[str] = frozenset()
        self._causes: dict[str, frozenset[str]] = {}  # of what was raised
        self._was_in = -1  # the step of the newest scan of all
        self._trips: list[Trip] = []
        self._tally = Tally()
        self._desk = AlarmDesk()
        uncommanded = presets.flap_kind in (COUNTERWEIGHT, VACUUM_HELD)
        self._wiring = Wiring(not uncommanded, presets.bypass_fitted)
        self._counters = Counters(self._wiring)
        self._level_stops = 0
        self._hold_reason, self._known_beside = 0, known_beside

    def tell(self, name: str, what: str, grounds: Sequence[str] = (), at_ms: int | None = None) -> None:
        """Writes down an event of now that no segment shows: power-up, a failure put in."""
        event = self._event(name, what, grounds)
        if at_ms is not None:
            event = event._replace(at_ms=at_ms, utc=self._utc(at_ms))
        self._tell([event])

    def _tell(self, events: Sequence[EventRecord]) -> None:
        self._end.written(events)
        self._watcher.events(events)

    # ---- after a segment -------------------------------------------------------------------------------
    def look(self, segment: Segment, commands: Sequence[Given] = ()) -> Looked:
        """Takes a segment; says what became of the commands."""
        self.now_ms = segment.last_ms
        step, before = segment.after("step"), segment.memory_before[self._step_place]
        acting = segment.acting(self.logic.interlock_names)
        raised = [name for name in acting if name not in self._acting]
        moved, changed = step != before, frozenset(acting) != self._acting
        scene = self._scene(segment) if moved or changed or commands else None
        events: list[EventRecord] = []
        answers: tuple[Answer, ...] = ()
        if scene is not None:
            answers = tuple(self._answer(scene, given) for given in commands)
            events += [self._answered(answer) for answer in answers]
            events += [self._event(name, "raised", self._grounds(scene, name)) for name in raised]
            self._causes.update({name: scene.causes_of_interlock(name) for name in raised})
            here = segment.scans > 1 or before == self._was_in
            over = sorted(self._acting.difference(acting))
            events += [self._event(name, self._over(scene, name, acted_here=here)) for name in over]
        self._acting, self._was_in = frozenset(acting), before
        self._tally.raised(raised)
        self._tally.passed(segment, before, segment.after("hold_reason"))
        self._watcher.segment(segment)
        record = self._book.take(segment, scene if moved else None, self._utc(), raised)
        if scene is not None and moved:
            was, now = Step(before).name, Step(step).name
            self._step_entered(step, was, scene, acting)
            warned = step == FAULT and self._trips[-1].id in set(acting).difference(raised)
            grounds = self._trips[-1].grounds if warned else ()
            events.append(self._event("STEP_CHANGED", f"{was} -> {now}", (scene.reason(), *grounds)))
            self._end.entered(step, before)
        events += self._hold_events(segment.after("hold_reason"))
        events += self._alarm_events(segment, step, answers)
        events += self._notes(self._counters.take(self._columns(segment), segment.scan_ms))
        self._tell(sorted(events, key=lambda event: event.at_ms))
        if record is not None:
            self._cycle_ended(record)
        return Looked(moved, moved and step == FAULT, answers)

    def unfinished(self, segment: Segment) -> None:
        """The run ends with this segment: a cycle that it breaks off is written down."""
        if record := self._book.unfinished(segment):
            self._cycle_ended(record)

    def _step_entered(self, step: int, was: str, scene: Scene, acting: Sequence[str]) -> None:
        if step == FAULT:
            name = scene.first_out()
            followers = tuple(other for other in acting if other != name)
            grounds = self._grounds(scene, name) if name else ()
            self._trips.append(Trip(self.now_ms, name, was, grounds, followers))
        if step == LEVEL_HOLD:
            self._level_stops += scene.facts["hold_reason"] == FULL_BELOW

    def _over(self, scene: Scene, name: str, *, acted_here: bool) -> str:
        """What is told of an interlock that acts no longer; `acted_here`: in the scan before it did."""
        if acted_here or scene.looks_at(name, self._causes[name]):
            return GONE
        return f"{NOT_LOOKED_AT} {Step(scene.was_step).name}"

    def _grounds(self, scene: Scene, name: str) -> tuple[str, ...]:
        beside = self._known_beside.get(name, tuple)
        return (*scene.grounds_of_interlock(name), *beside())

    def _answer(self, scene: Scene, given: Given) -> Answer:
        """A command that nothing can refuse is always heard."""
        fact = f"{given.command}_accepted"
        if fact not in self.logic.facts or scene.facts[fact]:
            return Answer(given, True, ())
        reasons = scene.refusals(given.command)
        self._tally.refused(given.command, reasons)
        return Answer(given, False, reasons)

    def _answered(self, answer: Answer) -> EventRecord:
        name = "COMMAND_ACCEPTED" if answer.accepted else "COMMAND_REFUSED"
        who = f" ({answer.given.who})" if answer.given.who else ""
        return self._event(name, f"{answer.given.command} from {answer.given.place}{who}", answer.reasons)

    def _alarm_events(self, segment: Segment, step: int, answers: Sequence[Answer]) -> list[EventRecord]:
        """The moves of the alarms, those included that people ask for."""
        first_out, names = segment.after("first_out"), self.logic.interlock_names
        moves = self._desk.look(self.now_ms, self._acting, step, names[first_out - 1] if first_out else "")
        for answer in answers:
            moves += self._desk.heard(self.now_ms, answer.given.command, answer.given.place, answer.accepted)
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

    def _hold_events(self, reason: int) -> list[EventRecord]:
        if reason == self._hold_reason:
            return []
        self._hold_reason = reason
        return [self._event("HOLD_REASON_CHANGED", HELD_BY.get(reason, "none"))]

    def _scene(self, segment: Segment, ahead: bool = False) -> Scene:
        """The last scan of a segment laid open; `ahead`: the next, if no input changes."""
        memory = segment.memory(segment.scans if ahead else segment.scans - 1)
        hints = Inputs._field_defaults
        inputs = Inputs._make(
            bool(value) if isinstance(hints[name], bool) else value
            for name, value in zip(Inputs._fields, segment.inputs(segment.scans - 1), strict=True)
        )
        return self.scene(whole_memory(self.logic, memory), inputs, segment.scan_ms)

    def scene(self, memory: Any, inputs: Inputs, dt_ms: int) -> Scene:
        """Any scan of this logic laid open."""
        return Scene(self._engine, memory, inputs, self._presets, dt_ms)

    # ---- asked -----------------------------------------------------------------------------------------
    @property
    def trips(self) -> tuple[Trip, ...]:
        """The trips so far."""
        return tuple(self._trips)

    @property
    def acting(self) -> frozenset[str]:
        """The interlocks that act."""
        return self._acting

    @property
    def standing(self) -> tuple[str, ...]:
        """The alarms that are not normal."""
        return self._desk.standing

    @property
    def unseen(self) -> tuple[str, ...]:
        """The alarms that call: nobody has acknowledged them."""
        return self._desk.unseen

    @property
    def counts(self) -> Mapping[str, float]:
        """The counters of wear, since power-up."""
        return self._counters.counts

    @property
    def due(self) -> tuple[str, ...]:
        """The counters of wear over their limit."""
        return tuple(self._counters.overdue())

    @property
    def alarms(self) -> tuple[tuple[str, int], ...]:
        """Ids, and how often each was raised so far."""
        return self._tally.alarms

    def explain(self, segment: Segment) -> Explained:
        """What the sequence did or waits for in the last scan of a segment, the one looked at last."""
        scene = self._scene(segment)
        moved = scene.reason()
        acting = tuple(
            (name, scene.grounds_of_interlock(name)) for name in segment.acting(self.logic.interlock_names)
        )
        if scene.fired():
            scene = self._scene(segment, ahead=True)
        rows = tuple((w.to, phrase(w.guard), w.holds_back) for w in scene.waiting())
        step, in_step_ms = Step(scene.was_step).name, segment.after("step_ms")
        return Explained(segment.last_ms, step, in_step_ms, moved, self.why(segment), rows, acting)

    def why(self, segment: Segment) -> str:
        """Why it holds or stands in fault after a segment; else empty."""
        return self.told(segment.after("hold_reason"), segment.after("first_out"))

    def told(self, hold_reason: int, first_out: int) -> str:
        """The reason of a hold or the first-out of a fault in words; else empty."""
        names = self.logic.interlock_names
        return HELD_BY.get(hold_reason, names[first_out - 1] if first_out else "")

    def totals(self, segment: Segment, delivered_kg: float, air_nm3: float) -> Totals:
        """What the run came to, that ends with this segment; with what the plant tells of it."""
        tally = self._tally
        return Totals(
            self.now_ms, delivered_kg, air_nm3, self.trips, self._level_stops,
            Step(segment.after("step")).name, self.why(segment),
            tally.alarms, tally.holds, tally.refusals, self._desk.report(self.now_ms),
            self._counters.as_document(),
        )  # fmt: skip

    def _utc(self, at_ms: int | None = None) -> str:
        return self._dated(self.now_ms if at_ms is None else at_ms).isoformat(timespec="milliseconds")

    def _event(self, name: str, what: str, grounds: Sequence[str] = ()) -> EventRecord:
        priority = int(EVENTS[name].priority) if not what.startswith((GONE, NOT_LOOKED_AT)) else 0
        return EventRecord(self.now_ms, self._utc(), name, what, priority, "; ".join(grounds))
