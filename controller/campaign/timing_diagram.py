"""A timing diagram in letters: the steps and what the failed condition reads, around the moment it failed."""

from collections.abc import Iterator
from itertools import groupby
from typing import Any

from controller.campaign.judge import Verdict
from controller.campaign.recording import Recording
from controller.campaign.run_table import Table
from controller.campaign.scenario import Scenario
from controller.campaign.windows import Window, window_of
from controller.explain import SAID
from controller.image import FIELD_INPUTS, Inputs, Outputs
from controller.sequence.steps import Step
from controller.simulate.times import typed

BEFORE, AFTER = 44, 16
"""Columns up to the moment, and after it."""
LEAST_MS, MOST_MS = 1_000, 30_000
ROWS = 6
MACHINE = tuple(name for name in Outputs._fields if not name.endswith(("lamp", "horn")))
WIDTHS_MS = (20, 50, 100, 200, 500, 1_000)
ON, OFF, BOTH, LEVELS = "█", "▁", "▌", "▁▂▃▄▅▆▇█"
ASCII = str.maketrans(
    {"█": "#", "▁": "_", "▌": "|", "▼": "v", **dict(zip(LEVELS[1:7], "123456", strict=True))}
)
"""For a terminal that shows no blocks."""


def timing_diagram(
    s: Scenario, recording: Recording, moments: Any, end_ms: int, bad: Verdict
) -> tuple[str, ...]:
    """Lines of a diagram around a bad verdict: time, step, then one row for each thing read or that moved."""
    window = window_of(s, moments, end_ms, bad)
    reads = [r.name for r in window.condition.reads if r.group != "set"] if window.condition else []
    table = Table(recording, [], [*reads, "step"])
    scans = _Scans(table, recording.scan_ms, bad.at_ms, window)
    names = [name for name in dict.fromkeys(reads) if name in table and name not in ("step", "dt_ms")][:ROWS]
    names += [name for name in _moved(scans, s) if name not in names][: ROWS - len(names)]
    wide = max(map(len, [*names, "step"]))
    first = " " * (max(-scans.first_ms, 0) // scans.width_ms) + typed(max(scans.first_ms, 0))
    head = f"{first:<{BEFORE - 1}}▼ {typed(bad.at_ms)}, {typed(scans.width_ms)} a column"
    rows = [(name, scans.row(name)) for name in names]
    lines = [("", head), ("step", scans.steps()), *rows]
    return tuple(f"{name:<{wide}}  {text}".rstrip() for name, text in lines)


class _Scans:
    """The scans around a moment, by columns of the diagram."""

    def __init__(self, table: Table, scan_ms: int, at_ms: int, window: Window) -> None:
        import numpy as np

        self.table, self.scan_ms = table, scan_ms
        times = table.times * scan_ms
        back_ms = min(max(at_ms - self._since(times, at_ms, window), LEAST_MS), MOST_MS)
        self.width_ms = next((w for w in WIDTHS_MS if w * BEFORE >= back_ms), WIDTHS_MS[-1])
        self.first_ms = at_ms - BEFORE * self.width_ms
        edges = self.first_ms + self.width_ms * np.arange(BEFORE + AFTER + 1)
        self.places = np.searchsorted(times, edges, side="right")

    def _since(self, times: Any, at_ms: int, window: Window) -> int:
        """What must be in sight: the beginning of the window, or of the step before."""
        if window.condition is not None and window.first_ms > 0:
            return window.first_ms
        step = self.table["step"]
        ends = times[1:][(step[1:] != step[:-1]) & (times[1:] < at_ms)]
        return int(ends[-2:][0]) if len(ends) else 0

    def parts(self, name: str) -> Iterator[Any]:
        """The values in each column of the diagram; none where nothing was recorded."""
        values = self.table[name]
        for first, last in zip(self.places[:-1], self.places[1:], strict=True):
            yield values[first:last]

    def row(self, name: str) -> str:
        """A row: blocks for a condition, a curve with its extremes for a number."""
        parts = list(self.parts(name))
        whole = self.table[name][self.places[0] : self.places[-1]]
        if whole.dtype == bool or (name in {*Inputs._fields, *Outputs._fields} and not name.endswith("_ua")):
            return "".join(_block(part) for part in parts)
        low, high = int(whole.min()), int(whole.max())
        levels = [
            LEVELS[(int(part.max()) - low) * (len(LEVELS) - 1) // max(high - low, 1)] if len(part) else " "
            for part in parts
        ]
        return f"{''.join(levels)}  {_said(name, low)} to {_said(name, high)}"

    def steps(self) -> str:
        """The steps by name, each as long as it lasted."""
        last = [int(part[-1]) if len(part) else -1 for part in self.parts("step")]
        text = ""
        for step, columns in groupby(last):
            room = len(list(columns))
            text += f"{'|' + Step(step).name if step >= 0 else '':<{room}.{room}}"
        return text


def _moved(scans: _Scans, s: Scenario) -> list[str]:
    """Wired contacts and outputs that move in what is shown; what moves nearest to the moment comes first."""
    found = []
    for name in (*MACHINE, *FIELD_INPUTS):
        values = scans.table[name][scans.places[0] : scans.places[-1]]
        moves = (values[1:] != values[:-1]).nonzero()[0] + 1
        if len(moves) and name in s.station.wired and not name.endswith("_ua"):
            found.append((int(abs(moves + scans.places[0] - scans.places[BEFORE]).min()), name))
    return [name for _, name in sorted(found)]


def _block(part: Any) -> str:
    return " " if not len(part) else ON if part.all() else BOTH if part.any() else OFF


def _said(name: str, value: int) -> str:
    end = next((end for end in sorted(SAID, key=len, reverse=True) if name.endswith(f"_{end}")), "")
    unit, per = SAID.get(end, ("", 1))
    return f"{value / per:g} {unit}".strip()
