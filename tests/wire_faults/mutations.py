"""Requests and replies, and what chance makes of them: the same for the same seed."""

import random
import struct
from collections.abc import Callable

NEAR = (0, 38, 40, 45, 47, 50, 198, 200, 205, 213, 215, 65_535)
"""Addresses at the edges of what exists, within it, and far away."""


def request(chance: random.Random) -> bytes:
    """A PDU as a client could send it; most name what exists."""
    at = chance.choice(NEAR) if chance.random() < 0.9 else chance.randrange(65_536)
    function = chance.choice((1, 2, 3, 4, 5, 5, 6, 6, 15, 15, 15, 16, 16, 16, 22, 23))
    count = (
        chance.choice((1, 1, 2, 3, 5, 8, 14))
        if chance.random() < 0.9
        else chance.choice((0, 121, 123, 125, 1968, 2000))
    )
    head = struct.pack(">BH", function, at)
    if function <= 4:
        return head + struct.pack(">H", count)
    if function == 5:
        return head + (chance.choice((b"\xff\0", b"\0\0")) if chance.random() < 0.8 else chance.randbytes(2))
    if function == 6:
        return head + chance.randbytes(2)
    if function == 22:
        return head + chance.randbytes(4)
    if function == 23:
        head += struct.pack(">HH", count, chance.choice(NEAR[2:5]))
        count = chance.choice((1, 2, 3))
    size = (count + 7) // 8 if function == 15 else 2 * count
    return (head + struct.pack(">HB", count, size & 0xFF) + chance.randbytes(size))[:253]


def frame(chance: random.Random, pdu: bytes, transaction: int | None = None) -> bytes:
    unit = 1 if chance.random() < 0.9 else chance.choice((0, 2, 255))
    transaction = chance.randrange(65_536) if transaction is None else transaction
    return struct.pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu


def flipped(chance: random.Random, raw: bytes) -> bytes:
    at = chance.randrange(len(raw))
    return raw[:at] + bytes([raw[at] ^ 1 << chance.randrange(8)]) + raw[at + 1 :]


def replaced(chance: random.Random, raw: bytes) -> bytes:
    at = chance.randrange(len(raw))
    return raw[:at] + chance.randbytes(1) + raw[at + 1 :]


def shortened(chance: random.Random, raw: bytes) -> bytes:
    return raw[: chance.randrange(len(raw))]


def lengthened(chance: random.Random, raw: bytes) -> bytes:
    return raw + chance.randbytes(chance.randrange(1, 5))


def holed(chance: random.Random, raw: bytes) -> bytes:
    at = chance.randrange(len(raw))
    return raw[:at] + raw[at + chance.randrange(1, 4) :]


def stuffed(chance: random.Random, raw: bytes) -> bytes:
    at = chance.randrange(len(raw))
    return raw[:at] + chance.randbytes(chance.randrange(1, 4)) + raw[at:]


def doubled(chance: random.Random, raw: bytes) -> bytes:
    return raw * chance.choice((2, 3))


def noise(chance: random.Random, raw: bytes) -> bytes:
    return chance.randbytes(chance.randrange(1, 300))


MUTATIONS: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    flipped, replaced, shortened, lengthened, holed, stuffed, doubled, noise,
)  # fmt: skip


def mutated(chance: random.Random, pdu: bytes, transaction: int | None = None) -> bytes:
    """A frame: a third of them as it should be, a third wrong behind a right header, a third wrong anywhere."""
    kind = chance.random()
    if kind < 1 / 3:
        return frame(chance, pdu, transaction)
    change = chance.choice(MUTATIONS)
    if kind < 2 / 3:
        return frame(chance, change(chance, pdu)[:253] or b"\0", transaction)
    return change(chance, frame(chance, pdu, transaction)) or b"\0"


def cut(chance: random.Random, raw: bytes) -> list[bytes]:
    """The same bytes as the network may deliver them: whole, in two, or one by one."""
    kind = chance.random()
    if kind < 0.6 or not raw:
        return [raw]
    if kind < 0.9:
        at = chance.randrange(len(raw) + 1)
        return [part for part in (raw[:at], raw[at:]) if part]
    return [raw[at : at + 1] for at in range(len(raw))]
