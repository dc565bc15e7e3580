"""One station under test: each failure mode begun in each step, run until it is told or the time is over."""

from collections.abc import Collection, Container, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

from controller.campaign.detection.beginnings import (
    CYCLES,
    Beginning,
    Unrecorded,
    Watch,
    beginnings,
    deeds_of,
    stop_ms,
)
from controller.campaign.detection.expectations import Expectation, Line, Mode, expected
from controller.campaign.detection.instrument_modes import INSTRUMENTS
from controller.campaign.detection.machine_modes import MACHINE
from controller.campaign.detection.verdicts import UNWRITTEN, Cell, verdict
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import DRAIN, FAULT, Step
from controller.settings import load_station
from controller.simulate.executors import Executor, best, executor, options_of
from controller.simulate.parts_fitted import has_part
from io_sim.failures import CATALOGUE, FailureMode
from io_sim.settings import load_plant

MODES: tuple[Mode, ...] = (*MACHINE, *INSTRUMENTS)
OF_A_NORMAL_DAY = frozenset({"LEVEL_HIGH", "SOURCE_NOT_READY"})
"""What acts on a healthy day too: a full vessel, a motor that rests."""
HEALTHY_MS, AFTER_STOP_MS = 600_000, 60_000
UNSEEN_CYCLES, UNSEEN_MS = 2, 10_000
"""How long is looked for an alarm where none is expected: until the second drain, and some."""
LATE_MS = 60_000
"""How long is waited at most for one that comes late."""


class Healthy(NamedTuple):
    """The same without the failure: which steps are entered when, what acts."""

    steps: tuple[tuple[int, int], ...]
    acted: frozenset[str]
    ran_ms: int


