"""
The map of a station: modbus.yaml says where each wired point stands in the tables of the Modbus server.

One file for both ends: the simulated device takes the other role with the same map. Addresses are those of the
protocol (0-based); the number printed in a manual may stand beside them and must then agree.
"""

from pathlib import Path
from typing import Literal, NamedTuple

from controller.points import PointList

Table = Literal["coil", "discrete_input", "holding_register", "input_register"]
Type = Literal["bool", "uint16", "int16", "uint32", "int32", "float32"]
WordOrder = Literal["ABCD", "CDAB", "BADC", "DCBA"]
Role = Literal["client", "server"]


class Place(NamedTuple):
    """Where one point stands, and how its number is made."""

    name: str  # of the point; "life" or "identity" for those
    table: Table
    address: int  # in the protocol, 0-based
    type: Type
    bit: int | None  # of a register, 0 is the least significant
    scale: float  # value = raw x scale + offset, in whole uA
    offset: float
    invert: bool
    word_order: WordOrder

    @property
    def size(self) -> int:
        """Addresses it takes."""
        return 2 if self.type in ("uint32", "int32", "float32") else 1


class Link(NamedTuple):
    """How the two ends meet. `role` is the Modbus role of the controller; the device has the other."""

    role: Role
    host: str
    port: int
    unit: int
    timeout_ms: int
    retries: int
    poll_ms: int
    connections_max: int
    idle_s: int
    allow: tuple[str, ...]  # addresses that may connect; empty: this machine alone


class PointMap(NamedTuple):
    """The map of a station, checked whole."""

    file: str
    link: Link
    watchdog_ms: int
    inputs: tuple[Place, ...]
    outputs: tuple[Place, ...]
    controller_life: Place
    device_life: Place | None
    identity: tuple[Place, int] | None  # a register of the server, and what the client must find there


def load_point_map(folder: Path, points: PointList) -> PointMap:
    """
    The map of a station, whole.

    Raises:
        StationError: every problem of modbus.yaml: what is wrong in itself, points without a place or beside the
            list, places that overlap or cannot be written by the end that must.
    """
    raise NotImplementedError
