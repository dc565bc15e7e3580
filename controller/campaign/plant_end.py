"""
The plant's end of the wire: what hands over its inputs and takes the outputs of the controller at the other.

The network lives only while somebody waits for the next scan, all in one thread. So an end that is told to be
silent is silent for certain: connections stand, requests pile up, and nobody answers or asks.
"""

import asyncio
from collections.abc import Mapping
from contextlib import suppress
from typing import Protocol

from controller.clock import WallClock
from controller.modbus.exchange import Received, Wire
from controller.modbus.point_map import PointMap
from controller.modbus.wire import make_wire


class PlantEnd(Protocol):
    """What a station over the wire needs of its end."""

    def now_ms(self) -> int:
        """Time of the room."""

    @property
    def newest(self) -> Received | None:
        """What the controller wrote last, whole; None before the first, and after `drop`."""

    @property
    def said(self) -> str:
        """What is wrong with the link, in words; empty where nothing is."""

    def hand_over(self, values: Mapping[str, int], life: int) -> None:
        """What the controller gets next."""

    def wait_until(self, due_ms: int, silent: bool) -> None:
        """Lets the network run until then, or with `silent` stand still."""

    def drop(self) -> None:
        """Closes every connection, and takes none until `take_up`."""

    def take_up(self) -> None:
        """Is there again."""

    def close(self) -> None:
        """Ends it; may be called twice."""


class ModbusEnd:
    """
    A `PlantEnd` over Modbus TCP, in the role that the map leaves to the device.

    Args:
        point_map: Of the station.
        host: Where it listens, or where the controller does.
        port: Likewise; 0: the system chooses where it listens.

    Raises:
        LinkError: It cannot listen there.
    """

    def __init__(self, point_map: PointMap, host: str, port: int) -> None:
        self._map, self._host, self._port, self._clock = point_map, host, port, WallClock()
        self._loop = asyncio.new_event_loop()
        self._wire: Wire | None = None
        try:
            self.take_up()
        except BaseException:
            self.close()
            raise

    def now_ms(self) -> int:
        """As promised."""
        return self._clock.now_ms()

    @property
    def newest(self) -> Received | None:
        """As promised."""
        found = self._wire.newest if self._wire else None
        return found if self._wire and found and found.session == self._wire.session else None

    @property
    def said(self) -> str:
        """As promised."""
        return self._wire.health.said if self._wire else "the link is dropped"

    def hand_over(self, values: Mapping[str, int], life: int) -> None:
        """As promised."""
        if self._wire:
            self._wire.hand_over(values, life)

    def wait_until(self, due_ms: int, silent: bool) -> None:
        """As promised."""
        if silent:
            self._clock.sleep_until(due_ms)
        else:
            self._loop.run_until_complete(asyncio.sleep(max(0, due_ms - self._clock.now_ms()) / 1_000))

    def drop(self) -> None:
        """As promised."""
        wire, self._wire = self._wire, None
        if wire:
            self._loop.run_until_complete(wire.close())

    def take_up(self) -> None:
        """As promised."""
        if self._wire is None:
            wire = make_wire(self._map, "device", self._clock, host=self._host, port=self._port)
            self._loop.run_until_complete(wire.start())
            self._wire = wire

    def close(self) -> None:
        """As promised."""
        if self._loop.is_closed():
            return
        with suppress(OSError):
            self.drop()
        self._loop.run_until_complete(self._loop.shutdown_asyncgens())
        self._loop.close()
