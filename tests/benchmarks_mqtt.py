"""
What a broker costs: how late an event is heard, how fast a backlog drains, what the scans feel of it.

Events and backlog beside the bare library at the same broker in the same run: a real Mosquitto where there is one, in
a process of its own, else the one of `--broker embedded`. The scans beside those of a run that tells nobody. `python tests/benchmarks_mqtt.py` runs these alone.
"""

import asyncio
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import aiomqtt
from benchmarks_reporter import MILL, SECONDS, told
from reporter.rig_end import UTC, opening
from reporting.mqtt.brokered import free_port, until

from controller.image import Inputs, Outputs
from controller.live.reporter import Heard, Reporter
from controller.records import EventRecord
from controller.reporting.mqtt import embedded
from controller.reporting.mqtt.connection import IN_FLIGHT

HERE = Path(__file__)
MOSQUITTO = shutil.which("mosquitto", path=f"{os.environ['PATH']}:/usr/sbin")
EVENTS, BACKLOG = 300, 2_000
BARE = "bench/bare"
Line = Callable[[str, str, str], None]


class Broker:
    """A process of its own, on loopback; begun, frozen, ended."""

    def __init__(self, folder: Path) -> None:
        self.port, self._folder = free_port(), folder
        self._child: subprocess.Popen[bytes] | None = None

    @contextmanager
    def up(self) -> Iterator["Broker"]:
        conf = self._folder / "broker.conf"
        user = "user root\n" if os.getuid() == 0 else ""
        queues = "max_inflight_messages 0\nmax_queued_messages 0\n"
        conf.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\n{user}{queues}")
        ours = [sys.executable, str(HERE), "broker", str(self.port)]
        command = [MOSQUITTO, "-c", str(conf)] if MOSQUITTO else ours
        self._child = subprocess.Popen(command, stderr=subprocess.DEVNULL, env=environment())
        try:
            yield self
        finally:
            self.send(signal.SIGCONT)
            self._child.terminate()
            self._child.wait()

    def send(self, number: int) -> None:
        assert self._child
        self._child.send_signal(number)


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": f"{HERE.parent}:{HERE.parents[1]}"}


def station(folder: Path, port: int) -> Path:
    made = folder / "mill"
    shutil.copytree(MILL, made)
    settings = f"publish: true, port: {port}, site: mill, unit: R-101, client_id: R101"
    (made / "services.yaml").write_text(f"mqtt: {{{settings}}}\n")
    return made


def event(number: int) -> EventRecord:
    return EventRecord(number, UTC, "STATE_CHANGED", f"event {number}", 0, "")


class Listener:
    """When each number came, in seconds; of ours and of the bare ones."""

    def __init__(self) -> None:
        self.ours: dict[int, float] = {}
        self.bare: dict[int, float] = {}
        self.payload = b""
        self.subscribed = asyncio.Event()

    async def listen(self, port: int) -> None:
        while True:
            with suppress(aiomqtt.MqttError):
                async with aiomqtt.Client("127.0.0.1", port) as client:
                    for topic in ("receiver/+/+/+/event", BARE):
                        await client.subscribe(topic, qos=1)
                    self.subscribed.set()
                    async for message in client.messages:
                        self._take(message)
            await asyncio.sleep(0.002)

    def _take(self, message: aiomqtt.Message) -> None:
        at_s, payload = time.perf_counter(), bytes(message.payload)
        number = int(json.loads(payload)["mono_ms"])
        if message.topic.matches(BARE):
            self.bare[number] = at_s
        else:
            self.payload = payload
            self.ours[number] = at_s


def numbered(payload: bytes, number: int) -> bytes:
    """The same message with another number."""
    return re.sub(rb'"mono_ms":\d+', b'"mono_ms":%d' % number, payload, count=1)


async def reporter_of(folder: Path, port: int) -> Reporter:
    """A reporter that is told where its rig stands."""
    ignore = Heard(*[lambda *_: None] * len(Heard._fields))
    reporter = Reporter(opening(folder / "run", station(folder, port)), ignore)
    await reporter.start()
    reporter.tell("now", {"state": "IDLE", "step": "REST"})
    stand(reporter)
    return reporter


def stand(reporter: Reporter) -> None:
    reporter.tell("points", 1, UTC, [int(v) for v in Inputs()], [int(v) for v in Outputs()], {})


async def latencies(folder: Path) -> tuple[list[float], list[float]]:
    """Of an event, told to the reporter and heard; of a bare publication; alternately, in seconds."""
    ours, bare, heard = [], [], Listener()
    with Broker(folder).up() as broker:
        listening = asyncio.create_task(heard.listen(broker.port))
        reporter = await reporter_of(folder, broker.port)
        await until(lambda: warmed(reporter, heard))
        async with aiomqtt.Client("127.0.0.1", broker.port) as client:
            for number in range(1, EVENTS + 1):
                stand(reporter)
                began_s = time.perf_counter()
                reporter.put(event(number))
                await until(lambda: number in heard.ours)  # noqa: B023
                ours.append(heard.ours[number] - began_s)
                payload = numbered(heard.payload, number)
                began_s = time.perf_counter()
                await client.publish(BARE, payload, qos=1)
                await until(lambda: number in heard.bare)  # noqa: B023
                bare.append(heard.bare[number] - began_s)
        listening.cancel()
        await reporter.close("the bench is over")
    return ours, bare


