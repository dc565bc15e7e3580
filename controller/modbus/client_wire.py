"""
The end that asks: one exchange of the whole image in each polling time, over one connection.

It begins as soon as something is handed over, so that outputs go out in the scan that decided them and inputs
are always of the same age when the next scan takes them; without, at the end of the polling time.

An exchange writes what was newly handed over, then reads; only if both worked there is a new image, so that a
device that takes no outputs shows as an image that grows old. A reply that is late or refused is a miss, and
the next exchange tries again; a stream that cannot be trusted, or misses beyond the watchdog time, cost the
connection.
"""

import asyncio
from collections.abc import Mapping

from controller.clock import Clock
from controller.modbus.client import Client
from controller.modbus.exchange import End
from controller.modbus.health import LinkError
from controller.modbus.places import Side
from controller.modbus.point_map import PointMap
from controller.modbus.requests import READ_MAX, WRITE_MAX, Request, grouped

RECONNECT_S = (0.1, 0.8)
"""Wait before another connection is tried, doubled from the first to the last."""


class ClientWire(End):
    """As `Wire`."""

    def __init__(self, point_map: PointMap, side: Side, clock: Clock, host: str, port: int) -> None:
        super().__init__(point_map, side, clock)
        other: Side = "device" if side == "controller" else "controller"
        self._reads = grouped(point_map.given_by(other), READ_MAX)
        self._writes = grouped(point_map.given_by(side), WRITE_MAX, last="life")
        self._host, self._port = host, port
        self._task: asyncio.Task[None] | None = None
        self._fresh = asyncio.Event()  # handed over, or due
        self._said = f"device at {host}:{port} was not asked yet"

    async def start(self) -> None:
        """As `Wire.start`."""
        self._task = asyncio.create_task(self._keep_linked(), name="modbus client")

    def hand_over(self, values: Mapping[str, int], life: int, session: int | None = None) -> bool:
        """As `Wire.hand_over`."""
        handed = super().hand_over(values, life, session)
        if handed:
            self._fresh.set()
        return handed

    async def close(self) -> None:
        """As `Wire.close`."""
        task, self._task = self._task, None
        while task and not task.done():
            task.cancel()  # again: where a reply comes in the same moment, Python 3.11 swallows it
            await asyncio.wait({task}, timeout=0.05)
        if task and not task.cancelled():
            task.result()

    async def _keep_linked(self) -> None:
        wait_s, longest_s = RECONNECT_S
        while True:
            before = self._exchanges
            client = Client(self.map.link, self._host, self._port, self.map.watchdog_ms)
            try:
                await client.connect()
                await self._identify(client)
                self._begin_session()
                await self._exchange_until_lost(client)
            except LinkError as error:
                client.give_up()
                self._missed(str(error))
            except Exception as error:  # a mistake of ours or of the library costs the link, not its healing
                client.give_up()
                self._missed(f"{type(error).__name__} while exchanging with {self._host}: {error}")
            finally:
                client.close()
                self._end_session()
            wait_s = RECONNECT_S[0] if self._exchanges > before else min(2 * wait_s, longest_s)
            await asyncio.sleep(wait_s)

    async def _identify(self, client: Client) -> None:
        """The register that tells the device must hold what the map says; nothing is written before."""
        if not self.map.identity:
            return
        place, wanted = self.map.identity
        (shown,) = await client.read(Request(place.table, place.address, 1, ()))
        if shown != wanted:
            msg = (
                f"device at {self._host}:{self._port} is another one: {place.table} {place.address} holds "
                f"{shown}, {self.map.file} wants {wanted}; nothing is written to it"
            )
            raise LinkError(msg)

    async def _exchange_until_lost(self, client: Client) -> None:
        begun_ms = self.clock.now_ms()
        while True:
            begun_s = asyncio.get_running_loop().time()
            try:
                begun_ms = await self._exchange(client)
            except LinkError as error:
                if error.broken or self.clock.now_ms() - begun_ms > self.map.watchdog_ms:
                    raise
                self._missed(str(error))
            await self._until_due(begun_s)

    async def _until_due(self, begun_s: float) -> None:
        """The next exchange: when something is handed over, between half a polling time and a whole one."""
        loop = asyncio.get_running_loop()
        poll_s = self.map.link.poll_ms / 1000
        await asyncio.sleep(begun_s + poll_s / 2 - loop.time())
        if not self._handed or self._taken.is_set():
            self._fresh.clear()
        latest = loop.call_at(begun_s + poll_s, self._fresh.set)
        await self._fresh.wait()
        latest.cancel()

    async def _exchange(self, client: Client) -> int:
        """One exchange; returns the clock at its beginning."""
        begun_ms = self.clock.now_ms()
        self._forget_what_is_old()
        handed = self._handed
        if handed and not self._taken.is_set():
            for request in self._writes:
                self._still_valid(handed)
                await client.write(request, request.encoded(handed.values))
            if self._handed is handed:
                self._taken.set()
        values: dict[str, int] = {}
        for request in self._reads:
            values.update(request.decoded(await client.read(request)))
        self._received(values, begun_ms)
        return begun_ms
