"""
The answer of a Modbus server to one request, as a function of bytes and tables.

MODBUS Application Protocol Specification V1.1b3, 6.1 to 6.6, 6.11, 6.12, 6.16, 6.17 and 7. Each check comes
in the order of the figure of its function: function, quantity and value (03), then address (02). A request
changes all that it names or, refused, nothing. (pymodbus 3.16 as a server answers a wrong quantity and an
unknown function with `80 01`, and takes any value of a single coil as on.)
"""

import struct
from collections.abc import Callable, Sequence
from typing import Final

from controller.modbus.places import Table
from controller.modbus.requests import READ_MAX, WRITE_MAX

ILLEGAL_FUNCTION: Final = 0x01
ILLEGAL_ADDRESS: Final = 0x02
ILLEGAL_VALUE: Final = 0x03
BUSY: Final = 0x06
NO_SUCH_UNIT: Final = 0x0B  # gateway target device failed to respond

WRITING = frozenset({0x05, 0x06, 0x0F, 0x10, 0x16, 0x17})
"""Functions that change something."""

_BOTH_WRITE_MAX = 121  # of read/write multiple registers, 6.17


class RefusedError(Exception):
    """A request that is answered with an exception code."""

    def __init__(self, code: int) -> None:
        self.code = code
        super().__init__(f"exception {code:02X}")


class Tables:
    """The four tables: only addresses of the map exist, only those that the client owns are written."""

    def __init__(self) -> None:
        self.cells: dict[Table, dict[int, int]] = {table: {} for table in READ_MAX}
        self.writable: set[tuple[Table, int]] = set()
        self.before_write: Callable[[], None] = lambda: None  # may refuse
        self.when_read: Callable[[Table, int, int], None] = lambda table, start, count: None
        self.when_written: Callable[[Table, int, int], None] = lambda table, start, count: None

    def read(self, table: Table, start: int, count: int) -> list[int]:
        """Cells of a table; the whole request is refused if one does not exist."""
        cells = self.cells[table]
        try:
            found = [cells[address] for address in range(start, start + count)]
        except KeyError:
            raise RefusedError(ILLEGAL_ADDRESS) from None
        self.when_read(table, start, count)
        return found

    def check(self, table: Table, start: int, count: int) -> None:
        """Refuse a request to write if one of its cells is not the client's."""
        if not all((table, address) in self.writable for address in range(start, start + count)):
            raise RefusedError(ILLEGAL_ADDRESS)

    def write(self, table: Table, start: int, values: Sequence[int]) -> None:
        """Write all of it, or refuse it whole."""
        self.check(table, start, len(values))
        self.before_write()
        self.cells[table].update(zip(range(start, start + len(values)), values, strict=True))
        self.when_written(table, start, len(values))


def answer(pdu: bytes, tables: Tables) -> bytes:
    """The reply to a request of 1 to 253 bytes."""
    function = pdu[0]
    try:
        if function not in _ANSWERS:
            raise RefusedError(ILLEGAL_FUNCTION)
        return _ANSWERS[function](pdu, tables)
    except RefusedError as refused:
        return exception(function, refused.code)


def exception(function: int, code: int) -> bytes:
    """The reply that refuses a request."""
    return bytes((function | 0x80, code))


