"""The picture of one cycle, as SVG: steps, outputs, switches and physical values over time."""

from pathlib import Path

from controller.records import CycleRecord
from controller.simulate.station_loop import Segment


class CyclePicture:
    """Keeps the columns of a cycle."""

    def take(self, segment: Segment) -> None: ...
    def cycle_ended(self, record: CycleRecord) -> None: ...
    def draw(self, out: Path, station: str) -> list[str]:
        return []
