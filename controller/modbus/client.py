"""
The asking end: pymodbus sends and receives, and nothing of a reply is used before it is checked here.

The library takes a reply with another function code, with too few or too many registers or with transaction 0
as data, and waits out the whole timeout when the peer has hung up. Every failure ends in a LinkError.
"""

import asyncio
import logging
import socket
import struct
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import NoReturn

from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ConnectionException, ModbusException
from pymodbus.framer.socket import FramerSocket
from pymodbus.pdu import (
    DecodePDU,
    ExceptionResponse,
    ModbusPDU,
    bit_message,
    register_message,
)

from controller.modbus.frames import FramingError, frame_length
from controller.modbus.health import LinkError
from controller.modbus.places import Link, Table
from controller.modbus.requests import Request

logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)  # every failure is told as a LinkError

EXCEPTIONS = {
    1: "illegal function", 2: "illegal data address", 3: "illegal data value", 4: "device failure",
    5: "acknowledge", 6: "device busy", 8: "memory parity error", 10: "gateway path unavailable",
    11: "no answer behind the gateway",
}  # fmt: skip
"""Application protocol V1.1b3, section 7."""

_LINGER = "hh" if sys.platform == "win32" else "ii"
_DROP_UNSENT, _SEND_ALL = struct.pack(_LINGER, 1, 0), struct.pack(_LINGER, 0, 0)
"""SO_LINGER: what the system does with unsent bytes of a closed connection, also of a process that ends."""

_READS: dict[Table, type[ModbusPDU]] = {
    "coil": bit_message.ReadCoilsRequest,
    "discrete_input": bit_message.ReadDiscreteInputsRequest,
    "holding_register": register_message.ReadHoldingRegistersRequest,
    "input_register": register_message.ReadInputRegistersRequest,
}


class Client:
    """
    One connection to a server, one request at a time. A new object for each connection.

    Left to itself the system would go on sending what a cut link has held up, for minutes, and after the end
    of this process too: outputs of long ago would act when the cable is back. So they are dropped.

    Args:
        link: How the two ends meet.
        host: Of the server.
        port: Of the server.
        stale_ms: What the peer has not taken after so long is never sent again.
    """

    def __init__(self, link: Link, host: str, port: int, stale_ms: int) -> None:
        self._link, self._stale_ms = link, stale_ms
        self._peer = f"{host}:{port}"
        self._client = AsyncModbusTcpClient(
            host, port=port, timeout=link.timeout_ms / 1000, retries=0, reconnect_delay=0,
            trace_connect=self._link_changed,
        )  # fmt: skip
        self._client.set_max_no_responses(1_000_000)  # when to hang up is decided by the wire
        self._framer = StrictFramer()
        self._client.ctx.framer = self._framer
        self._not_reached: OSError | None = None

    async def connect(self) -> None:
        """
        Open the connection.

        Raises:
            LinkError: refused, not reachable, no answer in time.
        """
        create = self._client.ctx.call_create

        async def recorded() -> object:
            try:
                return await create()
            except OSError as error:
                self._not_reached = error
                raise

        self._client.ctx.call_create = recorded
        if await self._client.connect():
            self._option(socket.SOL_SOCKET, socket.SO_LINGER, _DROP_UNSENT)
            if hasattr(socket, "TCP_USER_TIMEOUT"):
                self._option(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, self._stale_ms)
            return
        if isinstance(self._not_reached, ConnectionRefusedError):
            self._fail("refused the connection: nothing listens there")
        if self._not_reached:
            self._fail(f"is not reached: {self._not_reached.strerror or self._not_reached}")
        self._fail(f"does not answer the connection within {self._link.timeout_ms} ms")

    async def read(self, request: Request) -> list[int]:
        """
        The cells that a request asks for.

        Raises:
            LinkError: no reply, or one that is not exactly what was asked for.
        """
        asked = _READS[request.table](address=request.start, count=request.count, dev_id=self._link.unit)
        reply = await self._exchange(asked, request)
        if request.table in ("coil", "discrete_input"):
            bits = reply.bits
            if len(bits) != (request.count + 7) // 8 * 8:
                self._fail(f"sent {len(bits)} bits for {_named(request)}")
            return [int(bit) for bit in bits[: request.count]]
        if len(reply.registers) != request.count:
            self._fail(f"sent {len(reply.registers)} registers for {_named(request)}")
        return list(reply.registers)

    async def write(self, request: Request, cells: Sequence[int]) -> None:
        """
        Write the cells of a request, all in one.

        Raises:
            LinkError: not acknowledged; the device may or may not have taken it.
        """
        asked: ModbusPDU
        if request.table == "coil":
            bits = [bool(cell) for cell in cells]
            asked = bit_message.WriteMultipleCoilsRequest(
                address=request.start, bits=bits, dev_id=self._link.unit
            )
        else:
            asked = register_message.WriteMultipleRegistersRequest(
                address=request.start, registers=list(cells), dev_id=self._link.unit
            )
        reply = await self._once(asked, request)  # not again: the next exchange brings what is newer
        if (reply.address, reply.count) != (request.start, request.count):
            self._fail(f"acknowledged {reply.count} at {reply.address} for {_named(request)}")

    def close(self) -> None:
        """Close the connection in order: what was asked for last still goes out. May be called twice."""
        self._option(socket.SOL_SOCKET, socket.SO_LINGER, _SEND_ALL)
        self._client.close()

    def give_up(self) -> None:
        """End the connection: what was asked for and has not gone out never does."""
        transport = self._client.ctx.transport
        if isinstance(transport, asyncio.Transport):
            transport.abort()
        self._client.close()

    def _option(self, level: int, name: int, value: int | bytes) -> None:
        transport = self._client.ctx.transport
        if transport:
            with suppress(OSError):  # the peer has ended it: nothing goes out any more
                transport.get_extra_info("socket").setsockopt(level, name, value)

    async def _exchange(self, asked: ModbusPDU, request: Request) -> ModbusPDU:
        for attempts_left in range(self._link.retries, -1, -1):
            try:
                return await self._once(asked, request)
            except LinkError as error:
                if error.broken or not attempts_left:
                    raise
        raise AssertionError

    async def _once(self, asked: ModbusPDU, request: Request) -> ModbusPDU:
        ctx = self._client.ctx
        self._framer.expect(asked)
        if ctx.recv_buffer or self._framer.wrong:
            self._fail("sent bytes that belong to no reply")
        try:
            reply: ModbusPDU = await self._client.execute(False, asked)
        except ConnectionException:
            self._fail("closed the connection")
        except ModbusException:
            wrong = self._framer.wrong or ("sent part of a reply" if ctx.recv_buffer else "")
            asked_for = f"{_named(request)} as unit {self._link.unit} within {self._link.timeout_ms} ms"
            instead = f": {self._framer.passed_over}" if self._framer.passed_over else ""
            self._fail(f"{wrong or 'does not answer'} to {asked_for}{instead}", broken=bool(wrong))
        if isinstance(reply, ExceptionResponse):
            code = reply.exception_code
            self._fail(
                f"answers {_named(request)} with exception {code:02X}, {EXCEPTIONS.get(code, 'unknown')}",
                broken=False,
            )
        return reply

    def _link_changed(self, up: bool) -> None:
        """What is asked for will not come any more when the peer has hung up."""
        waiting = self._client.ctx.response_future
        if not up and not waiting.done():
            waiting.set_exception(ConnectionException("closed"))
            waiting.exception()  # looked at, where nobody waits

    def _fail(self, said: str, *, broken: bool = True) -> NoReturn:
        msg = f"device at {self._peer} {said}"
        raise LinkError(msg, broken=broken) from None


