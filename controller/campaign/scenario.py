"""A scenario as it is run: every name looked up, every time in whole ms; all that is wrong at once."""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, Literal, NamedTuple

from controller.campaign.conditions import Condition, Reader
from controller.campaign.link_failures import LINK_FAILURES
from controller.campaign.patterns import Pattern, pattern
from controller.campaign.scenario_file import Entry, Expectation, Head
from controller.campaign.words import NEVER, guarded, point_and_value, span, steps_named
from controller.options import WIRED_WHEN, impossible, misplaced
from controller.points import ANALOGS, CONTACTS, Point
from controller.problems import Problem, StationError, did_you_mean
from controller.sequence.presets import Presets
from controller.settings import Station
from controller.settings import keys as preset_keys
from controller.simulate.parts_fitted import can_fail
from controller.simulate.times import milliseconds
from controller.station_file import Document
from controller.station_keys import typed, typed_values
from controller.strict_yaml import Loc
from io_sim.parameters import PlantParameters
from io_sim.parameters import problems as plant_problems
from io_sim.settings import keys as plant_keys

LONGEST_MS = 48 * 3_600_000
SCAN_MS = 10


class Moment(NamedTuple):
    """When an entry comes: at a time, on entering one of `steps`, or when `condition` comes true."""

    at_ms: int | None
    steps: tuple[int, ...]
    condition: Condition | None
    nth: int
    after_ms: int
    waits_ms: int
    text: str


class Action(NamedTuple):
    """What is done at a moment, in scans: `kind` is command, set, fail, mend or power_cut."""

    kind: str
    name: str
    value: float  # of a point, or the amount of a failure
    grows_ms: int = 0
    during_ms: int = NEVER
    every_ms: int = 0
    times: int = 1
    source: str = "panel"


class Deed(NamedTuple):
    """Something done at a moment."""

    at_ms: int
    action: Action


class Expected(NamedTuple):
    """One thing that must follow a moment."""

    kind: str  # reaches, keeps, counts, lasts, delivers, first_out
    condition: Condition | None
    low: float
    high: float
    within_ms: int  # from the moment on; NEVER: to the end
    not_before_ms: int
    text: str
    because: str
    line: int


class Beat(NamedTuple):
    """An entry of the timeline."""

    moment: Moment
    actions: tuple[Action, ...]
    expected: tuple[Expected, ...]
    line: int


class Rule(NamedTuple):
    """What must be so in every scan."""

    text: str
    holds: Condition
    wanted: bool  # True: always, False: never
    line: int
    pattern: Pattern | None = None  # of what may never be


class Scenario(NamedTuple):
    """Ready to run."""

    path: Path
    head: Head
    station: Station  # with what the scenario sets otherwise
    plant: PlantParameters
    beats: tuple[Beat, ...]
    lasts_ms: int
    rules: tuple[Rule, ...]
    acts_only: frozenset[str] | None
    acts_line: int = 0  # of the file

    @property
    def name(self) -> str:
        """The file's name without its ending."""
        return self.path.stem

    @property
    def presets(self) -> Presets:
        """As the station sets them, but for what the scenario sets otherwise."""
        return self.station.receiver.presets

    def conditions(self) -> list[Condition]:
        """All that it reads."""
        moments = [beat.moment.condition for beat in self.beats]
        expected = [e.condition for beat in self.beats for e in beat.expected]
        ruled = [c for r in self.rules for c in (r.pattern.conditions if r.pattern else [r.holds])]
        return [c for c in (*moments, *expected, *ruled) if c]


