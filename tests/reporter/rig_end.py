"""The rig's end of the channel, to a reporter that works in this process."""

import asyncio
import socket
from contextlib import asynccontextmanager
from pathlib import Path

from controller.reporter.lines import Opening, line, read, record_line
from controller.reporter.process import report

MILL = Path(__file__).parents[2] / "configs" / "buckwheat_mill"
BOOT = "3f6d0a52-6a0e-4a8e-9d1d-6a4f0d9f5a10"
PATIENCE_S = 20.0


def opening(run, **changed):
    return Opening(str(run), str(MILL), "R-101", BOOT, "0", "simulated", True, 1.0, 200, False)._replace(
        **changed
    )


class RigEnd:
    """Says what a rig says, and keeps what it hears."""

    def __init__(self, reader, writer):
        self.reader, self.writer, self.heard = reader, writer, []

    def say(self, kind, *values):
        self.writer.write(line(kind, *values))

    def put(self, number, record):
        self.writer.write(record_line(number, record))

    async def hear(self, kind, *values):
        """Until it says this; what stands behind the kind."""
        while True:
            self.heard.append(read(await asyncio.wait_for(self.reader.readline(), PATIENCE_S)))
            said, found = self.heard[-1]
            if said == kind and found[: len(values)] == list(values):
                return found


@asynccontextmanager
async def reporting(given):
    """A reporter that was told this to begin with; it has ended when this ends."""
    rigs, its = socket.socketpair()
    task = asyncio.create_task(report(its))
    end = RigEnd(*await asyncio.open_unix_connection(sock=rigs))
    try:
        if given is not None:
            end.say("open", *given)
        yield end
    finally:
        end.writer.close()
        await end.writer.wait_closed()
        await asyncio.wait_for(task, PATIENCE_S)