class StrictFramer(FramerSocket):
    """The library's framing, with what it lets pass kept out: only the exact reply to what was asked."""

    def __init__(self) -> None:
        super().__init__(DecodePDU(False))
        self.wrong = ""  # why the stream cannot be trusted any more
        self.passed_over = ""  # the last whole frame that was no answer to the request that waits
        self._expected: ModbusPDU | None = None

    def expect(self, asked: ModbusPDU) -> None:
        """The request that will wait for its reply."""
        self._expected, self.passed_over = asked, ""

    def handleFrame(self, data: bytes, exp_devid: int, exp_tid: int) -> tuple[int, ModbusPDU | None]:  # noqa: N802
        """The reply to the request that waits, if it is in the data; other whole frames are passed over."""
        used, found = 0, None
        if self.wrong:
            return len(data), None
        try:
            while (length := frame_length(data[used:])) and len(data) - used >= length:
                frame, used = data[used : used + length], used + length
                if frame[6] != exp_devid:
                    self.passed_over = f"it answers as unit {frame[6]}"
                elif int.from_bytes(frame[:2]) != exp_tid:
                    self.passed_over = "it answers other requests"
                elif not found:
                    found = self._decoded(frame)
        except (FramingError, ModbusException, ValueError, IndexError) as error:
            self.wrong = f"sent what is no reply ({error}), and nothing right"
            return len(data), found
        return used, found

    def _decoded(self, frame: bytes) -> ModbusPDU:
        assert self._expected
        function, size = self._expected.function_code, self._size()
        if frame[7] & 0x7F != function:
            msg = f"function {frame[7]:02X} to a request of {function:02X}"
            raise FramingError(msg)
        exact = 9 if frame[7] > 0x7F else 9 + size if size else 12
        if len(frame) != exact or (size and exact > 9 and frame[8] != size):
            msg = f"{len(frame)} bytes with byte count {frame[8]} where the reply has {exact}"
            raise FramingError(msg)
        pdu = self.decoder.decode(frame[7:])
        if pdu is None:
            msg = "cannot be decoded"
            raise FramingError(msg)
        pdu.dev_id, pdu.transaction_id = frame[6], int.from_bytes(frame[:2])
        return pdu

    def _size(self) -> int:
        """Bytes of data in the reply to a read; 0 for the reply to a write."""
        assert self._expected
        if self._expected.function_code in (1, 2):
            return (self._expected.count + 7) // 8
        return 2 * self._expected.count if self._expected.function_code in (3, 4) else 0


def _named(request: Request) -> str:
    """A request in words: its table, its first address and how many."""
    return f"{request.table} {request.start} x {request.count}"
