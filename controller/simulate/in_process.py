"""The simulated station in this process: what a rig on simulated I/O runs on."""

from pathlib import Path

from controller.clock import Clock
from io_sim.backend import SimulatedIo
from io_sim.settings import load_plant


class InProcess(SimulatedIo):
    """Simulated I/O whose plant can be read."""

    def reading(self, name: str) -> float:
        """A field of the plant's state. Raises ValueError for one that there is not."""
        return self.plant.reading(name)


def in_process(folder: Path, clock: Clock | None, *, scan_ms: int, seed: int = 1) -> InProcess:
    """
    The plant of the station in `folder`, which lives by `clock`, or by its scans alone.

    Raises:
        StationError: plant.yaml is wrong.
    """
    return InProcess(load_plant(folder), clock=clock, scan_ms=scan_ms, seed=seed)
