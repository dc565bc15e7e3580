"""
A simulated receiver to be led through a test: start, fail, run until, expect. Virtual time: nothing waits.

>>> from controller.testing.receiver import Receiver
>>> mill = Receiver("buckwheat_mill", presets={"convey": {"fill_s": 8}})
>>> mill.run("1s")
>>> mill.start()
>>> 10_000 < mill.run_until("convey", within="30s") < 20_000  # ms that it took
True
>>> mill.step, mill.now("source_cmd and flap_closed")
('CONVEY', True)
>>> mill.fail("inlet_hose_off")
>>> 500 < mill.expect("NO_VACUUM", within="3s") < 3_000
True
>>> mill.expect("not source_cmd")
0
>>> mill.never("source_cmd and flap_open_cmd")
"""

import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from controller.campaign.conditions import Condition, plant_readings
from controller.campaign.recording import Recording
from controller.campaign.results import grounds
from controller.campaign.runner import Runner
from controller.campaign.scenario import SCAN_MS, Action, Scenario
from controller.problems import did_you_mean
from controller.sequence.steps import STATES, Step
from controller.simulate.times import milliseconds, typed
from controller.stations import station_folder
from io_sim.failures import SLOTS


class NotSeen(AssertionError):  # noqa: N818, says what is wrong
    """What was expected did not come, or what never may did; says when, and on what grounds."""


class Receiver:
    """
    One simulated station from power-up on.

    Args:
        station: A folder, or a station that comes along, by name.
        presets: Set otherwise than in receiver.yaml, in groups as there: `{"convey": {"fill_s": 8}}`.
        plant: Otherwise than in plant.yaml, likewise.
        seed: Of the plant's chance.

    Raises:
        StationError: A station, preset or parameter that there is not, or that cannot be.
    """

    def __init__(
        self,
        station: str = "buckwheat_mill",
        *,
        presets: Mapping[str, Mapping[str, Any]] | None = None,
        plant: Mapping[str, Mapping[str, Any]] | None = None,
        seed: int = 1,
    ) -> None:
        self._runner = _runner()
        scenario = _scenario(self._runner, station, presets or {}, plant or {}, seed)
        self._driver, self._recorded = self._runner.driver(scenario, plant_readings())
        self._ms, self._failing = 0, dict[str, None]()

    # ---- what is done: it acts from the next scan on ---------------------------------------------------
    def start(self) -> None:
        """Presses the start button."""
        self.command("start")

    def stop(self) -> None:
        """Presses the stop button."""
        self.command("stop")

    def command(self, name: str, source: str = "panel") -> None:
        """Any command of a scenario file, as halt, reset or clean; from panel, socket or remote."""
        self._driver.do(Action("command", name, 1, source=source))

    def set(self, point: str, value: int) -> None:
        """Sets an input that no instrument drives, as `plant_enable`."""
        self._driver.do(Action("set", point, value))

    def fail(self, mode: str, amount: float = 1.0, grows: str = "") -> None:
        """A failure mode begins, whole or in part, at once or growing to it in a time."""
        if mode not in SLOTS:
            msg = f"no failure mode {mode!r}{did_you_mean(mode, SLOTS)}"
            raise ValueError(msg)
        self._driver.do(Action("fail", mode, amount, milliseconds(grows) if grows else 0))
        self._failing[mode] = None

    def mend(self, mode: str) -> None:
        """A failure mode ends."""
        self._driver.do(Action("mend", mode, 0))
        self._failing.pop(mode, None)

    def release(self) -> None:
        """All failure modes end."""
        for mode in list(self._failing):
            self.mend(mode)

    # ---- time ------------------------------------------------------------------------------------------
    def run(self, lasts: str) -> None:
        """Runs for a time, as 500ms or 2m30s."""
        self._driver.run_until(self.ms + milliseconds(lasts))

    def run_until(self, what: str, within: str = "10m") -> int:
        """
        Runs until a step or a state is entered, or a condition is true; how long it took [ms].

        Raises:
            NotSeen: It did not come within the time.
            ValueError: It is neither a step, a state nor a condition.
        """
        begun, limit_ms = self.ms, self.ms + milliseconds(within)
        steps: tuple[int, ...] = tuple(STATES.get(what.upper(), ()))
        if what.upper() in Step.__members__:
            steps = (Step[what.upper()].value,)
        came = (
            self._driver.enters(steps, limit_ms)
            if steps
            else self._driver.comes_true(self._read(what), limit_ms, again=False)
        )
        if not came:
            raise self._not_seen(what, f"did not come within {within}")
        return self.ms - begun

    # ---- what is looked at -----------------------------------------------------------------------------
    def expect(self, condition: str, within: str = "") -> int:
        """A condition is true now, or within a time; how long it took [ms]. Raises as `run_until`."""
        if self.ms and self.now(condition):
            return 0
        if not within:
            raise self._not_seen(condition, "is not so")
        self._read(condition)
        return self.run_until(condition, within)

    def now(self, condition: str) -> bool:
        """Whether a condition is true in the last scan."""
        read = self._read(condition)
        last = [p.columns.whole(read.rule)[-1] for p in self._recorded(self._driver.chunks[-1:]).pieces()]
        return bool(last and last[-1])

    def never(self, condition: str) -> None:
        """Raises NotSeen if a condition was true in any scan since power-up."""
        rule = self._read(condition).rule
        for piece in self.recording.pieces():
            for k, true in enumerate(piece.columns.whole(rule)):
                if true:
                    at_ms = piece.first_ms + k * SCAN_MS
                    raise self._not_seen(condition, "never may be so, and was", at_ms)

    @property
    def ms(self) -> int:
        """Time since power-up."""
        chunks = self._driver.chunks
        return chunks[-1].first_ms + (chunks[-1].scans - 1) * SCAN_MS if chunks else 0

    @property
    def step(self) -> str:
        """Where the sequence stands, by name."""
        return next(s.name for s in Step if self.now(f"step == {s.name}"))

    @property
    def recording(self) -> Recording:
        """All scans so far, with every fact of each."""
        return self._recorded(self._driver.chunks)

    def _read(self, condition: str) -> Condition:
        return self._runner.reader.read(condition)

    def _not_seen(self, what: str, said: str, at_ms: int | None = None) -> NotSeen:
        assert self._runner.engine is not None
        at_ms = self.ms if at_ms is None else at_ms
        scene = self.recording.scene(at_ms, self._runner.engine)
        lines = [
            f"`{what}` {said}; at {typed(at_ms)}:",
            *(f"  {line}" for line in (grounds(scene) if scene else ())),
        ]
        return NotSeen("\n".join(lines))


@cache
def _runner() -> Runner:
    return Runner(few=True)


def _scenario(runner: Runner, station: str, presets: Any, plant: Any, seed: int) -> Scenario:
    """A scenario without events, read as any other: so everything in it is checked."""
    head = {"title": "a test", "why": "a test", "station": station, "seed": seed}
    head |= {"presets": presets, "plant": plant}
    with TemporaryDirectory() as folder:
        file = Path(folder) / "receiver_of_a_test.yaml"
        file.write_text(json.dumps(head | {"timeline": [{"at": "10ms"}]}), encoding="utf-8")
        return runner.load(file, station_folder)
