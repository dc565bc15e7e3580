"""
Scenarios run on simulated stations, one after another, and judged.

What is slow to make (the logic, the executors of each set of options) is made once and kept.
"""

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from controller.campaign.at_the_io import link_fails
from controller.campaign.conditions import Condition, Reader, Reading, plant_readings
from controller.campaign.drive import Driven, Driver
from controller.campaign.judge import NOT_JUDGED, Judged, judge
from controller.campaign.recording import Recording
from controller.campaign.scanned_station import ScannedStation
from controller.campaign.scenario import SCAN_MS, Resolver, Scenario
from controller.campaign.scenario_file import read_most
from controller.campaign.target import Chunk, Target, VirtualStation
from controller.clock import WallClock
from controller.engines.as_written import AsWritten
from controller.engines.rescan import Rescanner
from controller.problems import StationError
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.settings import Station, load_station
from controller.simulate.executors import Executor, best, executor, is_compiled, options_of
from io_sim.parameters import PlantParameters
from io_sim.settings import load_plant

PICTURED = ("plant_body_pa", "plant_body_g", "plant_vessel_g", "plant_delivered_g")
"""Readings of the plant that every run records, for its page."""


class Outcome(NamedTuple):
    """One scenario, run and judged; `broken` says why it could not be."""

    scenario: Scenario
    driven: Driven | None
    recording: Recording | None
    judged: Judged | None
    broken: str
    took_s: float
    executor: str = ""
    foreign: bool = False  # another controller ran it, of which the I/O alone was seen

    @property
    def verdict(self) -> str:
        """passed, failed, not judged (whole or in part, and nothing failed) or broken."""
        if self.judged is None:
            return "broken"
        if not self.judged.good:
            return "failed"
        return "passed" if self.judged.whole else NOT_JUDGED


class Runner:
    """
    Runs scenarios on one logic.

    Args:
        logic: The receiver's own unless told.
        name: Of the executor; the quickest there is unless told.
        check: Whether the rules as written look at the scans too.
        few: There is so little to run that compiling first takes longer.
        rate: Scan by scan on the clock of the room, so many times as fast; None: in virtual time.
    """

    def __init__(
        self,
        logic: Logic | None = None,
        name: str | None = None,
        check: bool = True,
        few: bool = False,
        rate: float | None = None,
    ) -> None:
        self.logic, self.rate = logic or Logic(RECEIVER), rate
        self.name, self.reader, self._few = name or best(), Reader(self.logic), few and name is None
        self.engine = AsWritten(self.logic) if check else None
        self._executors: dict[tuple[tuple[str, int], ...], tuple[Executor, Rescanner]] = {}

    def load(self, path: Path, folder_of: Callable[[str], Path], station: str | None = None) -> Scenario:
        """
        A scenario file with its station.

        Args:
            path: The file.
            folder_of: Where a station lies, by what is written.
            station: Another station than the file names.

        Raises:
            StationError: Anything in the file, or in the station's files, is wrong.
        """
        document, problems = read_most(path)
        if document is None:
            raise StationError(problems)
        try:
            folder = folder_of(station or document.value.station)
        except StationError as error:
            raise StationError([*problems, document.problem(("station",), str(error))]) from None
        whole, plant = _station(folder)
        return Resolver(path, document, whole, plant, self.reader, problems).scenario()

    def load_text(self, text: str, folder_of: Callable[[str], Path], name: str = "scenario") -> Scenario:
        """A scenario that lies in no file. Raises as `load`."""
        with TemporaryDirectory() as place:
            file = Path(place) / f"{name}.yaml"
            file.write_text(text, encoding="utf-8")
            return self.load(file, folder_of)

    def run(self, scenario: Scenario) -> Outcome:
        """Runs and judges; what crashes is broken, not failed."""
        clock = WallClock()
        try:
            driven, recording = self.drive(scenario)
            judged = judge(scenario, driven, recording, self.engine)
        except Exception as error:  # the others go on
            said = f"{type(error).__name__}: {error}"
            return Outcome(scenario, None, None, None, said, clock.now_ms() / 1_000)
        return Outcome(
            scenario, driven, recording, judged, "", clock.now_ms() / 1_000, self.executor_of(scenario)
        )

    def executor_of(self, scenario: Scenario) -> str:
        """What runs a scenario, by name."""
        if self.rate:
            return "transitions in real time" + (f" x {self.rate:g}" if self.rate != 1 else "")
        return "transitions" if link_fails(scenario) else self.parts(scenario.presets)[0].name

    def drive(self, scenario: Scenario) -> tuple[Driven, Recording]:
        """Runs, and gives what was recorded."""
        pictured = {name: reading for name, reading in plant_readings().items() if name in PICTURED}
        asked = {name: reading for c in scenario.conditions() for name, reading in c.readings.items()}
        driver, recorded = self.driver(scenario, pictured | asked)
        driven = driver.drive()
        return driven, recorded(driven.chunks)

    def driver(
        self, scenario: Scenario, readings: Mapping[str, Reading]
    ) -> tuple[Driver, Callable[[list[Chunk]], Recording]]:
        """What drives a scenario on its simulated station, and what makes a recording of chunks of it."""
        _, rescanner = self.parts(scenario.presets)
        target = self._target(scenario, readings)

        def recorded(chunks: list[Chunk]) -> Recording:
            return Recording(chunks, rescanner, self.reader, scenario.presets, SCAN_MS)

        def evaluate(condition: Condition, chunk: Chunk) -> list[bool]:
            pieces = recorded([chunk]).pieces()
            return [bool(v) for piece in pieces for v in piece.columns.whole(condition.rule)]

        seen = target.comes_true if isinstance(target, ScannedStation) else evaluate
        return Driver(scenario, target, seen), recorded

    def _target(self, scenario: Scenario, readings: Mapping[str, Reading]) -> Target:
        """The whole station in virtual time; scan by scan in real time, or where the link is to fail."""
        s, asked = scenario, readings.items()
        if self.rate or link_fails(s):
            clock = WallClock(self.rate) if self.rate else None
            engine = AsWritten(self.logic, options=options_of(s.presets))
            return ScannedStation(engine, s.presets, s.plant, asked, s.head.seed, SCAN_MS, clock=clock)
        ran, _ = self.parts(s.presets)
        return VirtualStation(self.logic, s.presets, s.plant, ran, asked, s.head.seed, SCAN_MS)

    def parts(self, presets: Presets) -> tuple[Executor, Rescanner]:
        """
        The executor and the rescanner for a station.

        Compiled it is one for all of them: scenarios have many sets of options, and each would compile anew.
        """
        name = self.name
        if self._few and name == "compiled" and not is_compiled(self.logic, {}):
            name = "generated"
        interpreted = name != "compiled"
        options = options_of(presets) if interpreted else {}
        key = tuple(options.items())
        if key not in self._executors:
            self._executors[key] = (
                executor(name, self.logic, options=options),
                Rescanner(self.logic, options, interpreted=interpreted),
            )
        return self._executors[key]


@cache
def _station(folder: Path) -> tuple[Station, PlantParameters]:
    return load_station(folder), load_plant(folder)
