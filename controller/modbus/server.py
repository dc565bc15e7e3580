"""
The answering end: sockets, and the fence around them.

Frames are taken exactly: several in one segment, one in several, each answered in its turn. A stream that has
lost its place is hung up on. Connections are few, known and in use: all else is closed (TCP/IP guide V1.0b,
4.2 and 4.4.2; Modbus itself knows no rights).
"""

import asyncio
import ipaddress
import socket
from collections.abc import Callable

from controller.modbus.answers import NO_SUCH_UNIT, exception
from controller.modbus.frames import Frame, FramingError, taken
from controller.modbus.health import LinkError
from controller.modbus.places import Link, reached_from_here_alone

UNREAD_MAX = 16_384  # bytes of replies that a client leaves lying
SILENT_S = 2.0
"""So long without a request, a client gives way to one that comes where all places are taken."""
AT_ONCE_MAX = 64  # requests in what is received at once: more would hold up all else
ANY_UNIT = (0, 255)  # of a device directly on TCP: guide 4.4.1.2

Answer = Callable[[int, bytes], bytes]
"""The reply to a request of a connection, given as its number."""


class Server:
    """Listens on one address; `answer` gives each reply, `closed` hears of each connection that ends."""

    def __init__(
        self,
        link: Link,
        host: str,
        port: int,
        answer: Answer,
        closed: Callable[[int], None],
        *,
        at_once_max: int = AT_ONCE_MAX,
    ) -> None:
        if not reached_from_here_alone(host) and not link.allow:
            msg = (
                f"{host} is reached from other machines, and Modbus asks nobody who he is: "
                "list in server.allow who may connect, or listen on 127.0.0.1"
            )
            raise LinkError(msg)
        self.link = link
        self.answer = answer
        self.closed = closed
        self.at_once_max = at_once_max
        self.said = ""  # the last client that was turned away, and why
        self.connections: dict[int, _Connection] = {}
        self._host, self._port = host, port
        self._count = 0
        self._server: asyncio.Server | None = None

    async def start(self) -> None:
        """
        Listen.

        Raises:
            LinkError: the address is in use, is not this machine's, or may not be used.
        """
        loop = asyncio.get_running_loop()
        try:
            self._server = await loop.create_server(lambda: _Connection(self), self._host, self._port)
        except OSError as error:
            msg = f"cannot listen on {self._host}:{self._port}: {error.strerror or error}"
            raise LinkError(msg) from None

    @property
    def port(self) -> int:
        """The port it listens on, chosen by the system where 0 was asked for."""
        if self._server and self._server.sockets:
            return int(self._server.sockets[0].getsockname()[1])
        return self._port

    async def close(self) -> None:
        """Stop listening and close every connection; may be called twice."""
        server, self._server = self._server, None
        for connection in list(self.connections.values()):
            connection.hang_up()
        if server:
            server.close()
            await server.wait_closed()

    def let_in(self, connection: "_Connection", address: str) -> int:
        """The number of a new connection; 0 if it is turned away."""
        if self.link.allow and not any(_same(address, allowed) for allowed in self.link.allow):
            self.said = f"{address} was turned away: it is not in server.allow"
            return 0
        if len(self.connections) >= self.link.connections_max and not self._make_room():
            self.said = f"{address} was turned away: all {self.link.connections_max} connections are taken"
            return 0
        self._count += 1
        self.connections[self._count] = connection
        return self._count

    def _make_room(self) -> bool:
        """Hang up on who has been silent longest: a cable that flaps leaves connections that nobody holds."""
        quietest = max(self.connections.values(), key=_Connection.silent_s)
        if quietest.silent_s() < SILENT_S:
            return False
        quietest.turn_out("was silent, and another came")
        return True

    def peer(self, number: int) -> str:
        """The address and port of a connection that is open."""
        return self.connections[number].peer

    def left(self, number: int) -> None:
        """A connection has ended."""
        if self.connections.pop(number, None):
            self.closed(number)


class _Connection(asyncio.Protocol):
    """One client. `used_at` is when its last whole request came: half a frame keeps no connection."""

    def __init__(self, server: Server) -> None:
        self._server = server
        self._buffer = bytearray()
        self._number = 0
        self._loop = asyncio.get_running_loop()
        self._used_at = self._loop.time()
        self._idle: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        address, port = transport.get_extra_info("peername")[:2]
        self.peer = f"[{address}]:{port}" if ":" in address else f"{address}:{port}"
        self._number = self._server.let_in(self, address)
        if not self._number:
            transport.abort()
            return
        transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        self._look_for_idleness()

    def data_received(self, data: bytes) -> None:
        if not self._number:
            return
        self._buffer += data
        try:
            for count, frame in enumerate(taken(self._buffer), 1):
                if count > self._server.at_once_max:
                    self.turn_out(f"sent over {self._server.at_once_max} requests at once")
                    return
                self._used_at = self._loop.time()
                self._transport.write(self._reply(frame).sent())
                if self._transport.get_write_buffer_size() > UNREAD_MAX:
                    self.turn_out("does not read its replies")
                    return
        except FramingError as error:
            self.turn_out(f"sent a {error}")

    def connection_lost(self, exc: Exception | None) -> None:
        if self._idle:
            self._idle.cancel()
        self._server.left(self._number)

    def hang_up(self) -> None:
        """Close at once."""
        self._transport.abort()

    def silent_s(self) -> float:
        """Since its last whole request [s]."""
        return self._loop.time() - self._used_at

    def _reply(self, frame: Frame) -> Frame:
        if frame.unit not in (self._server.link.unit, *ANY_UNIT):
            return frame._replace(pdu=exception(frame.pdu[0], NO_SUCH_UNIT))
        return frame._replace(pdu=self._server.answer(self._number, frame.pdu))

    def _look_for_idleness(self) -> None:
        left_s = self._used_at + self._server.link.idle_s - self._loop.time()
        if left_s <= 0:
            self.turn_out(f"sent no request for {self._server.link.idle_s} s")
        else:
            self._idle = self._loop.call_later(left_s, self._look_for_idleness)

    def turn_out(self, why: str) -> None:
        """Close at once, and say why."""
        self._buffer.clear()
        self._server.said = f"{self._transport.get_extra_info('peername')[0]} was hung up on: it {why}"
        self._transport.abort()


def _same(address: str, allowed: str) -> bool:
    return ipaddress.ip_address(address) == ipaddress.ip_address(allowed)
