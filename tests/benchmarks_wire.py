"""
The figures of the wire and of the rig on this machine; `make bench` prints them with the others.

`BENCH_MINUTES` says how long the scans are watched, each with and without the real-time schedule: 10.
"""

import asyncio
import json
import os
import re
import socket
import statistics
import struct
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from peers.modbus_programs import built, missing
from pymodbus.client import AsyncModbusTcpClient

from controller.clock import WallClock
from controller.image import Inputs
from controller.modbus.client import Client
from controller.modbus.client_wire import ClientWire
from controller.modbus.point_map import PointMap, load_point_map
from controller.points import load_points
from controller.reporting.journal import read_cycles

ROOT = Path(__file__).parents[1]
MILL = ROOT / "configs" / "buckwheat_mill"
MINUTES = float(os.environ.get("BENCH_MINUTES", "10"))
SCAN_MS = 10
UNIT = 255
Line = Callable[..., None]

OURS = """
import asyncio
from benchmarks_wire import INPUTS, point_map
from controller.clock import WallClock
from controller.modbus.wire import make_wire
async def main():
    wire = make_wire(point_map(), "device", WallClock(), port=0)
    await wire.start()
    wire.hand_over(INPUTS, 1)
    print(wire.port, flush=True)
    await asyncio.Event().wait()
asyncio.run(main())
"""
STOCK = """
import asyncio
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice
async def main():
    words = [SimData(0, values=[0] * 20, datatype=DataType.REGISTERS)]
    bits = [SimData(0, values=[False] * 32, datatype=DataType.BITS)]
    words_read = [SimData(0, values=[4101] + [0] * 19, datatype=DataType.REGISTERS)]
    device = SimDevice(255, simdata=(bits, bits, words, words_read))
    server = ModbusTcpServer(device, address=("127.0.0.1", 0))
    await server.serve_forever(background=True)
    print(server.transport.sockets[0].getsockname()[1], flush=True)
    await asyncio.Event().wait()
asyncio.run(main())
"""
BARE_TIMER = """
import os, select, sys, time
from controller.scan.lateness import Lateness
from controller.scan.timer_fd import timer_fd
if "fifo" in sys.argv:
    os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(50))
period_s, lateness = 0.01, Lateness()
start_s = time.monotonic()
fd = timer_fd(start_s + period_s, period_s)
taken, until_s = 0, start_s + float(sys.argv[1])
while time.monotonic() < until_s:
    select.select([fd], [], [])
    due = int.from_bytes(os.read(fd, 8), sys.byteorder)
    late_us = round((time.monotonic() - start_s - (taken + 1) * period_s) * 1e6)
    taken += due
    lateness.take(late_us, due - 1)
print(lateness.said())
"""

MAIN = "from controller.cli import main; main()"
INPUTS = {name: int(value) for name, value in Inputs()._asdict().items()}


def point_map() -> PointMap:
    """That of the demo station, patient: a busy machine shall spoil a figure, not the run."""
    found = load_point_map(MILL, load_points(MILL))
    return found._replace(link=found.link._replace(timeout_ms=5_000))


@contextmanager
def child(told: Path, *command: str) -> Iterator[subprocess.Popen[bytes]]:
    """A process that is ended when it is no longer needed; what it says goes into a file."""
    env = {**os.environ, "PYTHONPATH": f"{ROOT}:{ROOT / 'tests'}"}
    with told.open("wb") as out:
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=out, env=env, cwd=ROOT)
    try:
        yield process
    finally:
        process.terminate()
        process.wait()
        assert process.stdin
        process.stdin.close()


def python(code: str, *arguments: str) -> tuple[str, ...]:
    return (sys.executable, "-c", code, *arguments)


def heard(told: Path, pattern: str) -> str:
    """What a process says there, once it does."""
    for _ in range(6_000):
        if found := re.search(pattern, told.read_text()):
            return found[1]
        time.sleep(0.01)
    raise TimeoutError(pattern, told.read_text())


async def ours(port: int, exchanges: int) -> float:
    """One exchange of the whole image by the controller's end [us]: outputs written, contacts and currents read."""
    wire = ClientWire(point_map(), "controller", WallClock(), "127.0.0.1", port)
    client = Client(wire.map.link, "127.0.0.1", port, wire.map.watchdog_ms)
    await client.connect()
    wire._begin_session()
    outputs = {place.name: 0 for place in wire.map.outputs}
    began = time.perf_counter()
    for number in range(exchanges):
        wire.hand_over(outputs, number)
        await wire._exchange(client)
    took_s = time.perf_counter() - began
    client.close()
    return took_s / exchanges * 1e6


async def bare(port: int, exchanges: int) -> float:
    """The same requests by the library's client, with nothing looked at [us]."""
    wire = ClientWire(point_map(), "controller", WallClock(), "127.0.0.1", port)
    client = AsyncModbusTcpClient("127.0.0.1", port=port, timeout=5, retries=0)
    assert await client.connect()
    reads = {"discrete_input": client.read_discrete_inputs, "input_register": client.read_input_registers}
    began = time.perf_counter()
    for number in range(exchanges):
        for write in wire._writes:
            await client.write_registers(write.start, [0] * (write.count - 1) + [number], device_id=UNIT)
        for read in wire._reads:
            await reads[read.table](read.start, count=read.count, device_id=UNIT)
    took_s = time.perf_counter() - began
    client.close()
    return took_s / exchanges * 1e6


