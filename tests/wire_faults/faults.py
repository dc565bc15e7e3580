"""
What a peer on Modbus/TCP can do wrong, one function each: from a request and its right reply to what is sent.

The rows: "MODBUS Messaging on TCP/IP Implementation Guide" V1.0b 3.1.3 and 4.4.1.3 (what a client compares in a
reply), "MODBUS Application Protocol Specification" V1.1b3 clause 7 (exception codes), and what TCP allows.
"""

import random
import struct

from wire_faults.fault_server import Exchange, Fault, Hangup, Reset, Sent, frame

EXCEPTION_CODES = (0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x0A, 0x0B)


def transaction_plus(difference: int) -> Fault:
    def fault(exchange: Exchange) -> list[Sent]:
        transaction = struct.unpack_from(">H", exchange.reply)[0]
        return [struct.pack(">H", (transaction + difference) & 0xFFFF) + exchange.reply[2:]]

    return fault


def transaction_zero(exchange: Exchange) -> list[Sent]:
    return [b"\0\0" + exchange.reply[2:]]


def wrong_protocol(exchange: Exchange) -> list[Sent]:
    return [exchange.reply[:2] + b"\0\1" + exchange.reply[4:]]


def wrong_unit(exchange: Exchange) -> list[Sent]:
    return [exchange.reply[:6] + bytes([exchange.reply[6] ^ 7]) + exchange.reply[7:]]


def wrong_function(exchange: Exchange) -> list[Sent]:
    """Another function with the same form of reply: 01 and 02, 03 and 04, 05 and 06, 0F and 10."""
    other = {1: 2, 2: 1, 3: 4, 4: 3, 5: 6, 6: 5, 15: 16, 16: 15}[exchange.reply[7]]
    return [exchange.reply[:7] + bytes([other]) + exchange.reply[8:]]


def with_data(exchange: Exchange, data: bytes) -> list[Sent]:
    head = exchange.reply
    return [frame(struct.unpack_from(">H", head)[0], head[6], bytes([head[7], len(data)]) + data)]


def too_few(exchange: Exchange) -> list[Sent]:
    """One register, or one byte of bits, less than was asked for; header and byte count agree with what is sent."""
    return with_data(exchange, exchange.reply[9 : -2 if exchange.reply[7] in (3, 4) else -1])


def too_many(exchange: Exchange) -> list[Sent]:
    return with_data(exchange, exchange.reply[9:] + (b"\1\1" if exchange.reply[7] in (3, 4) else b"\1"))


def half_too_many(exchange: Exchange) -> list[Sent]:
    """One byte more than was asked for, and the byte count says so: of registers the half of one."""
    return with_data(exchange, exchange.reply[9:] + b"\1")


def padded(exchange: Exchange) -> list[Sent]:
    """Two bytes behind the data, in the frame but not in the byte count."""
    transaction = struct.unpack_from(">H", exchange.reply)[0]
    return [frame(transaction, exchange.reply[6], exchange.reply[7:] + b"\1\1")]


def empty(exchange: Exchange) -> list[Sent]:
    return with_data(exchange, b"")


def byte_count_plus(difference: int) -> Fault:
    """The byte count lies, the header and the data are right."""

    def fault(exchange: Exchange) -> list[Sent]:
        count = (exchange.reply[8] + difference) & 0xFF
        return [exchange.reply[:8] + bytes([count]) + exchange.reply[9:]]

    return fault


def length_plus(difference: int) -> Fault:
    """The length of the header lies."""

    def fault(exchange: Exchange) -> list[Sent]:
        length = struct.unpack_from(">H", exchange.reply, 4)[0] + difference
        return [exchange.reply[:4] + struct.pack(">H", max(0, length)) + exchange.reply[6:]]

    return fault


def echoes_other_address(exchange: Exchange) -> list[Sent]:
    """The answer to a write names another address."""
    return [exchange.reply[:9] + bytes([exchange.reply[9] ^ 1]) + exchange.reply[10:]]


def echoes_other_quantity(exchange: Exchange) -> list[Sent]:
    return [exchange.reply[:11] + bytes([exchange.reply[11] ^ 1])]


