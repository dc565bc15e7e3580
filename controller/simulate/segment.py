"""Scans in a row, cut from what a loop recorded: the simulated one, or the live one on a machine."""

from collections.abc import Sequence
from functools import cache
from typing import Any, NamedTuple, Protocol

from controller.image import Inputs, Outputs
from controller.sequence.logic import Logic


class Layout(NamedTuple):
    """What stands in one row of a recording: inputs, outputs, memory, and which interlocks act."""

    places: dict[str, int]
    row: int


def layout_of(logic: Logic) -> Layout:
    """The layout for a logic; an output that is memory too stands twice, alike."""
    columns = (*Inputs._fields, *Outputs._fields, *logic.memory, *logic.interlock_names)
    places: dict[str, int] = {}
    for place, name in enumerate(columns):
        places.setdefault(name, place)
    return Layout(places, len(columns))


class Recording(Protocol):
    """What segments are cut from."""

    trace: Any  # rows one after the other, flat whole numbers
    layout: Layout
    scan_ms: int

    def readings(self, name: str, scans: int) -> list[float]:
        """A field of the plant over the first scans; empty where no plant tells it."""
        ...


class Segment:
    """
    Scans in a row, in one step with the same interlocks acting, but for the last: it may have changed both.

    `memory_before` is the memory before the first of them.
    """

    def __init__(self, loop: Recording, scans: int, first_ms: int, memory_before: list[int]) -> None:
        self.scans, self.first_ms, self.memory_before = scans, first_ms, memory_before
        self.last_ms = first_ms + (scans - 1) * loop.scan_ms
        self.scan_ms = loop.scan_ms
        self._loop, (self._places, self._row) = loop, loop.layout

    def column(self, name: str) -> list[int]:
        """An input, output, memory or interlock (`<ID>` acts) over these scans."""
        values = self._loop.trace[self._places[name] : self.scans * self._row : self._row]
        return values if isinstance(values, list) else values.tolist()

    def rows(self) -> Any:
        """All that was recorded of these scans, flat, row after row."""
        return self._loop.trace[: self.scans * self._row]

    def after(self, name: str) -> int:
        """An input, output, memory or interlock in the last of these scans."""
        return int(self._loop.trace[(self.scans - 1) * self._row + self._places[name]])

    def acting(self, names: Sequence[str]) -> list[str]:
        """Which of all interlocks, given in their order, act after the last of these scans."""
        end = self.scans * self._row
        acts = self._loop.trace[end - len(names) : end]
        return [name for name, acts in zip(names, acts, strict=True) if acts]

    def reading(self, name: str) -> list[float]:
        """A field of the plant's `State` over these scans; empty where no plant tells it."""
        return self._loop.readings(name, self.scans)

    def memory(self, k: int) -> list[int]:
        """The memory before scan k of these."""
        if k == 0:
            return self.memory_before
        start = (k - 1) * self._row + len(Inputs._fields) + len(Outputs._fields)
        return self._ints(start, len(self.memory_before))

    def inputs(self, k: int) -> list[int]:
        """The inputs of scan k of these."""
        return self._ints(k * self._row, len(Inputs._fields))

    def _ints(self, start: int, count: int) -> list[int]:
        return [int(value) for value in self._loop.trace[start : start + count]]


def whole_memory(logic: Logic, values: Sequence[int]) -> Any:
    """Flat memory as the record that the engine as written takes."""
    return logic.Memory._make([kind(value) for kind, value in zip(_kinds(logic), values, strict=True)])


@cache
def _kinds(logic: Logic) -> tuple[type, ...]:
    return tuple(fact.kind for fact in logic.facts.values() if fact.first is not None)