def warmed(reporter: Reporter, heard: Listener) -> bool:
    """It publishes, and is listened to."""
    reporter.put(event(0))
    return 0 in heard.ours


async def drained(folder: Path) -> tuple[float, float]:
    """Records a second, from the thaw on, of a backlog that waited for a frozen broker; of bare publications."""
    heard, written = Listener(), asyncio.Event()
    with Broker(folder).up() as broker:
        listening = asyncio.create_task(heard.listen(broker.port))
        await heard.subscribed.wait()
        reporter = await reporter_of(folder, broker.port)
        await until(lambda: warmed(reporter, heard))
        broker.send(signal.SIGSTOP)
        for number in range(1, BACKLOG + 1):
            reporter.put(event(number))
        reporter.when_written(written.set)
        await written.wait()
        thaw_s = time.perf_counter()
        broker.send(signal.SIGCONT)
        await until(lambda: len(heard.ours) > BACKLOG, 120)
        command = [sys.executable, str(HERE), "bare", str(broker.port), heard.payload.decode()]
        child = await asyncio.create_subprocess_exec(*command, env=environment())
        await until(lambda: len(heard.bare) == BACKLOG, 120)
        await child.wait()
        listening.cancel()
        await reporter.close("the bench is over")
    bare_s = max(heard.bare.values()) - min(heard.bare.values())
    return BACKLOG / (max(heard.ours.values()) - thaw_s), (BACKLOG - 1) / bare_s


async def publish_bare(port: int, payload: bytes) -> None:
    """A child: the window is that of the publisher."""
    payloads = [numbered(payload, number) for number in range(BACKLOG)]
    async with aiomqtt.Client("127.0.0.1", port) as client:
        for first in range(0, BACKLOG, IN_FLIGHT):
            few = payloads[first : first + IN_FLIGHT]
            await asyncio.gather(*(client.publish(BARE, payload, qos=1) for payload in few))


async def serve(port: int) -> None:
    """A child: the broker where there is no Mosquitto."""
    async with embedded.broker(port):
        await asyncio.Event().wait()


def lateness(folder: Path, how: str) -> list[str]:
    """Scans of `receiver run` that publishes, or tells nobody: p50, p99, p99.9 and the latest, in us."""
    broker = Broker(folder)
    mill = station(folder, broker.port) if how != "none" else MILL

    def freeze(_: int) -> None:
        time.sleep(1)
        broker.send(signal.SIGSTOP)

    if how in ("none", "absent"):
        said, _ = told(folder, ["--out", str(folder / "run")], None, mill)
    else:
        with broker.up():
            said, _ = told(folder, ["--out", str(folder / "run")], freeze if how == "frozen" else None, mill)
    return re.findall(r"(\d+) us", said)


def percentile(values: list[float], share: float) -> float:
    return sorted(values)[min(int(len(values) * share), len(values) - 1)]


def report(line: Line) -> None:
    """Prints the figures."""
    print(f"told to {'Mosquitto' if MOSQUITTO else 'the embedded broker'}, heard by a bare aiomqtt")
    with tempfile.TemporaryDirectory(prefix="b") as folder:
        ours, bare = asyncio.run(latencies(Path(folder)))
    for name, found in (("event, from the rig to the listener", ours), ("bare publication, QoS 1", bare)):
        p50, p99 = (percentile(found, share) * 1_000 for share in (0.5, 0.99))
        line(f"  {name}, p50 and p99 of {len(found)}", f"{p50:.1f}, {p99:.1f} ms", "")
    with tempfile.TemporaryDirectory(prefix="b") as folder:
        rates = asyncio.run(drained(Path(folder)))
    for name, rate in zip(("after an outage, records a second", "bare, publications a second"), rates, strict=True):
        line(f"  {name}, {BACKLOG}, {IN_FLIGHT} in flight", f"{rate:.0f} /s", "")
    print(f"scans every 10 ms for {SECONDS:g} s on the simulated plant, late by [us]; the broker is")
    print(f"  {'':10}{'p50':>10}{'p99':>10}{'p99.9':>10}{'max':>10}")
    for how in ("none", "healthy", "frozen", "absent"):
        with tempfile.TemporaryDirectory(prefix="b") as folder:
            print(f"  {how:10}" + "".join(f"{us:>10}" for us in lateness(Path(folder), how)), flush=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["broker"]:
        asyncio.run(serve(int(sys.argv[2])))
    elif sys.argv[1:2] == ["bare"]:
        asyncio.run(publish_bare(int(sys.argv[2]), sys.argv[3].encode()))
    else:
        report(lambda what, figure, aim: print(f"{what:62} {figure:>16}  {aim}", flush=True))