class Resolver:
    """Looks up what one scenario file names; collects what is wrong, beside what was `told` before."""

    def __init__(
        self, path: Path, document: Document[Head], station: Station, plant: PlantParameters, reader: Reader,
        told: Sequence[Problem] = (),
    ) -> None:
        self.path, self.document, self.head = path, document, document.value
        self.reader, self.logic = reader, reader.logic
        self._told = tuple(told)
        self.problems = list(told)
        self.station, self.plant = self._overridden(station, plant)

    def scenario(self) -> Scenario:
        """
        The scenario.

        Raises:
            StationError: Anything in it is wrong; all of it, in the order of the file.
        """
        head = self.head
        beats = tuple(self._beat(n, entry) for n, entry in enumerate(head.timeline))
        self._in_order(beats)
        rules = [self._rule("never", n, text, False) for n, text in enumerate(head.never)]
        rules += [self._rule("always", n, text, True) for n, text in enumerate(head.always)]
        for n, name in enumerate(head.acts_only or ()):
            self._interlock(("acts_only", n), name)
        for n, text in enumerate(head.guards):
            self._tried(("guards", n), partial(guarded, self.logic, text))
        lasts_ms = self._ms(("lasts",), head.lasts)
        if self.problems:
            raise StationError(sorted(self.problems, key=lambda problem: problem[1:3]))
        only = None if head.acts_only is None else frozenset(head.acts_only)
        kept = tuple(rule for rule in rules if rule)
        line = self._line(("acts_only",))
        return Scenario(self.path, head, self.station, self.plant, beats, lasts_ms, kept, only, line)

    # ---- parts ---------------------------------------------------------------------------------------
    def _overridden(self, station: Station, plant: PlantParameters) -> tuple[Station, PlantParameters]:
        given: Any = self.head
        station, receiver = self._wired(station), station.receiver
        presets = receiver.presets._replace(**typed_values(given.presets, preset_keys()))
        parameters = plant._replace(**typed_values(given.plant, plant_keys()))
        odd = list(impossible(presets, station.wired))
        odd += [
            (name, f"{point} is {'not wired' if needed else 'wired, and nothing uses it'}")
            for point, name, needed in misplaced(presets, station.wired)
        ]
        for name, why in odd:
            item = next(item for item in preset_keys() if item.name == name)
            self._say(("presets", *item.loc), f"is {str(typed(item, getattr(presets, name))).lower()}: {why}")
        for said in plant_problems(parameters):
            self._say(("plant",), said)
        return station._replace(receiver=receiver._replace(presets=presets)), parameters

    def _wired(self, station: Station) -> Station:
        """The station with other points than its own, where the scenario fits other instruments."""
        name = station.receiver.name
        for word, listed in (("wired", self.head.wired), ("not_wired", self.head.not_wired)):
            for n, point in enumerate(listed):
                if point not in WIRED_WHEN:
                    said = did_you_mean(point, WIRED_WHEN)
                    self._say((word, n), f"{point!r} is no optional point{said}")
                elif (point in station.wired) == (word == "wired"):
                    self._say((word, n), f"{point} is {word.replace('_', ' ')} at {name} already")
        points = [point for point in station.points.points if point.name not in self.head.not_wired]
        points += [_point(point) for point in self.head.wired if point not in station.wired]
        return station._replace(points=station.points._replace(points=tuple(points)))

    def _beat(self, n: int, entry: Entry) -> Beat:
        loc: Loc = ("timeline", n)
        expected = tuple(
            found
            for k, wanted in enumerate(entry.expect)
            if (found := self._expected((*loc, "expect", k), wanted))
        )
        return Beat(self._moment(loc, n, entry), self._actions(loc, entry), expected, self._line(loc))

    def _moment(self, loc: Loc, n: int, entry: Entry) -> Moment:
        said = [word for word in ("at", "enters", "when") if getattr(entry, word)]
        if len(said) > 1:
            self._say((*loc, said[1]), f"one moment: either {said[0]} or {said[1]}")
        if not said and not entry.after:
            self._say(loc, "has no moment: write at, enters, when or after")
        if said == ["at"] and entry.after:
            self._say((*loc, "after"), "goes with enters or when, or alone; add it to `at`")
        at_ms = self._ms((*loc, "at"), entry.at) if entry.at else None
        steps = self._steps((*loc, "enters"), entry.enters) if entry.enters else ()
        condition = self._condition((*loc, "when"), entry.when) if entry.when else None
        after_ms = self._ms((*loc, "after"), entry.after) if entry.after not in ("", "0s") else 0
        waits_ms = self._ms((*loc, "waits"), entry.waits)
        text = f"at {entry.at}" if entry.at else f"entering {entry.enters}" if entry.enters else entry.when
        text += f" #{entry.nth}" if entry.nth > 1 else ""
        text += f" + {entry.after}" if entry.after else ""
        return Moment(at_ms, steps, condition, entry.nth, after_ms, waits_ms, text.strip())

    def _in_order(self, beats: tuple[Beat, ...]) -> None:
        last = 0
        for n, beat in enumerate(beats):
            at_ms = beat.moment.at_ms
            if at_ms is not None and at_ms < last:
                self._say(("timeline", n, "at"), "is before the entry above: the timeline runs downwards")
            last = max(last, at_ms or 0)

    def _actions(self, loc: Loc, entry: Entry) -> tuple[Action, ...]:
        actions = []
        if entry.command:
            actions.append(Action("command", entry.command, 1, source=entry.source))
        for k, text in enumerate(entry.set):
            if (found := self._tried((*loc, "set", k), partial(point_and_value, text))) is not None:
                actions.append(Action("set", *found))
        if entry.fail:
            self._mode((*loc, "fail"), entry.fail)
            during = self._ms((*loc, "during"), entry.during) if entry.during else NEVER
            every = self._ms((*loc, "every"), entry.every) if entry.every else 0
            grows = self._ms((*loc, "grows"), entry.grows) if entry.grows else 0
            if entry.times > 1 and not every:
                self._say((*loc, "times"), "says how often: write also `every`")
            if every and (every <= during or entry.times == 1):
                self._say((*loc, "every"), "comes again: write `during`, shorter than it, and `times`")
            if entry.fail in LINK_FAILURES and (entry.amount != 1 or grows):
                self._say((*loc, "fail"), "a link fails whole and at once: leave out amount and grows")
            actions.append(Action("fail", entry.fail, entry.amount, grows, during, every, entry.times))
        elif entry.during or entry.every or entry.grows:
            self._say(loc, "during, every and grows go with fail")
        if entry.mend:
            self._mode((*loc, "mend"), entry.mend)
            actions.append(Action("mend", entry.mend, 0))
        if entry.power_cut:
            ms = self._ms((*loc, "power_cut"), entry.power_cut)
            if ms % SCAN_MS:
                self._say((*loc, "power_cut"), f"is not whole scans of {SCAN_MS} ms")
            actions.append(Action("power_cut", "", ms))
        return tuple(actions)

    def _expected(self, loc: Loc, wanted: Expectation) -> Expected | None:
        kinds = [
            k
            for k in ("reaches", "keeps", "counts", "lasts", "delivers_kg", "first_out")
            if getattr(wanted, k)
        ]
        if len(kinds) != 1:
            self._say(loc, "say exactly one of reaches, keeps, counts, lasts, delivers_kg, first_out")
            return None
        kind, text = kinds[0], str(getattr(wanted, kinds[0]))
        within = self._ms((*loc, "within"), wanted.within) if wanted.within else NEVER
        not_before = self._ms((*loc, "not_before"), wanted.not_before) if wanted.not_before else 0
        if not_before and kind not in ("reaches", "keeps", "first_out"):
            self._say((*loc, "not_before"), f"does not go with {kind}")
        if not_before > within:
            self._say((*loc, "not_before"), "is after `within`: the window is empty")
        low, high, condition, said = 0.0, float(NEVER), None, text
        if kind == "first_out":
            number = self._interlock((*loc, kind), text)
            condition, said = self._condition((*loc, kind), f"first_out == {number}"), text
        elif kind == "delivers_kg":
            low, high = self._tried((*loc, kind), partial(span, text, float)) or (low, high)
        else:
            condition = self._condition((*loc, kind), text)
        if kind in ("counts", "lasts"):
            unit: Callable[[str], float] = milliseconds if kind == "lasts" else float
            low, high = self._tried((*loc, "range"), partial(span, wanted.range, unit)) or (low, high)
        elif wanted.within and kind == "delivers_kg":
            self._say((*loc, "within"), "does not go with delivers_kg, which counts to the end")
        elif wanted.range:
            self._say((*loc, "range"), "goes with counts or lasts")
        kind = "delivers" if kind == "delivers_kg" else kind
        return Expected(kind, condition, low, high, within, not_before, said, wanted.because, self._line(loc))

    def _rule(self, word: str, n: int, text: str, wanted: bool) -> Rule | None:
        if wanted:
            found = self._condition((word, n), text)
            return Rule(text, found, wanted, self._line((word, n))) if found else None
        never: Pattern | None = self._tried((word, n), partial(pattern, text, self.reader.read))
        return Rule(text, never.holds, wanted, self._line((word, n)), never) if never else None

    # ---- words ---------------------------------------------------------------------------------------
    def _tried(self, loc: Loc, read: Callable[[], Any]) -> Any:
        try:
            return read()
        except ValueError as no:
            self._say(loc, str(no))
            return None

    def _ms(self, loc: Loc, text: str) -> int:
        ms = self._tried(loc, partial(milliseconds, text)) or 1
        if ms > LONGEST_MS:
            self._say(loc, "is over 48 h: a scenario has an end")
        return int(ms)

    def _condition(self, loc: Loc, text: str) -> Condition | None:
        found: Condition | None = self._tried(loc, partial(self.reader.read, text))
        return found

    def _steps(self, loc: Loc, name: str) -> tuple[int, ...]:
        return self._tried(loc, partial(steps_named, name)) or ()

    def _interlock(self, loc: Loc, name: str) -> int:
        names = self.logic.interlock_names
        if name in names:
            return names.index(name) + 1
        self._say(loc, f"{name!r} is no interlock{did_you_mean(name, names)}")
        return 0

    def _mode(self, loc: Loc, name: str) -> None:
        if name in LINK_FAILURES:
            return
        receiver = self.station.receiver
        wired = self.station.wired
        self._tried(loc, partial(can_fail, name, receiver.name, receiver.presets, wired, LINK_FAILURES))

    def _line(self, loc: Loc) -> int:
        return self.document.problem(loc, "").line

    def _say(self, loc: Loc, text: str) -> None:
        """A problem; not where something is left out because it is wrong."""
        problem = self.document.problem(loc, text)
        inside = (f"{problem.key}.", f"{problem.key}[")
        if not any(t.key == problem.key or t.key.startswith(inside) for t in self._told):
            self.problems.append(problem)


def _point(name: str) -> Point:
    """A point that only a scenario wires."""
    if name in CONTACTS:
        return Point(name, "contact", "", "wired by the scenario", "", (0, 1), "", None, "")
    kind: Literal["4-20 mA", "output"] = "4-20 mA" if name in ANALOGS else "output"
    return Point(name, kind, "", "wired by the scenario", "", (0, 1), "", None, "")
