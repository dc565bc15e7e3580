"""A publisher, a journal and a listener on loopback, and brokers that misbehave, for the tests of publishing."""

import asyncio
import json
import socket
import time
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import NamedTuple

import aiomqtt

from controller.records import EventRecord
from controller.reporting.journal import Journal
from controller.reporting.journal_kept import Kept
from controller.reporting.mqtt.about import READER, About
from controller.reporting.mqtt.conversation import stopped
from controller.reporting.mqtt.publisher import Backoff, Publisher
from controller.reporting.services import Mqtt
from controller.reporting.station_now import Reading, StationNow

BOOT = "5f0c7d1a-2b3c-4d5e-8f90-123456789abc"
OLDER = "00000000-2b3c-4d5e-8f90-123456789abc"
BASE = "receiver/v1/mill/R-101"
DEADLINE_S = 20.0
SOON = Backoff(0.02, 0.2, 5.0)
UTC = "2026-01-05T06:00:00.000+00:00"
REST = StationNow("IDLE", "IDLE")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


async def until(condition, within_s: float = DEADLINE_S) -> None:
    """Returns once it is true; looked at between whatever else happens on the loop."""
    end_s = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < end_s, "did not come true in time"
        await asyncio.sleep(0.002)


def mqtt(port: int, **more) -> Mqtt:
    usual = {"publish": True, "site": "mill", "unit": "R-101", "client_id": "R101", "tag_floor_ms": 50}
    return Mqtt(port=port, **{**usual, **more})


def event(number: int, id: str = "STATE_CHANGED", what: str = "", priority: int = 0) -> EventRecord:
    return EventRecord(number, UTC, id, what or f"event {number}", priority, "")


def reading(value: float, tag: str = "PT-101") -> Reading:
    return Reading(tag, "vacuum_ua", "vacuum", "4-20 mA", "good", int(value * 1_000), value, "kPa")


class Got(NamedTuple):
    topic: str
    told: dict
    retained: bool
    qos: int

    @property
    def kind(self) -> str:
        return self.topic.removeprefix(f"{BASE}/").partition("/")[0]


class Listener:
    """Everything that a broker passes on, as a client of the bare library gets it."""

    def __init__(self) -> None:
        self.got: list[Got] = []
        self.client: aiomqtt.Client | None = None

    def of(self, *kinds: str) -> list[Got]:
        return [got for got in self.got if got.kind in kinds]

    def numbers(self) -> list[int]:
        """Of events and cycles, in the order they came, each when it came first."""
        return list(dict.fromkeys(got.told["seq"] for got in self.of("event", "cycle")))

    async def take(self, client: aiomqtt.Client) -> None:
        with suppress(aiomqtt.MqttError):
            async for message in client.messages:
                told = json.loads(message.payload) if message.payload else {}
                self.got.append(Got(str(message.topic), told, message.retain, message.qos))


@asynccontextmanager
async def listening(port: int, topic: str = "receiver/#", **how):
    listener = Listener()
    async with aiomqtt.Client("127.0.0.1", port, **how) as client:
        await client.subscribe(topic, qos=1)
        listener.client = client
        taking = asyncio.create_task(listener.take(client))
        try:
            yield listener
        finally:
            taking.cancel()
            await asyncio.wait([taking])


class Site:
    """One receiver that publishes."""

    def __init__(
        self, folder: Path, settings: Mqtt, *, boot: str = BOOT, ask=None, backoff: Backoff = SOON,
        simulated: bool = True, kept: Kept | None = None,
    ) -> None:  # fmt: skip
        self.journal = Journal(folder / "run", boot=boot, readers=(READER,), simulated=simulated, kept=kept)
        self.asked, self.deeds = [], []
        self.about = About("R-101", boot, "0.1.0", "simulated", simulated, self.when)
        self._began_s = time.monotonic()
        self.publisher = Publisher(
            settings, folder, self.about, self.journal, ask or self._accept, self.deeds.append, backoff
        )

    def when(self) -> tuple[str, int]:
        return UTC, int((time.monotonic() - self._began_s) * 1_000)

    def write(self, *records) -> None:
        self.journal.add(records)
        self.journal.commit()
        self.publisher.wrote()

    def waiting(self) -> int:
        return self.publisher.link.waiting

    async def _accept(self, asked, left_ms):
        self.asked.append(asked)
        return ()


@asynccontextmanager
async def site(folder: Path, settings: Mqtt, **more):
    """Runs until the end; then it is gone without a word."""
    made = Site(folder, settings, **more)
    running = asyncio.create_task(made.publisher.run())
    made.running = running
    try:
        yield made
    finally:
        await stopped([running])
        made.journal.close()


CONNACK, SUBACK = b"\x20\x02\x00%c", b"\x90\x03%b\x01"


class FrozenBroker:
    """
    Takes connections and answers nothing; or, `polite`, the first packets of a session alone.

    The bytes are those of MQTT 3.1.1: CONNACK (section 3.2) and SUBACK (section 3.9).
    """

    def __init__(self, *, polite: bool = False, code: int = 0) -> None:
        self.polite, self.code = polite, code
        self.opened = self.closed = 0
        self.heard = b""

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.opened += 1
        try:
            while came := await reader.read(65_536):
                self.heard += came
                if self.polite and came[0] == 0x10:
                    writer.write(CONNACK % self.code)
                if self.polite and came[0] == 0x82:
                    writer.write(SUBACK % came[2:4])
        except ConnectionError:
            pass
        finally:
            self.closed += 1
            writer.close()


@asynccontextmanager
async def frozen_broker(**how):
    broker = FrozenBroker(**how)
    server = await asyncio.start_server(broker.serve, "127.0.0.1", 0)
    broker.port = server.sockets[0].getsockname()[1]
    try:
        yield broker
    finally:
        server.close()
        await until(lambda: broker.opened == broker.closed)
        await server.wait_closed()
