"""A broker of MQTT 5.0 on loopback that refuses some topics, and keeps what it was asked and told."""

import asyncio
from contextlib import asynccontextmanager, suppress

NOT_AUTHORIZED = 0x87
"""OASIS MQTT 5.0, tables 3-4 (PUBACK) and 3-8 (SUBACK)."""


class RefusingBroker:
    """The packets are those of MQTT 5.0, section 3; all of their properties are left out."""

    def __init__(self, refused: set[str], *, hangs_up: bool = False) -> None:
        self.refused, self._hangs_up = refused, hangs_up
        self.options: dict[str, int] = {}  # of each subscription (section 3.8.3.1)
        self.told: list[str] = []  # topics, in order, of what was taken
        self.opened = 0
        self.ends: list[asyncio.StreamWriter] = []

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.opened += 1
        self.ends.append(writer)
        with suppress(asyncio.IncompleteReadError, ConnectionError):
            while answer := self._answer(*await _packet(reader)):
                writer.write(answer)
                if self._hangs_up and answer[0] == 0x40 and answer[-1] == NOT_AUTHORIZED:
                    await writer.drain()
                    break
        writer.close()

    def _answer(self, first: int, body: bytes) -> bytes:
        kind = first >> 4
        if kind == 1:
            return b"\x20\x03\x00\x00\x00"
        if kind == 8:
            end = 5 + int.from_bytes(body[3:5])
            topic = body[5:end].decode()
            self.options[topic] = body[end]
            return b"\x90\x04%b\x00%c" % (body[:2], NOT_AUTHORIZED if topic in self.refused else 1)
        if kind == 3:
            end = 2 + int.from_bytes(body[:2])
            topic, number = body[2:end].decode(), body[end : end + 2]
            if topic not in self.refused:
                self.told.append(topic)
            if first >> 1 & 3:
                return b"\x40\x03%b%c" % (number, NOT_AUTHORIZED if topic in self.refused else 0)
        return b"\xd0\x00" if kind in (3, 12) else b""


async def _packet(reader: asyncio.StreamReader) -> tuple[int, bytes]:
    (first,) = await reader.readexactly(1)
    length = shift = 0
    while True:
        (digit,) = await reader.readexactly(1)
        length |= (digit & 127) << shift
        shift += 7
        if digit < 128:
            return first, await reader.readexactly(length)


@asynccontextmanager
async def refusing_broker(*refused: str, port: int = 0, **how):
    broker = RefusingBroker(set(refused), **how)
    server = await asyncio.start_server(broker.serve, "127.0.0.1", port)
    broker.port = server.sockets[0].getsockname()[1]
    try:
        yield broker
    finally:
        server.close()
        for end in broker.ends:
            end.close()
        await server.wait_closed()
