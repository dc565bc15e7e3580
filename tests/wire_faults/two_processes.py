"""`receiver plant` and `receiver run` as two processes, with a link between them that can be cut."""

import asyncio
import os
import re
import shutil
import signal
import socket
import struct
import sys
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path

import pytest
import yaml

from controller.image import Outputs
from controller.panel.client import Client
from controller.panel.messages import Answer, Asked, CommandAsked, PointsAsked, StatusAsked
from controller.panel.rig import Status

ROOT = Path(__file__).parents[2]
IO_LOST_MS, WATCHDOG_MS = 700, 1_200
ONLY_TELL = {"run_lamp", "fault_lamp", "horn"}
PATIENCE_S = 60


def station(folder: Path) -> Path:
    """The demo station, with times that a busy machine keeps; only how long it warns and waits is otherwise."""
    shutil.copytree(ROOT / "configs" / "buckwheat_mill", folder)
    receiver = yaml.safe_load((folder / "receiver.yaml").read_text())
    receiver["start"]["warning_ms"] = 500
    receiver.setdefault("backstops", {}).update(
        io_lost_ms=IO_LOST_MS, scans_late_warn=1_000, scans_late_trip=10_000
    )
    (folder / "receiver.yaml").write_text(yaml.safe_dump(receiver))
    wire = yaml.safe_load((folder / "modbus.yaml").read_text())
    wire["link"] |= {"timeout_ms": 300, "retries": 0}
    wire["watchdog_ms"] = WATCHDOG_MS
    (folder / "modbus.yaml").write_text(yaml.safe_dump(wire))
    return folder


class Link:
    """A TCP connection in between, that passes every byte on until it is told otherwise."""

    def __init__(self) -> None:
        self.to_port = 0
        self.dead = False  # bytes are swallowed, the connections stand: a cable that was pulled
        self._ends: set[asyncio.StreamWriter] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self.connections = 0

    async def listen(self) -> int:
        self._server = await asyncio.start_server(self._passed, "127.0.0.1", 0)
        return int(self._server.sockets[0].getsockname()[1])

    async def _passed(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self.to_port)
        except OSError:
            writer.close()
            return
        self.connections += 1
        self._ends |= {writer, far_writer}
        ways = [asyncio.create_task(self._pass(*way)) for way in ((reader, far_writer), (far_reader, writer))]
        self._tasks |= {*ways}
        await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
        for end in (writer, far_writer):
            end.close()
            self._ends.discard(end)

    async def _pass(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while chunk := await reader.read(4_096):
                if not self.dead:
                    writer.write(chunk)
        except ConnectionError:
            pass

    def reset(self) -> None:
        """RST to both sides."""
        for end in [*self._ends]:
            off_at_once = struct.pack("ii", 1, 0)
            end.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, off_at_once)
            end.transport.abort()

    async def close(self) -> None:
        self._server.close()
        self.reset()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)


