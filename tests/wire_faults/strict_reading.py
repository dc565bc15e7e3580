"""
What a stream of bytes means, read strictly: an oracle of its own, sharing no line with the product.

After "MODBUS Application Protocol Specification" V1.1b3, clause 6, and the TCP guide V1.0b, 3.1.3. A request that is
not valid to the last byte changes nothing.
"""

import struct
from collections.abc import Iterator
from typing import NamedTuple

OWN_UNITS = (1, 0, 255)


class Framed(NamedTuple):
    transaction: int
    unit: int
    pdu: bytes


class LostPlace(Exception):  # noqa: N818 (the end of a stream, not an error)
    """The header cannot be one: nothing behind it can be read."""


def framed(stream: bytes) -> Iterator[Framed]:
    """Every whole frame; a part of one at the end is left out. Ends in LostPlace where a header is none."""
    while stream:
        if len(stream) >= 4 and stream[2:4] != b"\0\0":
            raise LostPlace
        if len(stream) < 6:
            return
        length = stream[4] * 256 + stream[5]
        if length not in range(2, 255):
            raise LostPlace
        if len(stream) < 6 + length:
            return
        yield Framed(stream[0] * 256 + stream[1], stream[6], stream[7 : 6 + length])
        stream = stream[6 + length :]


Cells = dict[tuple[str, int], int]


def written(pdu: bytes, cells: Cells, writable: set[tuple[str, int]]) -> Cells:
    """What a request changes; empty if it only reads or is not valid. `cells`: all that exist."""
    function, rest = pdu[0], pdu[1:]
    changes: Cells = {}
    if function == 5 and len(rest) == 4 and rest[2:] in (b"\xff\0", b"\0\0"):
        changes = {("coil", first(rest)): int(rest[2] == 255)}
    elif function == 6 and len(rest) == 4:
        changes = {("holding_register", first(rest)): first(rest[2:])}
    elif function == 15 and len(rest) > 4:
        at, count = struct.unpack_from(">HH", rest)
        data = rest[5:]
        if 1 <= count <= 1968 and rest[4] == len(data) == -(-count // 8):
            changes = {("coil", at + n): data[n // 8] >> n % 8 & 1 for n in range(count)}
    elif function == 16 and len(rest) > 4:
        changes = registers(first(rest), first(rest[2:]), rest[4:], 123)
    elif function == 22 and len(rest) == 6:
        at, keep, put = struct.unpack(">HHH", rest)
        now = cells.get(("holding_register", at), 0)
        changes = {("holding_register", at): now & keep | put & ~keep & 0xFFFF}
    elif function == 23 and len(rest) > 8:
        at, count = struct.unpack_from(">HH", rest)
        if 1 <= count <= 125 and all(("holding_register", at + n) in cells for n in range(count)):
            changes = registers(first(rest[4:]), first(rest[6:]), rest[8:], 121)
    return changes if all(cell in writable for cell in changes) else {}


def first(rest: bytes) -> int:
    return rest[0] * 256 + rest[1]


def registers(at: int, count: int, counted: bytes, most: int) -> Cells:
    data = counted[1:]
    if not 1 <= count <= most or not counted[0] == len(data) == 2 * count:
        return {}
    return {("holding_register", at + n): first(data[2 * n :]) for n in range(count)}


def answered(stream: bytes, transaction: int, unit: int, function: int, count: int) -> list[int] | None:
    """The values that a stream of replies gives to a request to read; None where it gives none."""
    try:
        for frame in framed(stream):
            if (frame.transaction, frame.unit) == (transaction, unit):
                return values(frame.pdu, function, count)
    except LostPlace:
        pass
    return None


def values(pdu: bytes, function: int, count: int) -> list[int] | None:
    size = -(-count // 8) if function < 3 else 2 * count
    if len(pdu) != 2 + size or pdu[0] != function or pdu[1] != size:
        return None
    data = pdu[2:]
    if function < 3:
        return [data[n // 8] >> n % 8 & 1 for n in range(count)]
    return [first(data[2 * n :]) for n in range(count)]
