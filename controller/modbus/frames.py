"""
Frames on the stream: the header that goes before each request and reply over TCP (MBAP).

Modbus Messaging on TCP/IP Implementation Guide V1.0b, 3.1.3: transaction, protocol (always 0), length of what
follows, unit. A stream whose header is wrong has lost its place and cannot be read any further.
"""

import struct
from collections.abc import Iterator
from typing import NamedTuple

PDU_MAX = 253
_HEADER = struct.Struct(">HHHB")


class Frame(NamedTuple):
    """One request or reply."""

    transaction: int
    unit: int
    pdu: bytes

    def sent(self) -> bytes:
        """The frame as it goes over the stream."""
        return _HEADER.pack(self.transaction, 0, len(self.pdu) + 1, self.unit) + self.pdu


class FramingError(Exception):
    """The header of a frame is wrong: nothing after it can be read."""


def frame_length(buffer: bytes | bytearray) -> int:
    """
    Bytes of the frame that the buffer begins with; 0 while the header is not whole.

    Raises:
        FramingError: protocol or length are not possible; seen as soon as they are there.
    """
    if len(buffer) >= 4 and buffer[2:4] != b"\0\0":
        msg = f"frame with protocol {int.from_bytes(buffer[2:4])}, must be 0"
        raise FramingError(msg)
    if len(buffer) < 6:
        return 0
    length = int.from_bytes(buffer[4:6])
    if not 2 <= length <= PDU_MAX + 1:
        msg = f"frame with length {length}, must be 2 to {PDU_MAX + 1}"
        raise FramingError(msg)
    return 6 + length


def taken(buffer: bytearray) -> Iterator[Frame]:
    """
    The whole frames at the beginning of the buffer, taken out of it one by one; a part of one stays.

    Raises:
        FramingError: a header is wrong; frames before it have been given.
    """
    while (length := frame_length(buffer)) and len(buffer) >= length:
        transaction, _, _, unit = _HEADER.unpack_from(buffer)
        frame = Frame(transaction, unit, bytes(buffer[_HEADER.size : length]))
        del buffer[:length]
        yield frame