async def exchange_us(port: int, blocks: int = 25, exchanges: int = 100) -> tuple[float, float]:
    """Medians of blocks in turn, so that what else the machine does strikes both."""
    took = [(await ours(port, exchanges), await bare(port, exchanges)) for _ in range(blocks)]
    return statistics.median(us for us, _ in took), statistics.median(us for _, us in took)


def requests_s(port: int, seconds: float = 2) -> float:
    """Requests of four input registers that a server answers, one after the other over one connection."""
    request = struct.pack(">HHHBBHH", 1, 0, 6, UNIT, 4, 0, 4)
    with socket.create_connection(("127.0.0.1", port)) as link:
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        answered, began = 0, time.perf_counter()
        while time.perf_counter() - began < seconds:
            link.sendall(request)
            reply = link.recv(300)
            assert (len(reply), reply[7]) == (17, 4), reply.hex()
            answered += 1
        return answered / (time.perf_counter() - began)


def servers(folder: Path, line: Line) -> None:
    """The device beside the library's own server and one on libmodbus; the exchange is timed against the device."""
    kinds = {"the device": python(OURS), "the library's stock server": python(STOCK)}
    if missing():
        line("libmodbus server", "not there", f"lacks {', '.join(missing())}")
    else:
        kinds["a libmodbus server (C)"] = (str(built(folder)), "serve", "0", "input_register", "0", "4101")
    for name, command in kinds.items():
        told = folder / "server"
        with child(told, *command):
            port = int(heard(told, r"(\d+)\n"))
            line(f"requests/s answered by {name}", f"{requests_s(port):,.0f}")
            if kinds[name] != python(STOCK):
                ours_us, bare_us = asyncio.run(exchange_us(port))
                line(f"whole image with {name}", f"{ours_us:.0f} us")
                line(
                    "  the bare client, same requests",
                    f"{bare_us:.0f} us",
                    f"x {ours_us / bare_us:.2f}, aim <= 1.3",
                )


def rss_mb(pid: int) -> float:
    found = re.search(r"VmRSS:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text())
    assert found
    return int(found[1]) / 1024


def rig(folder: Path, line: Line, *, fifo: bool) -> None:
    """`receiver run` and `receiver plant` over the wire, a batch after the other, beside a bare timer loop."""
    seconds, how = MINUTES * 60, "with SCHED_FIFO" if fifo else "bridge on"
    of_plant, of_run, of_timer, out = (folder / f"{name}_{fifo}" for name in ("plant", "rig", "timer", "out"))
    with ExitStack() as stack:
        plant = stack.enter_context(
            child(of_plant, *python(MAIN, "plant", str(MILL), "--listen", "127.0.0.1:0", "--start"))
        )
        address = heard(of_plant, r"listens at (\S+);")
        asked = ("run", str(MILL), "--connect", address, "--for", f"{seconds:g}s", "--out", str(out))
        state = ("--state", str(folder / f"state_{fifo}"), *(("--fifo",) if fifo else ()))
        run = stack.enter_context(child(of_run, *python(MAIN, *asked, *state)))
        heard(of_run, "(power-up)")
        if "not permitted" in of_run.read_text():
            line("with SCHED_FIFO", "not permitted", "needs CAP_SYS_NICE")
            return
        timer = stack.enter_context(
            child(of_timer, *python(BARE_TIMER, f"{max(seconds - 3, 1):g}", "fifo" if fifo else ""))
        )
        timer.wait()
        memory_mb = rss_mb(run.pid), rss_mb(plant.pid)
        run.wait()
    document = json.loads((out / "run.json").read_text())
    print(f"scans every {SCAN_MS} ms for {MINUTES:g} min, {how}: {lateness(document)}")
    print(f"  beside it a bare timerfd loop: {of_timer.read_text().strip()}")
    line(f"  {len(read_cycles(out))} batches; memory of the rig process", f"{memory_mb[0]:.0f} MB", "< 80 MB")
    line("  of the plant process", f"{memory_mb[1]:.0f} MB")


def lateness(document: dict[str, dict[str, int]]) -> str:
    told = document["lateness"]
    return (
        f"{told['scans']} scans, late by p50 {told['p50_us']} us  p99 {told['p99_us']} us  "
        f"p99.9 {told['p99.9_us']} us  max {told['max_us']} us; {told['missed_deadlines']} deadlines missed"
    )


def report(line: Line) -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory(prefix="rig") as short:
        os.environ["XDG_RUNTIME_DIR"] = short
        folder = Path(short)
        servers(folder, line)
        for fifo in (False, True):
            rig(folder, line, fifo=fifo)


if __name__ == "__main__":
    from benchmarks import line as printed

    report(printed)
