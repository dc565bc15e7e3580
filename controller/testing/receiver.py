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
from collections.abc import Collection, Mapping
from functools import cache
from typing import Any

from controller.campaign.conditions import Condition, plant_readings
from controller.campaign.patterns import pattern
from controller.campaign.recording import Recording
from controller.campaign.results import grounds
from controller.campaign.runner import Runner
from controller.campaign.scenario import SCAN_MS, Action, Scenario
from controller.campaign.scenario_file import COMMANDS, SOURCES
from controller.campaign.target import Chunk
from controller.campaign.words import point_and_value, steps_named
from controller.problems import did_you_mean
from controller.sequence.steps import Step
from controller.simulate.parts_fitted import can_fail
from controller.simulate.times import milliseconds, typed
from controller.stations import station_folder


class NotSeen(AssertionError):  # noqa: N818, says what is wrong
    """What was expected did not come, or what never may did; says when, and on what grounds."""


class Receiver:
    """
    One simulated station from power-up on.

    A name that there is not, a value that cannot be, or a part that the station has not raises ValueError;
    what looks at scans before the first one has run, too.

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
        self._scenario = _scenario(self._runner, station, presets or {}, plant or {}, seed)
        self._driver, self._recorded = self._runner.driver(self._scenario, plant_readings())
        self._failing = dict[str, None]()

    # ---- what is done: it acts from the next scan on ---------------------------------------------------
    def start(self) -> None:
        """Presses the start button."""
        self.command("start")

    def stop(self) -> None:
        """Presses the stop button."""
        self.command("stop")

    def command(self, name: str, source: str = "panel") -> None:
        """Any command of a scenario file, as halt, reset or clean; from panel, socket or remote."""
        _known("command", name, COMMANDS)
        _known("source", source, SOURCES)
        self._driver.do(Action("command", name, 1, source=source))

    def set(self, point: str, value: int | str) -> None:
        """Sets an input that no instrument drives: `plant_enable` on or off (1 or 0), `jog` flap_open_cmd."""
        try:
            found = point_and_value(f"{point} {value}")
        except ValueError:
            if value not in (0, 1):
                raise
            found = point_and_value(f"{point} {'on' if value else 'off'}")
        self._driver.do(Action("set", *found))

    def power_cut(self, lasts: str) -> None:
        """The controller is off for so long and the plant goes on; then its first scan with what it keeps."""
        ms = milliseconds(lasts)
        if ms % SCAN_MS:
            msg = f"a power cut of {lasts} is not whole scans of {SCAN_MS} ms"
            raise ValueError(msg)
        self._driver.do(Action("power_cut", "", ms))
        self._driver.run_until(self.ms + SCAN_MS)

    def fail(self, mode: str, amount: float = 1.0, grows: str = "") -> None:
        """A failure mode begins, whole or in part, at once or growing to it in a time."""
        self._can_fail(mode)
        if not 0 < amount <= 1:
            msg = f"{mode}: the amount is {amount}, must be over 0 and at most 1; `mend` ends it"
            raise ValueError(msg)
        self._driver.do(Action("fail", mode, amount, milliseconds(grows) if grows else 0))
        self._failing[mode] = None

    def mend(self, mode: str) -> None:
        """A failure mode ends."""
        self._can_fail(mode)
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
        try:
            steps = steps_named(what)
        except ValueError as no:
            came = self._driver.comes_true(self._read(what, str(no)), limit_ms, again=False)
        else:
            came = self._driver.enters(steps, limit_ms)
        if not came:
            raise self._not_seen(what, f"did not come within {within}")
        return self.ms - begun

    # ---- what is looked at -----------------------------------------------------------------------------
    def expect(self, condition: str, within: str = "") -> int:
        """A condition is true now, or within a time; how long it took [ms]. Raises as `run_until`."""
        self._read(condition)
        if (self._driver.chunks or not within) and self.now(condition):
            return 0
        if not within:
            raise self._not_seen(condition, "is not so")
        return self.run_until(condition, within)

    def now(self, condition: str) -> bool:
        """Whether a condition is true in the last scan."""
        read = self._read(condition)
        (last,) = self._recorded(self._ran()[-1:]).pieces()
        return bool(last.columns.whole(read.rule)[-1])

    def never(self, condition: str) -> None:
        """
        Raises NotSeen if a condition was true in any scan since power-up.

        Also in the forms of a scenario file: `C for 150ms`, `C unless C for 3s since C`.
        """
        wrong = pattern(condition, self._runner.reader.read)
        times, truths = self._recorded(self._ran()).truths(wrong.conditions)
        broken = times[wrong.broken(times, SCAN_MS, lambda c: truths[c.text])]
        if len(broken):
            raise self._not_seen(condition, "never may be so, and was", int(broken[0]))

    @property
    def ms(self) -> int:
        """Time since power-up."""
        return self._driver.now_ms

    @property
    def step(self) -> str:
        """Where the sequence stands, by name."""
        (last,) = self._recorded(self._ran()[-1:]).pieces()
        return Step(int(last.columns.this("step")[-1])).name

    @property
    def recording(self) -> Recording:
        """All scans so far, with every fact of each."""
        return self._recorded(self._driver.chunks)

    def _read(self, condition: str, else_said: str = "") -> Condition:
        """A condition; of a word alone that is none, what else it may have meant."""
        try:
            return self._runner.reader.read(condition)
        except ValueError as no:
            if not (else_said and condition.isidentifier()):
                raise
            msg = f"{else_said}; {no}"
            raise ValueError(msg) from None

    def _ran(self) -> list[Chunk]:
        if self._driver.chunks:
            return self._driver.chunks
        msg = 'no scan has run yet, so there is nothing to look at: run("1s") first'
        raise ValueError(msg)

    def _can_fail(self, mode: str) -> None:
        s = self._scenario
        can_fail(mode, s.station.receiver.name, s.presets, s.station.wired)

    def _not_seen(self, what: str, said: str, at_ms: int | None = None) -> NotSeen:
        assert self._runner.engine is not None
        at_ms = self.ms if at_ms is None else at_ms
        scene = self.recording.scene(at_ms, self._runner.engine)
        lines = [
            f"`{what}` {said}; at {typed(at_ms)}:",
            *(f"  {line}" for line in (grounds(scene) if scene else ())),
        ]
        return NotSeen("\n".join(lines))


def _known(kind: str, name: str, known: Collection[str]) -> None:
    if name not in known:
        msg = f"no {kind} {name!r}{did_you_mean(name, known)}; there are {', '.join(known)}"
        raise ValueError(msg)


@cache
def _runner() -> Runner:
    return Runner(few=True)


def _scenario(runner: Runner, station: str, presets: Any, plant: Any, seed: int) -> Scenario:
    """A scenario without events, read as any other: so everything in it is checked."""
    head = {"title": "a test", "why": "a test", "station": station, "seed": seed}
    head |= {"presets": presets, "plant": plant}
    text = json.dumps(head | {"timeline": [{"at": "10ms"}]})
    return runner.load_text(text, station_folder, "receiver_of_a_test")
