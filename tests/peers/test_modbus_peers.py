"""
Modbus programs that others wrote, on the map of the demo station: mbpoll, and a C program on libmodbus.

They read and write the simulated device, and a libmodbus server is read and written by the controller's end. So
addresses, printed reference numbers, bit order and byte order are seen by code that shares nothing with ours.
"""

import asyncio
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from peers.modbus_programs import NEEDS, built, missing

from controller.clock import WallClock
from controller.image import Outputs
from controller.modbus.point_map import PointMap, load_point_map
from controller.modbus.server_wire import ServerWire
from controller.modbus.wire import Wire, make_wire
from controller.points import load_points

LACKS = missing()
pytestmark = pytest.mark.skipif(bool(LACKS), reason=f"needs {', '.join(LACKS)}; {NEEDS}")

MILL = Path(__file__).parents[2] / "configs" / "buckwheat_mill"
CONTACTS = dict(zip(
    ("start_pb", "reset_pb", "acknowledge_pb", "stop_healthy", "safety_chain_healthy", "level_free", "flap_closed_fb",
     "flap_open_fb"),
    (1, 0, 1, 1, 0, 0, 1, 0), strict=True,
))  # fmt: skip
CURRENTS = {"vacuum_ua": 3_599, "supply_air_ua": 20_500}
LIFE = 51_966
TOLD = {"source_cmd": 1, "vent_close_cmd": 1, "pulse_1_cmd": 1, "horn": 1}
TOLD_BITS = 0b1_0000_1101  # of holding register 0: the bits that modbus.yaml gives these four
UNIT = "255"


@pytest.fixture
def point_map() -> PointMap:
    return load_point_map(MILL, load_points(MILL))


@pytest.fixture(scope="module")
def program(tmp_path_factory) -> str:
    return str(built(tmp_path_factory.mktemp("peer")))


@asynccontextmanager
async def device(point_map: PointMap) -> AsyncIterator[ServerWire]:
    """The device's end with an image of its own."""
    wire = make_wire(point_map, "device", WallClock(), port=0)
    assert isinstance(wire, ServerWire)
    await wire.start()
    wire.hand_over(CONTACTS | CURRENTS, LIFE)
    try:
        yield wire
    finally:
        await wire.close()


async def said(*command: object) -> tuple[int, str]:
    """Status and output of a program, with its errors."""
    process = await asyncio.create_subprocess_exec(
        *map(str, command), stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT,
    )  # fmt: skip
    async with asyncio.timeout(30):
        out, _ = await process.communicate()
    assert process.returncode is not None
    return process.returncode, out.decode()


async def mbpoll(wire: ServerWire, *arguments: object) -> tuple[int, str]:
    return await said("mbpoll", "-m", "tcp", "-p", wire.port, "-a", UNIT, "-1", *arguments)


def values(shown: str) -> dict[int, int]:
    """Reference -> value, as mbpoll shows them."""
    return {int(at): int(value) for at, value in re.findall(r"^\[(\d+)\]:\s+(\d+)", shown, re.MULTILINE)}


async def test_mbpoll_reads_contacts_and_currents_at_the_addresses_of_the_map(point_map):
    async with device(point_map) as wire:
        status, shown = await mbpoll(wire, "-0", "-r", 0, "-c", 8, "-t", 1, "127.0.0.1")
        assert (status, values(shown)) == (0, dict(enumerate(CONTACTS.values()))), shown
        status, shown = await mbpoll(wire, "-0", "-r", 0, "-c", 4, "-t", 3, "127.0.0.1")
        assert (status, values(shown)) == (0, dict(enumerate((4_101, LIFE, *CURRENTS.values())))), shown


@pytest.mark.parametrize(
    ("number", "value"), [("30001", 4_101), ("30003", 3_599), ("30004", 20_500), ("10004", 1)]
)
async def test_mbpoll_finds_a_point_under_its_printed_reference(point_map, number, value):
    """The number as modbus.yaml prints it, given to mbpoll with its own counting from 1."""
    async with device(point_map) as wire:
        _, shown = await mbpoll(wire, "-r", int(number[1:]), "-t", number[0], "127.0.0.1")
        assert values(shown) == {int(number[1:]): value}


async def test_mbpoll_writes_the_outputs_and_the_life_counter(point_map):
    async with device(point_map) as wire:
        status, shown = await mbpoll(wire, "-0", "-r", 0, "-t", 4, "127.0.0.1", "--", TOLD_BITS, 7)
        assert status == 0, shown
        assert wire.newest
        assert wire.newest.life == 7
        assert {name: on for name, on in wire.newest.values.items() if on} == TOLD


