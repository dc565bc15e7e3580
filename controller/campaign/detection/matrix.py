"""The whole matrix of a station: all cells, run side by side, and a healthy day beside them."""

from collections import Counter
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

from controller.campaign.detection.beginnings import AWAKE_MS, START, Watch
from controller.campaign.detection.cells import MODES, OF_A_NORMAL_DAY, Bench, bench
from controller.campaign.detection.expectations import COMMANDS_REFUSED, Mode
from controller.campaign.detection.verdicts import GAPS, Cell, Coverage, coverage, coverage_of_modes
from controller.campaign.scenario import Deed
from controller.sequence.steps import Step
from controller.simulate.parts_fitted import lack
from io_sim.failures import CATALOGUE

HOUR_MS = 3_600_000
PARTS = {mode.id: mode for mode in CATALOGUE}


class Matrix(NamedTuple):
    """What came of it."""

    station: str
    steps: tuple[int, ...]
    modes: tuple[Mode, ...]
    cells: tuple[Cell, ...]
    unreached: tuple[str, ...]  # steps
    absent: tuple[tuple[str, str], ...]  # modes of parts that the station has not, and what it lacks
    healthy_h: float
    false_alarms: tuple[tuple[str, int], ...]
    ran_ms: int  # of plant time

    @property
    def gaps(self) -> tuple[Cell, ...]:
        """Where what is written and what runs do not agree."""
        return tuple(cell for cell in self.cells if cell.verdict in GAPS)

    @property
    def coverage(self) -> Coverage:
        """Each cell counts one."""
        return coverage(self.cells, self.modes)

    @property
    def coverage_of_modes(self) -> Coverage:
        """Each mode counts one."""
        return coverage_of_modes(self.cells, self.modes)

    def as_document(self) -> dict[str, Any]:
        """As a JSON document; the limits of what it says with it."""
        cells, modes = self.coverage, self.coverage_of_modes
        return {
            "station": self.station,
            "said": LIMITS,
            "coverage_of_cells": {**cells._asdict(), "percent": round(cells.percent, 1)},
            "coverage_of_modes": {**modes._asdict(), "percent": round(modes.percent, 1)},
            "healthy_hours": self.healthy_h,
            "false_alarms": dict(self.false_alarms),
            "unreached_steps": self.unreached,
            "absent": dict(self.absent),
            "cells": [{**cell._asdict(), "step": Step(cell.step).name} for cell in self.cells],
        }


LIMITS = (
    "Bookkeeping of a simulation: an invented plant, every failure counted as one, as nobody knows its rate. "
    "Neither a performance level nor a SIL follows from it. This is ordinary software; emergency stop and "
    "guards are wired and designed outside it, and local codes and licensed practice come first."
)


def matrix(
    folder: Path,
    *,
    match: str = "",
    jobs: int = 1,
    hours: float = 0.0,
    told: Callable[[int, int], None] = lambda done, of: None,
    on: Bench | None = None,
) -> Matrix:
    """
    Runs every failure mode in every step.

    Args:
        folder: Of the station.
        match: Only modes with this in their name.
        jobs: Processes side by side.
        hours: Plant time of the healthy run.
        told: Is told how many modes are done, of how many.
        on: A bench to run on instead of the station's own; then in this process.

    Raises:
        ValueError: No mode of the station has `match` in its name.
    """
    station = on or bench(folder)
    modes = tuple(mode for mode in station.modes if match in mode.id)
    if not modes:
        msg = f"{station.name} has no failure mode with {match!r} in its name: {', '.join(station.parts)}"
        raise ValueError(msg)
    cells: list[Cell] = []
    for done, row in enumerate(_rows(station, folder, modes, jobs if on is None else 1), 1):
        cells += row
        told(done, len(modes))
    healthy_ms = round(hours * HOUR_MS)
    lacking = [mode.id for mode in MODES if mode.id not in station.parts]
    return Matrix(
        station.name, tuple(station.beginnings), modes, tuple(cells),
        tuple(step.name for step in Step if step not in station.beginnings),
        tuple((mode, lack(PARTS[mode], station.presets)) for mode in lacking),
        hours, false_alarms(station, healthy_ms), healthy_ms + sum(cell.ran_ms for cell in cells),
    )  # fmt: skip


def _rows(station: Bench, folder: Path, modes: tuple[Mode, ...], jobs: int) -> Iterable[list[Cell]]:
    if jobs == 1:
        yield from (_row_on(station, mode.id) for mode in modes)
        return
    with ProcessPoolExecutor(min(jobs, len(modes))) as pool:  # forked, they have the bench already
        yield from pool.map(partial(_row, folder), [mode.id for mode in modes])


def _row(folder: Path, mode: str) -> list[Cell]:
    return _row_on(bench(folder), mode)


def _row_on(station: Bench, name: str) -> list[Cell]:
    mode = next(mode for mode in station.modes if mode.id == name)
    return [station.cell(mode, step) for step in station.beginnings]


def false_alarms(station: Bench, lasts_ms: int) -> tuple[tuple[str, int], ...]:
    """What acts on a healthy station in so much plant time, and how often; but for a normal day's."""
    simulated = station.on({})
    simulated.loop.restore(station.powered_up)
    watch = Watch(simulated, [Deed(AWAKE_MS, START)])
    while watch.after_ms < lasts_ms:
        watch.advance(lasts_ms)
    refused = Counter({name: 1 for name in COMMANDS_REFUSED if name in watch.acted})
    counted = watch.raised + refused
    return tuple((name, n) for name, n in counted.items() if name not in OF_A_NORMAL_DAY)
