"""What a live loop records of its scans, cut into segments as those of the simulated loop."""

from collections.abc import Callable, Sequence
from typing import Any

from controller.engines.as_written import Scanned
from controller.image import Inputs
from controller.sequence.logic import Logic
from controller.simulate.segment import Layout, Segment, layout_of

BLOCK = 100
"""Scans in a segment at the most: what happened is on its way to the records a second later."""

Reading = Callable[[str], float]


class _Block:
    """The recording of one segment. Its rows are its own, so they may be written while scans go on."""

    def __init__(self, layout: Layout, scan_ms: int, trace: list[int], plant: dict[str, float]) -> None:
        self.layout, self.scan_ms, self.trace, self._plant = layout, scan_ms, trace, plant

    def readings(self, name: str, scans: int) -> list[float]:
        """Of the plant after the last scan; empty without one."""
        return [self._plant[name]] if name in self._plant else []


class LiveScans:
    """Feed it every scan; it gives a segment where one ends."""

    def __init__(self, logic: Logic, scan_ms: int, plant: Sequence[str] = (), reading: Reading | None = None):
        """
        Nothing recorded yet.

        Args:
            logic: What runs.
            scan_ms: Time from scan to scan where none is missed.
            plant: Fields of the plant that are kept with a segment.
            reading: Tells a field of the plant; None on a real machine.
        """
        self._layout, self._scan_ms = layout_of(logic), scan_ms
        self._fields, self._reading = plant, reading
        self._rows: list[int] = []
        self._before: list[int] = []
        self._scans = 0
        self.now_ms = 0
        """End of the last scan, since power-up."""
        memory = list(logic.memory)
        self._ends = memory.index("step"), memory.index("hold_reason")
        self._acts: Sequence[int] = [0] * len(logic.interlock_names)

    @property
    def layout(self) -> Layout:
        """What stands in a row."""
        return self._layout

    def take(self, dt_ms: int, memory: Any, inputs: Inputs, done: Scanned, cut: bool) -> list[Segment]:
        """
        One scan.

        Args:
            dt_ms: The time since the one before; a scan that came late is a segment by itself.
            memory: Before it.
            inputs: As the sequence saw them.
            done: What it did.
            cut: The segment ends with this scan, whatever it did.
        """
        segments = self.cut() if dt_ms != self._scan_ms else []
        if not self._scans:
            self._before = [int(value) for value in memory]
        self._rows += map(int, (*inputs, *done.outputs, *done.memory, *done.acts))
        self._scans += 1
        self.now_ms += dt_ms
        changed = done.acts != self._acts or any(memory[k] != done.memory[k] for k in self._ends)
        self._acts = done.acts
        if cut or changed or self._scans == BLOCK or dt_ms != self._scan_ms:
            segments += self.cut(dt_ms)
        return segments

    def cut(self, dt_ms: int | None = None) -> list[Segment]:
        """The segment that stands open, if one does."""
        if not self._scans:
            return []
        scan_ms, scans = dt_ms or self._scan_ms, self._scans
        plant = {name: self._reading(name) for name in self._fields} if self._reading else {}
        block = _Block(self._layout, scan_ms, self._rows, plant)
        first_ms = self.now_ms - (scans - 1) * scan_ms
        self._rows, self._scans = [], 0
        return [Segment(block, scans, first_ms, self._before)]
