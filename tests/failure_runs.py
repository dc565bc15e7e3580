"""
Runs of the failure modes: each row of `failure_expectations` in the closed loop.

The compiled loop is made once and shared; nothing is written. A witness looks at every scan for what must
never be, whatever fails.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from copy import deepcopy
from functools import cache
from pathlib import Path
from typing import NamedTuple

from failure_expectations import ROWS
from failure_expectations.table import STATIONS, B, Row

from controller.events import INTERLOCK_IDS
from controller.image import Outputs
from controller.records import CycleRecord, EventRecord
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import FAULT
from controller.settings import load_station
from controller.simulate.executors import Executor, best, executor
from controller.simulate.failures_asked import Asked, Failures, read
from controller.simulate.operator import HELD_MS, Operator
from controller.simulate.parts_fitted import has_part
from controller.simulate.segment import Segment
from controller.simulate.station_loop import StationLoop
from controller.simulate.station_run import StationRun
from controller.simulate.station_watch import Watcher
from io_sim.constants import derived
from io_sim.failures import CATALOGUE, FailureMode
from io_sim.parameters import PlantParameters
from io_sim.settings import load_plant
from io_sim.switches import CLOSED_SWITCH_AT

CONFIGS = Path(__file__).parents[1] / "configs"
LONGEST_MS = 3_600_000
FAULT_WATCHED_MS = 3_000
"""How long a trip is watched for its outputs."""
MOVES = tuple(name for name in Outputs._fields if name not in ("run_lamp", "fault_lamp", "horn"))


class Station(NamedTuple):
    presets: Presets
    plant: PlantParameters


class Run(NamedTuple):
    """What a run came to; times in seconds from the beginning of the failure."""

    begun_s: float  # since power-up
    begun: bool
    trip: str
    trip_s: float
    acted: Mapping[str, float]  # each interlock, when it first began to act after that
    holds: Mapping[str, float]
    refused: bool
    records: tuple[CycleRecord, ...]
    worst: "Worst"
    lasted_s: float


class Worst(NamedTuple):
    """The worst of what must never be, over a run."""

    flap_open_ms: int  # the source acts with the flap open, longest in a row
    vessel_share: float  # fullest, of the capacity
    pulse_vacuum_pa: float  # deepest under a pulse
    unsafe: tuple[str, ...]  # outputs seen energised in FAULT


class Enough(Exception):  # noqa: N818
    """The run was watched for long enough."""


class Hand(Operator):
    """Starts the receiver; presses stop for a moment if told to."""

    def __init__(self, stop_s: float | None) -> None:
        super().__init__(None)
        stop_ms = round((stop_s or 0) * 1_000)
        self._edges = [(stop_ms, 0), (stop_ms + HELD_MS, 1)] if stop_s else []

    @property
    def next_ms(self) -> int | None:
        due = [*(ms for ms, _ in self._edges), *filter(None, [super().next_ms])]
        return min(due, default=None)

    def act(self, loop: StationLoop) -> str:
        while self._edges and self._edges[0][0] <= loop.now_ms:
            loop.press("stop_healthy", self._edges.pop(0)[1])
        return super().act(loop)


class Witness:
    """Looks at every scan of a run for what must never be."""

    def __init__(self, presets: Presets, plant: PlantParameters) -> None:
        self._bypassed = presets.source_kind > 0 and presets.bypass_fitted
        self._capacity_kg = derived(plant).vessel_capacity_kg
        self._air_pa = derived(plant).air_pa
        self._open = self._open_most = 0
        self._share = self._pulse_vacuum = 0.0
        self._unsafe: dict[str, None] = {}
        self.scan_ms = 0

    def take(self, segment: Segment) -> None:
        """Note the worst of these scans."""
        self.scan_ms = segment.scan_ms
        column, reading = segment.column, segment.reading
        acts = column("source_cmd")
        if self._bypassed:
            acts = [a and b for a, b in zip(acts, column("bypass_close_cmd"), strict=True)]
        flap = reading("flap_open")
        if max(flap) > CLOSED_SWITCH_AT + 1e-6 or self._open:
            for acting, place in zip(acts, flap, strict=True):
                self._open = self._open + 1 if acting and place > CLOSED_SWITCH_AT + 1e-6 else 0
                self._open_most = max(self._open_most, self._open)
        self._share = max(self._share, max(reading("vessel_kg")) / self._capacity_kg)
        pulses = [column(f"pulse_{group}_cmd") for group in (1, 2, 3)]
        if any(map(any, pulses)):
            under = zip(*pulses, reading("body_pa"), strict=True)
            deepest = max(self._air_pa - pa for one, two, three, pa in under if one or two or three)
            self._pulse_vacuum = max(self._pulse_vacuum, deepest)
        steps = column("step")
        if FAULT in (steps[0], steps[-1]):
            for name in MOVES:
                if any(on and step == FAULT for on, step in zip(column(name), steps, strict=True)):
                    self._unsafe[name] = None

    def worst(self) -> Worst:
        """What was seen."""
        return Worst(self._open_most * self.scan_ms, self._share, self._pulse_vacuum, tuple(self._unsafe))


@cache
def logic() -> Logic:
    return Logic(RECEIVER)


@cache
def quickest() -> Executor:
    return executor(best(), logic())


@cache
def station(name: str) -> Station:
    return Station(load_station(CONFIGS / name).receiver.presets, load_plant(CONFIGS / name))


def applies(mode: FailureMode, name: str) -> bool:
    """Whether a station has the part: its presets, or the points of its I/O list, are what the mode needs."""
    return has_part(mode, station(name).presets, wired(name))


@cache
def wired(name: str) -> frozenset[str]:
    """The points of a station."""
    return load_station(CONFIGS / name).wired


@cache
def cases() -> list[tuple[Row, str]]:
    """Every row with every station that it is run on."""
    modes = {mode.id: mode for mode in CATALOGUE}
    return [
        (row, name)
        for row in ROWS
        for name in ((B,) if row.fitted else STATIONS)
        if row.fitted or applies(modes[row.mode], name)
    ]


class Day:
    """A station under way with all that is written down of it."""

    def __init__(self, presets: Presets, plant: PlantParameters, stop_s: float | None = None) -> None:
        self.events: list[EventRecord] = []
        self.records: list[CycleRecord] = []
        self.witness = Witness(presets, plant)
        self.loop = StationLoop(logic(), presets, plant, quickest(), seed=1)
        watcher = Watcher(self._cycle, self._happened, self.witness.take)
        self.station = StationRun(self.loop, presets, Hand(stop_s), Failures([]), watcher, "failure modes")

    def _cycle(self, record: CycleRecord) -> None:
        self.records.append(record)

    def _happened(self, events: Sequence[EventRecord]) -> None:
        self.events.extend(events)

    def run(self, failures: list[Asked], enough: Callable[[int], bool]) -> None:
        """Goes on with these failures until it is enough."""

        def progress(now_ms: int) -> None:
            if enough(now_ms):
                raise Enough

        self.station._failures = Failures(failures)
        with suppress(Enough):
            self.station.run(LONGEST_MS, None, progress)

    def copy(self) -> "Day":
        """Another one that stands where this one stands, and goes on by itself."""
        watch = self.station._watch
        shared = logic(), self.loop._run, self.loop._advance, watch._engine, watch._known_beside
        return deepcopy(self, {id(one): one for one in shared})


@cache
def until(name: str, failure: Asked) -> Day:
    """A station on a healthy day, to the scan before this failure."""
    healthy = Day(*station(name))
    healthy.run([failure], lambda now_ms: now_ms == failure.at_ms)
    return healthy


def run(row: Row, name: str, presets: Presets | None = None) -> Run:
    """
    One row on one station; `presets` stand in for the station's own.

    What is the same for many rows, a healthy day to the moment at which they begin, is run once.
    """
    asked, plant = row.at(name), station(name).plant
    failures = [read(f"{row.mode}={asked.amount:g}@{asked.begins}"), *map(read, asked.beside)]
    if presets or row.fitted or row.stop_s or len(failures) > 1 or failures[0].at_ms is None:
        presets = (presets or station(name).presets)._replace(**(row.fitted or {}))
        day = Day(presets, plant, row.stop_s)
    else:
        healthy = failures[0]._replace(mode="", amount=0.0, lasts_ms=None)
        day = until(name, healthy).copy()

    def enough(now_ms: int) -> bool:
        begun_ms, fault_ms = begun(day.events, row.mode), faulted(day.events)
        watched = begun_ms is not None and now_ms >= begun_ms + asked.then.length_s * 1_000
        return watched or (fault_ms is not None and now_ms >= fault_ms + FAULT_WATCHED_MS)

    day.run(failures, enough)
    return told(row.mode, day.events, day.records, day.witness.worst(), day.loop.now_ms)


@cache
def seen(mode: str, name: str) -> Run:
    """The row of a mode on one station, run once and remembered."""
    return run(row_of(mode), name)


def row_of(mode: str) -> Row:
    """The row of a mode."""
    return next(row for row in ROWS if row.mode == mode)


def begun(events: Sequence[EventRecord], mode: str) -> int | None:
    """When the failure was set."""
    return next((e.at_ms for e in events if (e.id, e.what) == ("FAILURE_SET", mode)), None)


def faulted(events: Sequence[EventRecord]) -> int | None:
    """When the receiver tripped."""
    return next((e.at_ms for e in events if e.id == "STEP_CHANGED" and e.what.endswith("FAULT")), None)


def told(
    mode: str, events: Sequence[EventRecord], records: Sequence[CycleRecord], worst: Worst, now_ms: int
) -> Run:
    """What the events and records of a run say."""
    begun_ms, fault_ms = begun(events, mode), faulted(events)
    since = now_ms if begun_ms is None else begun_ms
    acted: dict[str, float] = {}
    holds: dict[str, float] = {}
    for event in events:
        after_s = (event.at_ms - since) / 1_000
        if after_s >= 0 and event.id in INTERLOCK_IDS and event.what == "raised":
            acted.setdefault(event.id, after_s)
        if after_s >= 0 and event.id == "HOLD_REASON_CHANGED" and event.what != "none":
            holds.setdefault(event.what, after_s)
    results = [record.result for record in records if record.result.startswith("trip ")]
    first = next((e.detail for e in events if e.at_ms == fault_ms and e.what.endswith("FAULT")), "")
    return Run(
        begun_s=since / 1_000,
        begun=begun_ms is not None,
        trip=results[-1].removeprefix("trip ") if results else first,
        trip_s=0.0 if fault_ms is None else (fault_ms - since) / 1_000,
        acted=acted,
        holds=holds,
        refused=any(e.id == "COMMAND_REFUSED" for e in events),
        records=tuple(records),
        worst=worst,
        lasted_s=(now_ms - since) / 1_000,
    )
