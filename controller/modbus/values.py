"""
Numbers in registers and bits: word order, scale and sense of one point.

The standard orders the bytes within a register and nothing else (application protocol V1.1b3, 4.2), so four
orders of a 32-bit number occur. The letters name its bytes from the highest, A, in the order they are sent.
"""

import math
import struct
from collections.abc import Sequence

from controller.modbus.places import Place, Type, WordOrder

_FORMS = {"uint16": ">H", "int16": ">h", "uint32": ">I", "int32": ">i", "float32": ">f"}
_BOUNDS = {"uint16": (0, 0xFFFF), "int16": (-0x8000, 0x7FFF),
           "uint32": (0, 0xFFFF_FFFF), "int32": (-0x8000_0000, 0x7FFF_FFFF)}  # fmt: skip


def to_words(number: float, kind: Type, order: WordOrder) -> list[int]:
    """
    A number as registers, rounded and cut to what the type holds.

    >>> [f"{word:04X}" for word in to_words(123.456, "float32", "CDAB")]
    ['E979', '42F6']
    """
    if kind != "float32":
        low, high = _BOUNDS[kind]
        number = min(max(_rounded(number), low), high)
    raw = struct.pack(_FORMS[kind], number)
    return list(struct.unpack(f">{len(raw) // 2}H", _reordered(raw, order)))


def from_words(words: Sequence[int], kind: Type, order: WordOrder) -> float:
    """
    The number in registers; of a float32 it may be infinite or no number.

    >>> from_words([0xF642, 0x79E9], "float32", "BADC") == from_words([0x42F6, 0xE979], "float32", "ABCD")
    True
    """
    raw = _reordered(struct.pack(f">{len(words)}H", *words), order)
    number: float = struct.unpack(_FORMS[kind], raw)[0]
    return number


def point_value(place: Place, cells: Sequence[int]) -> int:
    """What the image gets from the cells of a point: 0 or 1, a count, or whole uA (0 if no number)."""
    if place.type == "bool":
        bit = cells[0] if place.bit is None else cells[0] >> place.bit & 1
        return int(bool(bit) != place.invert)
    number = from_words(cells, place.type, place.word_order)
    if not math.isfinite(number):
        return 0
    return min(max(_rounded(number * place.scale + place.offset), 0), place.highest)


def point_cells(place: Place, value: int) -> list[int]:
    """The cells of a point that has a value; a bit of a register stands alone in its word."""
    if place.type == "bool":
        return [int(bool(value) != place.invert) << (place.bit or 0)]
    return to_words((value - place.offset) / place.scale, place.type, place.word_order)


def _rounded(number: float) -> int:
    return math.floor(number + 0.5)


def _reordered(raw: bytes, order: WordOrder) -> bytes:
    """Between the order sent and the order of the value; the same step leads both ways."""
    words = [raw[i : i + 2] for i in range(0, len(raw), 2)]
    if order in ("CDAB", "DCBA"):
        words.reverse()
    return b"".join(word[::-1] if order in ("BADC", "DCBA") else word for word in words)
