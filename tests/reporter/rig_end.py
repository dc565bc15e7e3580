"""The rig's end of the channel, to a reporter that works in this process."""

import asyncio
import socket
from contextlib import asynccontextmanager
from pathlib import Path

from controller.events import FITTED
from controller.image import Inputs, Outputs
from controller.reporter.lines import Opening, line, read, record_line
from controller.reporter.process import report
from controller.reporting.services import load_services

MILL = Path(__file__).parents[2] / "configs" / "buckwheat_mill"
UTC = "2026-01-05T06:00:00.000+00:00"
BOOT = "3f6d0a52-6a0e-4a8e-9d1d-6a4f0d9f5a10"
PATIENCE_S = 20.0


def opening(run, station=MILL, **changed):
    """As a rig of that station says it."""
    services = load_services(Path(station)).model_dump_json(exclude_none=True)
    usual = {
        "run": str(run), "kept": True, "station": str(station), "services": services, "fitted": sorted(FITTED),
        "name": "R-101", "boot": BOOT, "software": "0", "io": "simulated", "simulated": True, "rate": 1.0,
        "old_ms": 200, "broker": False,
    }  # fmt: skip
    return Opening(**{**usual, **changed})


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
        async with asyncio.timeout(PATIENCE_S):
            while True:
                self.heard.append(read(await self.reader.readline()))
                said, found = self.heard[-1]
                if said == kind and found[: len(values)] == list(values):
                    return found

    def stand(self, at_ms=500, state="IDLE"):
        """Where it stands at this moment, and its points."""
        inputs, outputs = [int(v) for v in Inputs()], [int(v) for v in Outputs()]
        self.say("now", {"state": state, "step": "REST"})
        self.say("points", at_ms, UTC, inputs, outputs, {})


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
