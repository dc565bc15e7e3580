"""Scenarios on a controller at the other end of a wire: only what shows at the I/O is judged."""

from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from controller.campaign.at_the_io import IoRecording, cannot_be_driven
from controller.campaign.conditions import Condition
from controller.campaign.drive import Driven, Driver
from controller.campaign.judge import judge, not_driven
from controller.campaign.plant_end import ModbusEnd, PlantEnd
from controller.campaign.runner import Outcome, Runner
from controller.campaign.scenario import SCAN_MS, Scenario
from controller.campaign.target import Chunk
from controller.campaign.wire_station import WireStation
from controller.clock import WallClock
from controller.modbus.point_map import PointMap, load_point_map

LATE_MOST_MS = 100
"""A plant that comes later than that is none that a controller could be judged by."""


class LateError(Exception):
    """This computer was too late with a scan: nothing can be said of the controller."""

    def __init__(self, late_ms: int) -> None:
        super().__init__(
            f"this computer was {late_ms} ms late with a scan, over {LATE_MOST_MS}: the controller may have "
            "seen a lost link; run it again, with less beside it"
        )


Meet = Callable[[PointMap], PlantEnd]


class Address(NamedTuple):
    """Where the wire is: our plant listens there, or the controller does, as the map says."""

    host: str
    port: int

    def meet(self, point_map: PointMap) -> PlantEnd:
        """The plant's end of a wire there."""
        return ModbusEnd(point_map, self.host, self.port)


class WireRunner(Runner):
    """
    Runs scenarios on the simulated plant in real time, with a controller that is not ours.

    Args:
        meet: Makes the plant's end of the wire for a map.
        where: In words, for the results.
    """

    def __init__(self, meet: Meet, where: str) -> None:
        super().__init__(name="generated", check=True)
        self._meet, self._where = meet, where
        self._maps: dict[Path, PointMap] = {}

    def load(self, path: Path, folder_of: Callable[[str], Path], station: str | None = None) -> Scenario:
        """As of `Runner`; the station must have a map."""
        scenario = super().load(path, folder_of, station)
        folder = folder_of(station or scenario.head.station)
        self._maps[path] = load_point_map(folder, scenario.station.points)
        return scenario

    def run(self, scenario: Scenario) -> Outcome:
        """Runs and judges at the I/O; what cannot be driven there is not judged, and nothing is done."""
        if impossible := cannot_be_driven(scenario, self._wired(scenario)):
            line, why = impossible[0]
            more = f" (and {len(impossible) - 1} more)" if len(impossible) > 1 else ""
            beat = next(beat for beat in scenario.beats if beat.line == line)
            judged = not_driven(beat, why + more, line)
            return Outcome(scenario, None, None, judged, "", 0.0, self._where, foreign=True)
        clock = WallClock()
        try:
            driven, recording = self._drive(scenario)
            judged = judge(scenario, driven, recording, None)
        except Exception as error:  # the others go on
            said = f"{type(error).__name__}: {error}"
            return Outcome(scenario, None, None, None, said, clock.now_ms() / 1_000, foreign=True)
        took_s = clock.now_ms() / 1_000
        return Outcome(scenario, driven, None, judged, "", took_s, self._where, foreign=True)

    def _drive(self, scenario: Scenario) -> tuple[Driven, IoRecording]:
        s, point_map, wired = scenario, self._maps[scenario.path], self._wired(scenario)
        asked = {name: reading for c in s.conditions() for name, reading in c.readings.items()}

        def recorded(chunks: list[Chunk]) -> IoRecording:
            return IoRecording(chunks, wired, SCAN_MS)

        def evaluate(condition: Condition, chunk: Chunk) -> list[bool]:
            return [
                bool(v) for piece in recorded([chunk]).pieces() for v in piece.columns.whole(condition.rule)
            ]

        with closing(self._meet(point_map)) as end:
            station = WireStation(
                end, s.plant, wired, asked.items(), s.head.seed, point_map.watchdog_ms, SCAN_MS
            )
            driven = Driver(s, station, evaluate).drive()
        if station.latest_ms > LATE_MOST_MS:
            raise LateError(station.latest_ms)
        return driven, recorded(driven.chunks)

    def _wired(self, scenario: Scenario) -> frozenset[str]:
        point_map = self._maps[scenario.path]
        return frozenset(place.name for place in (*point_map.inputs, *point_map.outputs))
