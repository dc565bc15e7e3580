"""Where the points stand in the four tables of a Modbus server, and how the two ends meet."""

import ipaddress
from typing import Literal, NamedTuple

from controller.points import ANALOGS

Table = Literal["coil", "discrete_input", "holding_register", "input_register"]
Type = Literal["bool", "uint16", "int16", "uint32", "int32", "float32"]
WordOrder = Literal["ABCD", "CDAB", "BADC", "DCBA"]
Role = Literal["client", "server"]
Side = Literal["controller", "device"]

HIGHEST_UA = 24_000
"""More than any 4-20 mA loop drives; what is beyond is cut to it, and reads as failed (NAMUR NE 43)."""

BIT_TABLES: tuple[Table, ...] = ("coil", "discrete_input")
CLIENT_WRITES: tuple[Table, ...] = ("coil", "holding_register")
"""Application protocol V1.1b3, 4.3: the other two are read only."""


class Place(NamedTuple):
    """Where one point stands, and how its number is made."""

    name: str  # of the point; "life" or "identity" for those
    table: Table
    address: int  # in the protocol, 0-based
    type: Type = "uint16"
    bit: int | None = None  # of a register, 0 is the least significant
    scale: float = 1.0  # value = raw x scale + offset, in whole uA
    offset: float = 0.0
    invert: bool = False
    word_order: WordOrder = "ABCD"

    @property
    def size(self) -> int:
        """Addresses it takes."""
        return 2 if self.type in ("uint32", "int32", "float32") else 1

    @property
    def highest(self) -> int:
        """The most that the image gets from it; the least is 0."""
        return HIGHEST_UA if self.name in ANALOGS else 0xFFFF


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


def reached_from_here_alone(host: str) -> bool:
    """Whether an address to listen on is this machine's own loopback."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