class Bench:
    """
    A station, its steps reached; it is the same for all cells.

    Args:
        folder: Of the station.
        logic: The receiver's own unless told.
        ran: The executor of the logic; the quickest there is, for this station, unless told.
        cycles: Before the one in which failures begin.
        steps: In which they begin.
    """

    def __init__(
        self,
        folder: Path,
        logic: Logic | None = None,
        ran: Executor | None = None,
        cycles: int = CYCLES,
        steps: Collection[int] = tuple(Step),
    ) -> None:
        whole = load_station(folder)
        self.name, self.presets, self.wired = folder.name, whole.receiver.presets, whole.wired
        self.logic, self._plant = logic or Logic(RECEIVER), load_plant(folder)
        self._executor = ran or executor(best(), self.logic, None, options_of(self.presets))
        self._stations: dict[tuple[tuple[str, int], ...], Unrecorded] = {}
        self._healthy: dict[tuple[int, tuple[str, ...], bool, int], Healthy] = {}
        self.interlocks = self.logic.definition.interlocks
        self.powered_up = self.on({}).loop.kept()
        self.beginnings = beginnings(self.on({}), cycles, steps)
        self.parts = {mode.id: mode for mode in CATALOGUE if has_part(mode, self.presets, self.wired)}
        self.modes = tuple(mode for mode in MODES if mode.id in self.parts)

    def on(self, other: dict[str, int]) -> Unrecorded:
        """The simulated station with these presets instead of its own."""
        key = tuple(other.items())
        if key not in self._stations:
            presets = shortened(self.presets, other)
            self._stations[key] = Unrecorded(self.logic, presets, self._plant, self._executor, [], seed=1)
        return self._stations[key]

    def expectation(self, mode: Mode, step: int) -> Expectation | None:
        """What is expected of a mode that begins in a step."""
        presets = shortened(self.presets, mode.shortened or {})
        return expected(lines_at(mode, presets, self.wired), step, presets, self.interlocks)

    def healthy(self, mode: Mode, step: int) -> Healthy:
        """What follows the step without the mode, but with all that is beside it, as long as asked for."""
        wanted = self.expectation(mode, step)
        cycles = max(UNSEEN_CYCLES, len(wanted.looked_at) + 1 if wanted else 0)
        key = (step, mode.beside, mode.stopped, cycles)
        if key not in self._healthy:
            watch = self._watch(self.beginnings[step], mode, failing=False)
            limit_ms = stop_ms(step) + AFTER_STOP_MS if mode.stopped else HEALTHY_MS
            while watch.after_ms < limit_ms and (mode.stopped or drains(watch.steps) < cycles):
                watch.advance(limit_ms)
            acted = frozenset(watch.acted) | OF_A_NORMAL_DAY
            self._healthy[key] = Healthy(tuple(watch.steps), acted, watch.after_ms)
        return self._healthy[key]

    def cell(self, mode: Mode, step: int) -> Cell:
        """One cell, run."""
        wanted, healthy = self.expectation(mode, step), self.healthy(mode, step)
        if wanted is None:
            return Cell(mode.id, step, UNWRITTEN, "", 0, (), 0, "", False, (), 0)
        within_ms = due_ms(wanted, healthy) + wanted.within_ms
        limit_ms = within_ms + min(LATE_MS, within_ms) if wanted.ids else unseen_ms(healthy)
        watch = self._watch(self.beginnings[step], mode, failing=True)
        while watch.after_ms < limit_ms and not watch.acted.keys() & set(wanted.ids):
            if watch.advance(limit_ms) == FAULT and len(watch.steps) > 1:
                break  # tripped
        judged, seen = verdict(wanted, watch.acted, within_ms, healthy.acted)
        others = tuple(name for name in watch.acted if name != seen and name not in healthy.acted)
        return Cell(
            mode.id, step, judged, seen, watch.acted.get(seen, 0), wanted.ids, within_ms, wanted.why,
            wanted.written, others, watch.after_ms,
        )  # fmt: skip

    def _watch(self, beginning: Beginning, mode: Mode, failing: bool) -> Watch:
        station = self.on(dict(mode.shortened or {}))
        loop = station.loop
        loop.restore(beginning.kept)
        for name in mode.beside:
            loop.fail(name, 1)
        if failing:
            loop.fail(mode.id, mode.amount)
        names = (*mode.beside, mode.id) if failing else mode.beside
        return Watch(station, deeds_of(beginning, names, mode.stopped))


def shortened(presets: Presets, other: Mapping[str, int]) -> Presets:
    """Presets with others in their places."""
    return Presets._make(other.get(name, value) for name, value in presets._asdict().items())


def lines_at(mode: Mode, presets: Presets, wired: Container[str]) -> tuple[Line, ...]:
    """The lines of a mode that are meant for a station with these presets and points."""
    return tuple(line for line in mode.lines if has_part(_only(line), presets, wired))


def _only(line: Line) -> FailureMode:
    """A mode with the needs of a line, to ask whether a station has them."""
    return FailureMode("", "", "", "", line.only)


def due_ms(wanted: Expectation, healthy: Healthy) -> int:
    """When the sequence next comes by where the failure shows; the end of the healthy run if it does not."""
    place, at_ms = 0, 0
    for part in wanted.looked_at:
        found = next((k for k in range(place, len(healthy.steps)) if healthy.steps[k][1] in part), None)
        if found is None:
            return healthy.ran_ms
        at_ms, place = healthy.steps[found][0], found + 1
    return at_ms


def drains(steps: Sequence[tuple[int, int]]) -> int:
    """How often a batch was let out."""
    return sum(step == DRAIN for _, step in steps)


def unseen_ms(healthy: Healthy) -> int:
    """How long is watched where nothing is expected."""
    at = [at_ms for at_ms, step in healthy.steps if step == DRAIN]
    return min([*at[UNSEEN_CYCLES - 1 : UNSEEN_CYCLES], healthy.ran_ms]) + UNSEEN_MS


@cache
def bench(folder: Path) -> Bench:
    """The bench of a station, made once."""
    return Bench(folder)