def bits_packed(bits: Sequence[int]) -> bytes:
    """
    Bits as they are sent, the first in the lowest place; the last byte is filled with zeros.

    >>> bits_packed([1, 0, 1, 1, 0, 0, 1, 1, 1, 0]).hex()
    'cd01'
    """
    number = int("0" + "".join("1" if bit else "0" for bit in reversed(bits)), 2)
    return number.to_bytes((len(bits) + 7) // 8, "little")


def bits_unpacked(raw: bytes, count: int) -> list[int]:
    """The first `count` bits, as 0 and 1."""
    number = int.from_bytes(raw, "little")
    return [number >> place & 1 for place in range(count)]


def _fields(form: str, pdu: bytes) -> tuple[int, ...]:
    """The fields after the function; a request of another length has a wrong value."""
    if len(pdu) != 1 + struct.calcsize(form):
        raise RefusedError(ILLEGAL_VALUE)
    return struct.unpack_from(form, pdu, 1)


def _data(pdu: bytes, at: int, size: int) -> bytes:
    """The data of a request: a byte count at `at` that agrees with the quantity and with what is there."""
    if len(pdu) != at + 1 + size or pdu[at] != size:
        raise RefusedError(ILLEGAL_VALUE)
    return pdu[at + 1 :]


def _within(count: int, most: int) -> int:
    if not 1 <= count <= most:
        raise RefusedError(ILLEGAL_VALUE)
    return count


def _words(raw: bytes) -> tuple[int, ...]:
    return struct.unpack(f">{len(raw) // 2}H", raw)


def _reply(function: int, raw: bytes) -> bytes:
    return bytes((function, len(raw))) + raw


def _read_bits(table: Table) -> Callable[[bytes, Tables], bytes]:
    def read(pdu: bytes, tables: Tables) -> bytes:
        start, count = _fields(">HH", pdu)
        return _reply(pdu[0], bits_packed(tables.read(table, start, _within(count, READ_MAX[table]))))

    return read


def _read_words(table: Table) -> Callable[[bytes, Tables], bytes]:
    def read(pdu: bytes, tables: Tables) -> bytes:
        start, count = _fields(">HH", pdu)
        cells = tables.read(table, start, _within(count, READ_MAX[table]))
        return _reply(pdu[0], struct.pack(f">{count}H", *cells))

    return read


def _write_coil(pdu: bytes, tables: Tables) -> bytes:
    address, value = _fields(">HH", pdu)
    if value not in (0x0000, 0xFF00):
        raise RefusedError(ILLEGAL_VALUE)
    tables.write("coil", address, [int(bool(value))])
    return pdu


def _write_word(pdu: bytes, tables: Tables) -> bytes:
    address, value = _fields(">HH", pdu)
    tables.write("holding_register", address, [value])
    return pdu


def _write_coils(pdu: bytes, tables: Tables) -> bytes:
    start, count = _fields(">HH", pdu[:5])
    raw = _data(pdu, 5, (_within(count, WRITE_MAX["coil"]) + 7) // 8)
    tables.write("coil", start, bits_unpacked(raw, count))
    return pdu[:5]


def _write_words(pdu: bytes, tables: Tables) -> bytes:
    start, count = _fields(">HH", pdu[:5])
    raw = _data(pdu, 5, 2 * _within(count, WRITE_MAX["holding_register"]))
    tables.write("holding_register", start, _words(raw))
    return pdu[:5]


def _mask_word(pdu: bytes, tables: Tables) -> bytes:
    address, keep, put = _fields(">HHH", pdu)
    tables.check("holding_register", address, 1)
    before = tables.cells["holding_register"][address]
    tables.write("holding_register", address, [(before & keep) | (put & ~keep & 0xFFFF)])
    return pdu


def _write_and_read(pdu: bytes, tables: Tables) -> bytes:
    """The write comes before the read (6.17), but not if the read will be refused."""
    start, count, write_start, write_count = _fields(">HHHH", pdu[:9])
    _within(count, READ_MAX["holding_register"])
    raw = _data(pdu, 9, 2 * _within(write_count, _BOTH_WRITE_MAX))
    tables.check("holding_register", write_start, write_count)
    if not all(address in tables.cells["holding_register"] for address in range(start, start + count)):
        raise RefusedError(ILLEGAL_ADDRESS)
    tables.write("holding_register", write_start, _words(raw))
    cells = tables.read("holding_register", start, count)
    return _reply(pdu[0], struct.pack(f">{count}H", *cells))


_ANSWERS: dict[int, Callable[[bytes, Tables], bytes]] = {
    0x01: _read_bits("coil"),
    0x02: _read_bits("discrete_input"),
    0x03: _read_words("holding_register"),
    0x04: _read_words("input_register"),
    0x05: _write_coil,
    0x06: _write_word,
    0x0F: _write_coils,
    0x10: _write_words,
    0x16: _mask_word,
    0x17: _write_and_read,
}