class Process:
    """A command of `receiver`, its lines as they come, and of a plant the outputs that it holds."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self.process = process
        self.lines: list[str] = []
        self.held: dict[str, bool] = dict.fromkeys(Outputs._fields, False)
        self.moved: list[str] = []  # every "... on" of an output that moves something
        self._reader = asyncio.create_task(self._read())

    @classmethod
    async def start(cls, *arguments: object, within: Sequence[str] = ()) -> "Process":
        """`within`: a command that runs another one somewhere."""
        return cls(
            await asyncio.create_subprocess_exec(
                *within, sys.executable, "-c", "from controller.cli import main; main()", *map(str, arguments),
                stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT, cwd=ROOT,
                env={**os.environ, "COLUMNS": "200"},
            )
        )  # fmt: skip

    async def _read(self) -> None:
        assert self.process.stdout
        while raw := await self.process.stdout.readline():
            line = raw.decode().rstrip()
            self.lines.append(line)
            for name, now in re.findall(r"(\w+) (on|off)\b", line):
                if name in self.held:
                    self.held[name] = now == "on"
                    if now == "on" and name not in ONLY_TELL:
                        self.moved.append(line)

    @property
    def alive(self) -> bool:
        return self.process.returncode is None

    def safe(self) -> bool:
        return not any(on for name, on in self.held.items() if name not in ONLY_TELL)

    def said(self, words: str) -> bool:
        return any(words in line for line in self.lines)

    async def ended(self) -> int:
        async with asyncio.timeout(PATIENCE_S):
            await self._reader
            return await self.process.wait()

    async def kill(self) -> None:
        if self.alive:
            self.process.send_signal(signal.SIGCONT)
            self.process.kill()
        await self.ended()


class Pair:
    """The plant and its controller, brought to where the source runs, whatever was done to them before."""

    def __init__(self, folder: Path, within: Sequence[str] = ()) -> None:
        self.folder, self.station, self._within = folder, station(folder / "mill"), within
        self.link = Link()
        self.plant: Process | None = None
        self.controller: Process | None = None
        self.port = self.plant_port = 0

    async def open(self) -> None:
        self.port = await self.link.listen()

    async def close(self) -> None:
        for process in (self.controller, self.plant):
            if process:
                await process.kill()
        await self.link.close()

    async def start_plant(self) -> Process:
        self.plant = plant = await Process.start(
            "plant", self.station, "--listen", f"127.0.0.1:{self.plant_port}", within=self._within
        )
        await self.until(lambda: plant.said("listens at") or not plant.alive)
        found = re.search(r"listens at 127\.0\.0\.1:(\d+)", "\n".join(plant.lines))
        assert found, plant.lines
        self.plant_port = self.link.to_port = int(found[1])
        return plant

    async def start_controller(self) -> Process:
        self.controller = controller = await Process.start(
            "run", self.station, "--connect", f"127.0.0.1:{self.port}", "--state", self.folder / "state",
            "--anyway",  # with times that no machine should have
            within=self._within,
        )  # fmt: skip
        await self.until(lambda: controller.said("power-up") or not controller.alive)
        assert controller.alive, controller.lines
        return controller

    async def drawing(self) -> tuple[Process, Process]:
        """Both run and the source is on: plant and controller."""
        self.link.dead = False
        plant = self.plant if self.plant and self.plant.alive else await self.start_plant()
        controller = (
            self.controller if self.controller and self.controller.alive else await self.start_controller()
        )
        await self.until(self._begun, 0.1)
        plant.moved.clear()
        return plant, controller

    async def _begun(self) -> bool:
        assert self.plant
        step = (await self.status()).step
        if step in ("FAULT", "REST"):
            await self.command("reset" if step == "FAULT" else "start")
        return self.plant.held["source_cmd"]

    async def asked(self, asked: Asked) -> Answer:
        """What the controller answers on its panel socket."""

        def ask() -> Answer:
            with Client(self.station) as client:
                return client.ask(asked)

        return await asyncio.to_thread(ask)

    async def status(self) -> Status:
        found = (await self.asked(StatusAsked(ask="status"))).status
        assert found
        return found

    async def command(self, command: str) -> str:
        return (await self.asked(CommandAsked(ask="command", command=command))).answer

    async def image_is_new(self) -> bool:
        points = (await self.asked(PointsAsked(ask="points"))).points
        assert points
        return all(point.age_ms is not None and point.age_ms < IO_LOST_MS for point in points)

    async def until(self, condition: Callable[[], bool | Awaitable[bool]], pause_s: float = 0.01) -> float:
        """Waits for a condition; returns how long it took, in s."""
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        while True:
            met = condition()
            if met if isinstance(met, bool) else await met:
                return loop.time() - began_s
            if loop.time() - began_s > PATIENCE_S:
                pytest.fail("\n".join([f"not within {PATIENCE_S} s", *self.told()]))
            await asyncio.sleep(pause_s)

    def told(self) -> list[str]:
        """The last lines of both, for who has to find out."""
        return [
            f"{name}: {line}"
            for name, process in (("plant", self.plant), ("controller", self.controller))
            for line in (process.lines[-30:] if process else ["not started"])
        ]

    async def in_fault(self) -> Status:
        """The controller is in fault."""

        async def fault() -> bool:
            return (await self.status()).state == "FAULT"

        await self.until(fault)
        return await self.status()

    async def stays_safe(self, plant: Process) -> Status:
        """A second of the controller's scans with inputs that come in: nothing moves, and it says where it is."""
        await self.until(self.image_is_new)
        first_ms = (await self.status()).at_ms

        async def a_second_later() -> bool:
            return (await self.status()).at_ms > first_ms + 1_000

        await self.until(a_second_later)
        assert plant.safe(), self.told()
        assert plant.moved == [], self.told()
        return await self.status()
