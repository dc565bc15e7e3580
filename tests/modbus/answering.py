"""Tables, peers and maps for the tests of the wire."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

from controller.clock import SteppedClock
from controller.modbus.answers import Tables
from controller.modbus.places import Link, Table
from controller.modbus.point_map import PointMap, load_point_map
from controller.modbus.wire import make_wire
from controller.points import load_points

CONFIGS = Path(__file__).parents[2] / "configs"
STATIONS = ("buckwheat_mill", "sugar_kitchen", "milk_powder_hall")
LINK = Link("client", "127.0.0.1", 0, 1, 200, 0, 5, 4, 60, ())


def tables(cells: dict[Table, dict[int, int]], *, writable: bool = True) -> Tables:
    """Tables that hold these cells; coils and holding registers may be written."""
    made = Tables()
    for table, held in cells.items():
        made.cells[table].update(held)
        if writable and table in ("coil", "holding_register"):
            made.writable.update((table, address) for address in held)
    return made


def the_map(station: str) -> PointMap:
    folder = CONFIGS / station
    return load_point_map(folder, load_points(folder))


def image(point_map: PointMap, side: str, seed: int = 1) -> dict[str, int]:
    """Values for what a side gives, none like its neighbour; currents that every form of number can show."""
    places = point_map.inputs if side == "device" else point_map.outputs
    return {
        place.name: 4_000 + 800 * ((at + seed) % 20) if place.name.endswith("_ua") else (at + seed) % 2
        for at, place in enumerate(places)
    }


@asynccontextmanager
async def both_ends(point_map: PointMap, clock: SteppedClock) -> AsyncIterator[dict[str, object]]:
    """Both ends of the wire, linked, under the names of their sides, and as client and server."""
    asks = "controller" if point_map.is_client("controller") else "device"
    answers = "device" if asks == "controller" else "controller"
    server = make_wire(point_map, answers, clock, port=0)
    await server.start()
    client = make_wire(point_map, asks, clock, port=server.port)
    try:
        await client.start()
        await client.ready(5)
        yield {asks: client, answers: server, "client": client, "server": server}
    finally:
        await client.close()
        await server.close()


async def until(true: Callable[[], object]) -> None:
    """Let the loop run until something is so; a test that waits in vain fails."""
    async with asyncio.timeout(5):
        while not true():  # noqa: ASYNC110 - what is waited for has no event
            await asyncio.sleep(0.001)


@asynccontextmanager
async def peer(reply: Callable[[bytes], bytes | None]) -> AsyncIterator[int]:
    """A raw server on a free port: `reply` gives the bytes after each request frame, None hangs up."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while header := await reader.readexactly(6):
                raw = reply(header + await reader.readexactly(int.from_bytes(header[4:])))
                if raw is None:
                    break
                writer.write(raw)
        except asyncio.IncompleteReadError:
            pass
        finally:
            writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        await server.wait_closed()
