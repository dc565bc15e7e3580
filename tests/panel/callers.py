"""The other end of the panel socket."""

import asyncio
import json

PATIENCE_S = 20
STATUS = b'{"ask": "status"}\n'
START = b'{"ask": "command", "command": "start"}\n'
HOLD = b'{"ask": "hold", "output": "flap_open_cmd"}\n'


class Caller:
    """The other end of the socket."""

    def __init__(self, reader, writer):
        self.reader, self.writer = reader, writer

    @classmethod
    async def to(cls, panel):
        return cls(*await asyncio.open_unix_connection(str(panel.path), limit=2**20))

    async def ask(self, line):
        self.writer.write(line)
        return await self.answer()

    async def answer(self):
        async with asyncio.timeout(PATIENCE_S):
            return json.loads(await self.reader.readline())

    async def is_closed(self):
        async with asyncio.timeout(PATIENCE_S):
            try:
                return await self.reader.read() == b""
            except ConnectionResetError:
                return True

    def close(self):
        self.writer.close()


async def until(seen):
    async with asyncio.timeout(PATIENCE_S):
        while not seen():  # noqa: ASYNC110
            await asyncio.sleep(0)
