"""
The reporter's end of the channel.

A rig that was killed takes no more lines, but what it sent before is still there to be read; so a line that
cannot be sent is no reason to stop reading.
"""

import asyncio
import socket


class Channel(asyncio.Protocol):
    """Lines in the order they came; made by `opened`."""

    def __init__(self, out: socket.socket) -> None:
        self._out, self._unsent, self._rest = out, b"", b""
        self._transport: asyncio.BaseTransport | None = None
        self._lines: asyncio.Queue[bytes] = asyncio.Queue()

    async def next_line(self) -> bytes:
        """Without its end; empty: the rig is gone, and there is no more."""
        return await self._lines.get()

    def send(self, lines: bytes) -> None:
        """As far as the rig takes them now; the rest with the next. A rig that is gone takes all of them."""
        self._unsent += lines
        try:
            while self._unsent:
                self._unsent = self._unsent[self._out.send(self._unsent) :]
        except BlockingIOError:
            pass
        except OSError:
            self._unsent = b""

    def close(self) -> None:
        """The rig sees that it is over."""
        self._out.close()
        if self._transport:
            self._transport.close()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Called by asyncio."""
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        """Called by asyncio."""
        *lines, self._rest = (self._rest + data).split(b"\n")
        for line in lines:
            self._lines.put_nowait(line)

    def connection_lost(self, _: Exception | None) -> None:
        """Called by asyncio."""
        self._lines.put_nowait(b"")


async def opened(connected: socket.socket) -> Channel:
    """The channel over a connected socket, which is its own from here on."""
    out = connected.dup()
    out.setblocking(False)
    _, channel = await asyncio.get_running_loop().connect_read_pipe(lambda: Channel(out), connected)
    return channel
