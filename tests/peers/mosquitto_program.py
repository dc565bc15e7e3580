"""A real Mosquitto on loopback, its own child: frozen, killed, started again; mosquitto_sub as an independent listener."""

import asyncio
import json
import os
import shutil
import signal
import socket
import subprocess
from contextlib import asynccontextmanager, suppress
from pathlib import Path

from reporting.mqtt.brokered import Got, free_port, until

from controller.reporting.mqtt.conversation import stopped

PROGRAMS = ("mosquitto", "mosquitto_pub", "mosquitto_sub", "mosquitto_rr", "mosquitto_passwd", "openssl")
MISSING = [name for name in PROGRAMS if shutil.which(name) is None]
NEEDS = f"no {', '.join(MISSING)}; on Debian: apt install mosquitto mosquitto-clients openssl"
PLAIN = ("allow_anonymous true",)


class Mosquitto:
    """One broker; what it retains is gone when it is killed."""

    def __init__(self, folder: Path, *lines: str) -> None:
        self.port = free_port()
        self._conf = folder / "mosquitto.conf"
        user = ["user root"] if os.getuid() == 0 else []  # it would become one who may read none of its files
        unbounded = ["max_inflight_messages 0", "max_queued_messages 0"]
        self._conf.write_text("\n".join([f"listener {self.port} 127.0.0.1", *user, *unbounded, *lines, ""]))
        self._child: subprocess.Popen | None = None

    def _begin(self) -> None:
        self._child = subprocess.Popen(["mosquitto", "-c", str(self._conf)], stderr=subprocess.DEVNULL)

    async def start(self) -> None:
        self._begin()

        def answers() -> bool:
            with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1.0):
                return True
            assert self._child.poll() is None, "mosquitto did not start"
            return False

        await until(answers)

    def send(self, number: int) -> None:
        self._child.send_signal(number)

    def kill(self) -> None:
        self._child.kill()
        self._child.wait()

    def stop(self) -> None:
        if self._child and self._child.poll() is None:
            self._child.send_signal(signal.SIGCONT)
            self._child.terminate()
            self._child.wait(20)


@asynccontextmanager
async def mosquitto(folder: Path, *lines: str):
    broker = Mosquitto(folder, *(lines or PLAIN))
    await broker.start()
    try:
        yield broker
    finally:
        broker.stop()


class Sub:
    """mosquitto_sub; `got` are its messages, with the properties of 5.0 where it was asked for them."""

    def __init__(self) -> None:
        self.got: list[Got] = []
        self.properties: list[str] = []
        self.subscribed = False

    def of(self, *kinds: str) -> list[Got]:
        return [got for got in self.got if got.kind in kinds]

    async def read(self, lines: asyncio.StreamReader) -> None:
        while line := (await lines.readline()).decode():
            if line.startswith("Subscribed"):
                self.subscribed = True
            if line.startswith("GOT\t"):
                _, topic, retained, qos, properties, payload = line.rstrip("\n").split("\t", 5)
                self.got.append(Got(topic, json.loads(payload), retained == "1", int(qos)))
                self.properties.append(properties)


@asynccontextmanager
async def mosquitto_sub(port: int, *more: str, topic: str = "receiver/#"):
    sub = Sub()
    shape = "GOT\t%t\t%r\t%q\t%C %E %F %D\t%p"
    where = ("-h", "127.0.0.1", "-p", str(port), "-q", "1", "-t", topic, "-d", "-F", shape)
    child = await asyncio.create_subprocess_exec(
        "stdbuf",
        "-oL",
        "mosquitto_sub",
        *where,
        *more,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        limit=1 << 20,
    )
    reading = asyncio.create_task(sub.read(child.stdout))
    try:
        await until(lambda: sub.subscribed)
        yield sub
    finally:
        child.kill()
        await child.wait()
        await reading


async def run(*command: str) -> str:
    """A client of mosquitto that ends by itself; what it printed."""
    child = await asyncio.create_subprocess_exec(*command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    printed, _ = await asyncio.wait_for(child.communicate(), 20)
    return printed.decode()


class Gate:
    """Passes bytes on to the broker, once it is opened: to let a listener be there before the receiver."""

    def __init__(self, port: int) -> None:
        self._to = port
        self.is_open = False
        self.passing = 0

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.passing += 1
        with suppress(OSError):
            if self.is_open:
                from_broker, to_broker = await asyncio.open_connection("127.0.0.1", self._to)
                ways = [
                    asyncio.create_task(_pass(reader, to_broker)),
                    asyncio.create_task(_pass(from_broker, writer)),
                ]
                await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
                await stopped(ways)
                to_broker.close()
        writer.close()
        self.passing -= 1


async def _pass(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    with suppress(OSError):
        while came := await reader.read(65_536):
            writer.write(came)
            await writer.drain()


@asynccontextmanager
async def gate(port: int):
    made = Gate(port)
    server = await asyncio.start_server(made.serve, "127.0.0.1", 0)
    made.port = server.sockets[0].getsockname()[1]
    try:
        yield made
    finally:
        server.close()
        await until(lambda: made.passing == 0)


def certificates(folder: Path) -> None:
    """A CA, another one that nobody knows, a broker's certificate for localhost, and one for the receiver."""

    def openssl(*words: str) -> None:
        subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)

    for ca in ("ca", "other"):
        openssl("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2",
                "-keyout", f"{ca}.key", "-out", f"{ca}.pem", "-subj", f"/CN={ca}")  # fmt: skip
    (folder / "san").write_text("subjectAltName=DNS:localhost\n")
    for name, more in (("broker", ["-extfile", "san"]), ("r101", [])):
        openssl("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
                "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={name}")  # fmt: skip
        openssl("x509", "-req", "-in", f"{name}.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial",
                "-days", "2", "-out", f"{name}.pem", *more)  # fmt: skip
        (folder / f"{name}.key").chmod(0o600)
