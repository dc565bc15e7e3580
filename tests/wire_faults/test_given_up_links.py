"""
What a link that was cut has held up does not go out when it is back.

The system sends what a program has written again and again, for minutes, and goes on when the program has closed
the connection or has been killed. So a link that is given up ends in a reset, with which all of that is dropped.
"""

import asyncio
import socket
import sys
from pathlib import Path

import pytest
from wire_faults.small_map import WATCHDOG_MS, small_map

from controller.clock import WallClock
from controller.modbus.client import Client
from controller.modbus.wire import make_wire

TESTS = Path(__file__).parents[1]
ASKS = """
import asyncio, sys
from wire_faults.small_map import small_map
from controller.modbus.client import Client

async def ask():
    await Client(small_map("client", 0).link, "127.0.0.1", int(sys.argv[1]), 60_000).connect()
    print("connected", flush=True)
    await asyncio.sleep(60)

asyncio.run(ask())
"""


class Silent:
    """Takes connections, answers nothing, and says how each ended."""

    async def __aenter__(self) -> "Silent":
        self.ended: asyncio.Queue[str] = asyncio.Queue()
        self._server = await asyncio.start_server(self._take, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_: object) -> None:
        self._server.close()

    async def _take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while await reader.read(4_096):
                pass
            self.ended.put_nowait("closed")
        except ConnectionResetError:
            self.ended.put_nowait("reset")
        finally:
            writer.close()

    async def how_it_ended(self) -> str:
        async with asyncio.timeout(20):
            return await self.ended.get()


async def test_a_link_that_is_given_up_is_reset():
    async with Silent() as device:
        wire = make_wire(small_map("client", device.port), "controller", WallClock())
        await wire.start()
        try:
            assert await device.how_it_ended() == "reset"
        finally:
            await wire.close()


async def test_a_controller_that_is_killed_leaves_nothing_to_be_sent():
    async with Silent() as device:
        program = await asyncio.create_subprocess_exec(
            sys.executable, "-c", ASKS, str(device.port), stdout=asyncio.subprocess.PIPE,
            env={"PYTHONPATH": f"{TESTS}:{TESTS.parent}"},
        )  # fmt: skip
        assert program.stdout
        async with asyncio.timeout(20):
            assert await program.stdout.readline() == b"connected\n"
        program.kill()
        assert await device.how_it_ended() == "reset"
        await program.wait()


async def test_a_link_that_is_closed_in_order_is_not_reset():
    async with Silent() as device:
        client = Client(small_map("client", 0).link, "127.0.0.1", device.port, WATCHDOG_MS)
        await client.connect()
        client.close()
        assert await device.how_it_ended() == "closed"


@pytest.mark.skipif(not hasattr(socket, "TCP_USER_TIMEOUT"), reason="an option of Linux")
async def test_what_the_device_has_not_taken_within_the_watchdog_time_is_not_sent_again():
    async with Silent() as device:
        client = Client(small_map("client", 0).link, "127.0.0.1", device.port, WATCHDOG_MS)
        await client.connect()
        used = client._client.ctx.transport.get_extra_info("socket")
        assert used.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT) == WATCHDOG_MS
        client.give_up()
        assert await device.how_it_ended() == "reset"
