"""
A Modbus/TCP peer over plain sockets: answers rightly, or in the ways that no good library can.

Frames after "MODBUS Messaging on TCP/IP Implementation Guide" V1.0b, 3.1.3 (header) and "MODBUS Application Protocol
Specification" V1.1b3, clause 6 (functions) and 7 (exception codes). Written on asyncio streams alone, so that it
shares no mistake with a Modbus library.
"""

import asyncio
import socket
import struct
from collections.abc import Callable, Iterable
from typing import NamedTuple, Self

BITS, WORDS = {1: "coil", 2: "discrete_input"}, {3: "holding_register", 4: "input_register"}
READS, WRITES = (1, 2, 3, 4), (5, 6, 15, 16)
MOST = {1: 2000, 2: 2000, 3: 125, 4: 125, 15: 1968, 16: 123}


class Reset:
    """Instead of bytes: the connection ends with RST."""


class Hangup:
    """Instead of bytes: the connection ends with FIN."""


class Exchange(NamedTuple):
    """One request with the reply that would be right, and the ones that were held back before it."""

    request: bytes
    reply: bytes
    held: list[bytes]


Sent = bytes | Reset | Hangup
Fault = Callable[[Exchange], Iterable[Sent]]


def right(exchange: Exchange) -> Iterable[Sent]:
    return [exchange.reply]


def frame(transaction: int, unit: int, pdu: bytes) -> bytes:
    return struct.pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu


class Refused(Exception):  # noqa: N818 (an answer, not an error)
    """A request that is answered by an exception code."""


class FaultServer:
    """
    Four tables of 65,536 values each, reached by FC 01-06, 0F and 10.

    `fault` answers the requests that `strikes` accepts; each bytes object goes out as a segment of its own.
    `before` is called ahead of every answer: a device whose life counter moves. `requests` are the frames that came.
    """

    def __init__(self, unit: int = 1) -> None:
        self.unit = unit
        self.tables: dict[str, list[int]] = {name: [0] * 65_536 for name in (*BITS.values(), *WORDS.values())}
        self.fault: Fault = right
        self.strikes: Callable[[bytes], bool] = lambda request: True
        self.before: Callable[[], None] = lambda: None
        self.requests: list[bytes] = []
        self.connections = 0
        self.held: list[bytes] = []
        self._serving: dict[asyncio.StreamWriter, asyncio.Task[None]] = {}
        self._server: asyncio.Server | None = None
        self.port = 0

    async def __aenter__(self) -> Self:
        await self.listen()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.gone()

    async def listen(self) -> None:
        """Accepts connections, on the same port as before."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]

    async def gone(self, end: Sent = Hangup()) -> None:  # noqa: B008 (a marker without state)
        """Every connection ends and a new one is refused: the device without power."""
        if self._server:
            self._server.close()
        serving = dict(self._serving)
        for writer in serving:
            self._end(writer, end)
        await asyncio.gather(*serving.values(), return_exceptions=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.connections += 1
        task = asyncio.current_task()
        assert task
        self._serving[writer] = task
        writer.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        try:
            while not writer.is_closing():
                header = await reader.readexactly(7)
                request = header + await reader.readexactly(struct.unpack_from(">H", header, 4)[0] - 1)
                await self._answer(request, writer)
        except (asyncio.IncompleteReadError, ConnectionError):
            pass
        finally:
            del self._serving[writer]
            writer.close()

    async def _answer(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        self.requests.append(request)
        self.before()
        reply = frame(struct.unpack_from(">H", request)[0], request[6], self.pdu(request[7:]))
        fault = self.fault if self.strikes(request) else right
        for sent in fault(Exchange(request, reply, self.held)):
            if isinstance(sent, bytes):
                writer.write(sent)
                await writer.drain()
                await asyncio.sleep(0.001)  # the peer reads this segment before the next comes
            else:
                self._end(writer, sent)

    def _end(self, writer: asyncio.StreamWriter, end: Sent) -> None:
        if isinstance(end, Reset):
            off_at_once = struct.pack("ii", 1, 0)
            writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, off_at_once)
            writer.transport.abort()
        else:
            writer.close()

    def pdu(self, request: bytes) -> bytes:
        """The right answer to a request, without header; what it writes is written."""
        try:
            return self._done(request)
        except Refused as code:
            return bytes([request[0] | 0x80, code.args[0]])
        except (struct.error, IndexError):
            return bytes([request[0] | 0x80, 3])

    def _done(self, request: bytes) -> bytes:
        function, address = struct.unpack_from(">BH", request)
        if function not in READS + WRITES:
            raise Refused(1)
        many = function in MOST
        count = struct.unpack_from(">H", request, 3)[0] if many else 1
        if many and not 1 <= count <= MOST[function]:
            raise Refused(3)
        if address + count > 65_536:
            raise Refused(2)
        if function in READS:
            values = self.tables[(BITS | WORDS)[function]][address : address + count]
            data = bits(values) if function in BITS else struct.pack(f">{count}H", *values)
            return bytes([function, len(data)]) + data
        table = self.tables["coil" if function in (5, 15) else "holding_register"]
        table[address : address + count] = written(function, count, request)
        return request[:5]


def bits(values: list[int]) -> bytes:
    """Lowest address in the lowest bit of the first byte."""
    return sum(value << n for n, value in enumerate(values)).to_bytes((len(values) + 7) // 8, "little")


def written(function: int, count: int, request: bytes) -> list[int]:
    if function == 5:
        switched = {0xFF00: 1, 0: 0}.get(struct.unpack_from(">H", request, 3)[0])
        if switched is None:
            raise Refused(3)
        return [switched]
    if function == 6:
        return list(struct.unpack_from(">H", request, 3))
    data = request[6:]
    if len(data) != request[5] or len(data) != (2 * count if function == 16 else (count + 7) // 8):
        raise Refused(3)
    if function == 16:
        return list(struct.unpack(f">{count}H", data))
    return [int.from_bytes(data, "little") >> n & 1 for n in range(count)]
