"""The trace of a run: what a loop ran, written segment by segment."""

from pathlib import Path
from typing import Any, Self

from controller.simulate.segment import Layout, Segment
from controller.trace.header import FILE, Header
from controller.trace.writer import TraceWriter


class RunTrace:
    """
    Leaves the trace of a run in its folder; a context manager.

    Raises:
        TraceError: The file cannot be written.
    """

    def __init__(self, folder: Path, header: Header, layout: Layout) -> None:
        self._writer, self._row = TraceWriter(folder / FILE, header), layout.row
        self._places = [layout.places[name] for name in header.columns[1:]]
        self._split = len(header.inputs), len(header.inputs) + len(header.outputs)
        self._last_ms: int | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._writer.close()

    def take(self, segment: Segment) -> None:
        """The scans of a segment; a new part where they do not follow on the last."""
        if segment.first_ms - segment.scan_ms != self._last_ms:
            self._writer.wake(segment.first_ms, segment.memory_before)
        self._last_ms = segment.last_ms
        values = segment.rows()
        if isinstance(values, list):
            self._by_scan(values, segment)
        else:
            table: Any = values.reshape(segment.scans, self._row)
            self._writer.table(segment.scan_ms, table[:, self._places])

    def _by_scan(self, values: list[int], segment: Segment) -> None:
        inputs, images = self._split
        for start in range(0, len(values), self._row):
            row = [values[start + place] for place in self._places]
            self._writer.scan(segment.scan_ms, row[:inputs], row[inputs:images], row[images:])
