"""
What scenarios are driven on: the promises of a target, and the simulated station in virtual time.

Another target (a controller behind sockets, in real time) keeps the same promises, one scan a chunk.
"""

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple, Protocol

from controller.campaign.conditions import Reading
from controller.image import Inputs, Outputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.simulate.executors import Executor
from controller.simulate.station_loop import StationLoop
from io_sim.parameters import PlantParameters
from io_sim.state import State


class Chunk(NamedTuple):
    """Scans in a row: scan k of them ends at first_ms + k x scan_ms."""

    first_ms: int
    memory: list[int]  # before the first
    inputs: Any  # whole numbers, (scans, inputs)
    readings: Mapping[str, Any]  # of the plant, whole numbers, by the names of conditions
    commanded: Any = None  # outputs and acts of these scans, as they were; None where nobody saw them
    woke: bool = False  # the controller woke before the first scan

    @property
    def scans(self) -> int:
        """How many."""
        return len(self.inputs)

    def first(self, scans: int) -> "Chunk":
        """The first of them."""
        readings = {name: column[:scans] for name, column in self.readings.items()}
        commanded = None if self.commanded is None else self.commanded[:scans]
        return Chunk(self.first_ms, self.memory, self.inputs[:scans], readings, commanded, self.woke)


class Target(Protocol):
    """What a scenario is driven on. Whatever is done acts from the next scan on."""

    scan_ms: int

    @property
    def now_ms(self) -> int:
        """Since power-up."""
        ...

    def advance(self, scans: int) -> Chunk:
        """Up to so many scans, at least one; ends at the latest in the scan that changes the step."""
        ...

    def back_to(self, chunk: Chunk, scans: int) -> Chunk:
        """As if the last `advance` had ended after so many scans."""
        ...

    def step(self) -> int:
        """Where the sequence stands."""
        ...

    def point(self, name: str, value: int) -> None:
        """Sets an input that no instrument drives."""
        ...

    def fail(self, mode: str, amount: float, over_ms: int) -> None:
        """Sets the amount of a failure mode, at once or growing to it; 0 ends it."""
        ...

    def stand(self, ms: int) -> None:
        """The controller is without power for so long; the plant goes on."""
        ...

    def wake(self) -> None:
        """The controller has power again, with what it keeps."""
        ...

    def reading(self, field: str) -> float:
        """A reading of the plant."""
        ...


class VirtualStation:
    """A simulated station in virtual time."""

    def __init__(
        self,
        logic: Logic,
        presets: Presets,
        plant: PlantParameters,
        executor: Executor,
        readings: Iterable[tuple[str, Reading]],
        seed: int,
        scan_ms: int = 10,
    ) -> None:
        import numpy as np

        self._np = np
        self.loop = StationLoop(logic, presets, plant, executor, seed=seed, scan_ms=scan_ms)
        self.logic, self.scan_ms, self._readings = logic, scan_ms, dict(readings)
        names = (*Outputs._fields, *logic.interlock_names)
        self._commanded = [self.loop.places[name] for name in names]
        self._before = self.loop.kept()
        self._woke = True

    @property
    def now_ms(self) -> int:
        """Since power-up, virtual."""
        return self.loop.now_ms

    def advance(self, scans: int) -> Chunk:
        """As promised."""
        self._before = self.loop.kept()
        woke, self._woke = self._woke, False
        segment = self.loop.run(scans)
        count, width, np = segment.scans, len(State._fields), self._np
        rows = np.array(self.loop.trace[: count * self.loop.row], dtype=np.int64).reshape(
            count, self.loop.row
        )
        inputs, ran = rows[:, : len(Inputs._fields)].copy(), rows[:, self._commanded].astype(np.int8)
        readings = {}
        for name, (field, times) in self._readings.items():
            column = np.array(self.loop.states[State._fields.index(field) : count * width : width])
            readings[name] = np.floor(column * times).astype(np.int64)
        return Chunk(segment.first_ms, segment.memory_before, inputs, readings, ran, woke)

    def back_to(self, chunk: Chunk, scans: int) -> Chunk:
        """As promised: virtual time runs the same scans again."""
        self.loop.restore(self._before)
        self._woke = chunk.woke
        done = self.advance(scans)
        assert done.scans == scans, "the same scans again"
        return done

    def step(self) -> int:
        """As promised."""
        return self.loop.remembers("step")

    def point(self, name: str, value: int) -> None:
        """As promised."""
        self.loop.press(name, value)

    def fail(self, mode: str, amount: float, over_ms: int) -> None:
        """As promised."""
        self.loop.fail(mode, amount, over_ms / 1_000)

    def stand(self, ms: int) -> None:
        """As promised."""
        self.loop.stand(ms)

    def wake(self) -> None:
        """As promised."""
        self.loop.wake({name: self.loop.remembers(name) for name in self.logic.kept})
        self._woke = True

    def reading(self, field: str) -> float:
        """As promised."""
        return self.loop.reading(field)