def cut_short(exchange: Exchange) -> list[Sent]:
    """The reply stops in the middle and the link stays."""
    return [exchange.reply[: len(exchange.reply) // 2]]


def split_at(cut: int) -> Fault:
    def fault(exchange: Exchange) -> list[Sent]:
        return [part for part in (exchange.reply[:cut], exchange.reply[cut:]) if part]

    return fault


def byte_by_byte(exchange: Exchange) -> list[Sent]:
    return [bytes([byte]) for byte in exchange.reply]


def late(exchange: Exchange) -> list[Sent]:
    """Each reply comes when the next request has come; that one's own is held in its turn."""
    due = [*exchange.held]
    exchange.held[:] = [exchange.reply]
    return [*due]


def late_before_right(exchange: Exchange) -> list[Sent]:
    """Every other reply is held, and sent just ahead of the next one, in the same segment."""
    if not exchange.held:
        exchange.held[:] = [exchange.reply]
        return []
    return [exchange.held.pop() + exchange.reply]


def late_after_right(exchange: Exchange) -> list[Sent]:
    """Out of order: every other reply is held, and sent after the next one."""
    if not exchange.held:
        exchange.held[:] = [exchange.reply]
        return []
    return [exchange.reply, exchange.held.pop()]


def duplicated(exchange: Exchange) -> list[Sent]:
    return [exchange.reply, exchange.reply]


def merged_twice(exchange: Exchange) -> list[Sent]:
    """The reply and its double in one segment."""
    return [exchange.reply * 2]


def stale_copy(exchange: Exchange) -> list[Sent]:
    """The first reply of each function is sent for ever, under the transaction of the request."""
    first = next((held for held in exchange.held if held[7] == exchange.reply[7]), None)
    if first is None:
        exchange.held.append(exchange.reply)
        return [exchange.reply]
    return [exchange.reply[:2] + first[2:]]


def garbage(exchange: Exchange) -> list[Sent]:
    """As many bytes as the reply has, drawn by chance from the request: the same in every run."""
    return [random.Random(exchange.request).randbytes(len(exchange.reply))]


def garbage_ahead(exchange: Exchange) -> list[Sent]:
    return [b"\xa5\x5a\xff" + exchange.reply]


def silent(exchange: Exchange) -> list[Sent]:
    """Takes the request and says nothing; the link stays: half open."""
    return []


def reset(exchange: Exchange) -> list[Sent]:
    return [Reset()]


def reset_in_reply(exchange: Exchange) -> list[Sent]:
    return [exchange.reply[:5], Reset()]


def hangup(exchange: Exchange) -> list[Sent]:
    return [Hangup()]


def exception(code: int) -> Fault:
    def fault(exchange: Exchange) -> list[Sent]:
        transaction = struct.unpack_from(">H", exchange.reply)[0]
        return [frame(transaction, exchange.reply[6], bytes([exchange.request[7] | 0x80, code]))]

    return fault


def exception_of_other_function(exchange: Exchange) -> list[Sent]:
    transaction = struct.unpack_from(">H", exchange.reply)[0]
    return [frame(transaction, exchange.reply[6], bytes([exchange.request[7] ^ 1 | 0x80, 4]))]


HARMLESS: dict[str, Fault] = {
    **{f"split at byte {cut}": split_at(cut) for cut in range(1, 13)},
    "byte by byte": byte_by_byte,
    "duplicated": duplicated,
    "reply and its double in one segment": merged_twice,
}
"""A good client goes on."""

ANY: dict[str, Fault] = {
    "transaction one too high": transaction_plus(1),
    "transaction one too low": transaction_plus(-1),
    "transaction zero": transaction_zero,
    "wrong protocol": wrong_protocol,
    "wrong unit": wrong_unit,
    "wrong function": wrong_function,
    "header length one too high": length_plus(1),
    "header length one too low": length_plus(-1),
    "header length nought": length_plus(-300),
    "cut short": cut_short,
    "late": late,
    "garbage": garbage,
    "garbage ahead": garbage_ahead,
    "silent": silent,
    "reset": reset,
    "reset within a reply": reset_in_reply,
    "hangs up": hangup,
    "exception of another function": exception_of_other_function,
    **{f"exception {code:02X}": exception(code) for code in EXCEPTION_CODES},
}
"""Whatever was asked: a fault."""

READING: dict[str, Fault] = {
    "one register too few": too_few,
    "one register too many": too_many,
    "half a register too many": half_too_many,
    "bytes behind the data": padded,
    "no data": empty,
    "byte count one too high": byte_count_plus(1),
    "byte count one too low": byte_count_plus(-1),
    "byte count 255": byte_count_plus(255),
}

WRITING: dict[str, Fault] = {
    "echoes another address": echoes_other_address,
    "echoes another quantity": echoes_other_quantity,
    "bytes behind the echo": padded,
}