async def test_mbpoll_is_refused_what_the_map_does_not_have(point_map):
    async with device(point_map) as wire:
        for arguments in (("-r", 9, "-t", 4), ("-r", 0, "-c", 9, "-t", 1), ("-r", 0, "-t", 0)):
            _, shown = await mbpoll(wire, "-0", *arguments, "127.0.0.1")
            assert "Illegal data address" in shown, shown
        _, shown = await mbpoll(
            wire, "-0", "-r", 1, "-t", 4, "127.0.0.1", "--", 1, 1
        )  # the second does not exist
        assert "Illegal data address" in shown, shown
        assert wire.newest is None


async def test_libmodbus_reads_what_the_device_shows(point_map, program):
    async with device(point_map) as wire:
        for table, count, expected in (
            ("discrete_input", 8, CONTACTS.values()), ("input_register", 4, (4_101, LIFE, *CURRENTS.values())),
        ):  # fmt: skip
            status, shown = await said(program, "read", wire.port, UNIT, table, 0, count)
            assert (status, shown.split()) == (0, [str(value) for value in expected])
        status, shown = await said(program, "read", wire.port, UNIT, "input_register", 3, 2)
        assert (status, "Illegal data address" in shown) == (1, True), shown
        status, shown = await said(program, "read", wire.port, 17, "input_register", 3, 1)
        assert (status, "Target device failed to respond" in shown) == (1, True), shown


async def test_libmodbus_writes_what_the_device_takes(point_map, program):
    async with device(point_map) as wire:
        status, shown = await said(
            program, "write", wire.port, UNIT, "holding_register", 0, TOLD_BITS, 65_535
        )
        assert status == 0, shown
        assert wire.newest
        assert wire.newest.life == 65_535
        assert {name: on for name, on in wire.newest.values.items() if on} == TOLD
        status, shown = await said(program, "write", wire.port, UNIT, "holding_register", 1, 9)  # FC 06
        assert status == 0, shown
        assert wire.newest.life == 9
        assert not any(wire.newest.values.values()), "what another connection had written was taken over"


@asynccontextmanager
async def libmodbus_server(
    program: str, *shown: object
) -> AsyncIterator[tuple[int, asyncio.subprocess.Process]]:
    server = await asyncio.create_subprocess_exec(
        program, "serve", "0", *map(str, shown), stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE
    )
    assert server.stdout
    assert server.stdin
    try:
        yield int(await server.stdout.readline()), server
    finally:
        server.stdin.close()
        await server.wait()


async def written(server: asyncio.subprocess.Process) -> dict[tuple[str, int], int]:
    """What is not 0 in the coils and holding registers of the libmodbus server."""
    assert server.stdin
    assert server.stdout
    server.stdin.write(b"\n")
    told = (await server.stdout.readline()).decode().split()
    return {
        (table, int(at)): int(value)
        for table, at, value in zip(told[::3], told[1::3], told[2::3], strict=True)
    }


async def test_the_controller_reads_and_writes_a_libmodbus_server(point_map, program):
    shown = [cell for at, value in enumerate(CONTACTS.values()) for cell in ("discrete_input", at, value)]
    for at, value in enumerate((4_101, LIFE, *CURRENTS.values())):
        shown += ["input_register", at, value]
    async with libmodbus_server(program, *shown) as (port, server), asyncio.timeout(30):
        wire: Wire = make_wire(point_map, "controller", WallClock(), port=port)
        await wire.start()
        try:
            await wire.ready(10)
            assert wire.newest
            assert wire.newest.values == CONTACTS | CURRENTS
            assert wire.newest.life == LIFE
            assert await written(server) == {}, "something was written before it was handed over"
            outputs = {place.name: TOLD.get(place.name, 0) for place in point_map.outputs}
            assert wire.hand_over(outputs, 258)
            assert await wire.confirm(10)
            assert await written(server) == {("holding_register", 0): TOLD_BITS, ("holding_register", 1): 258}
        finally:
            await wire.close()


async def test_another_libmodbus_server_is_not_written_to(point_map, program):
    """The register that tells the device holds another number."""
    async with libmodbus_server(program, "input_register", 0, 4_102) as (port, server):
        wire: Wire = make_wire(point_map, "controller", WallClock(), port=port)
        await wire.start()
        try:
            with pytest.raises(Exception, match="4102"):
                await wire.ready(0.5)
            assert not wire.hand_over(dict.fromkeys(Outputs._fields, 1), 1)
            assert await written(server) == {}
        finally:
            await wire.close()
