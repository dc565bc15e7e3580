"""The plant's end of a real wire, in both Modbus roles: exchange, silence, a dropped link, one that comes back."""

import asyncio
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from foreign.over_sockets import free_port

from controller.campaign.plant_end import ModbusEnd
from controller.campaign.where import Address
from controller.clock import WallClock
from controller.image import Inputs
from controller.modbus.health import LinkError
from controller.modbus.point_map import PointMap, load_point_map
from controller.modbus.wire import make_wire
from controller.settings import load_station
from controller.stations import station_folder

WITHIN_MS = 20_000


def map_of(station: str) -> PointMap:
    folder: Path = station_folder(station)
    return load_point_map(folder, load_station(folder).points)


ROLES = {"client": "buckwheat_mill", "server": "milk_powder_hall"}
"""What the controller is, and a station whose map says so."""


@contextmanager
def controller(point_map: PointMap, port: int) -> Iterator[list[int]]:
    """A controller at the other end, in a thread: commands its first output, and counts; gives what it saw last."""
    over, seen, ready = threading.Event(), [0, 0], threading.Event()
    values = {place.name: int(place.name == "run_lamp") for place in point_map.outputs}

    async def lives() -> None:
        wire, life = make_wire(point_map, "controller", WallClock(), port=port), 0
        await wire.start()
        ready.set()
        while not over.is_set():
            life += 1
            wire.hand_over(values, life)
            if wire.newest:
                seen[:] = [wire.newest.values["level_free"], wire.newest.life]
            await asyncio.sleep(0.01)
        await wire.close()

    thread = threading.Thread(target=lambda: asyncio.run(lives()))
    thread.start()
    try:
        assert ready.wait(20)
        yield seen
    finally:
        over.set()
        thread.join(20)
        assert not thread.is_alive()


def until(end: ModbusEnd, so: object, life: int = 0, silent: bool = False) -> int:
    """Lets it run until something is so; its life counter then."""
    assert callable(so)
    first_ms = end.now_ms()
    while not so():
        assert end.now_ms() - first_ms < WITHIN_MS, end.said
        life += 1
        end.hand_over(Inputs()._asdict(), life)
        end.wait_until(end.now_ms() + 10, silent)
    return life


@pytest.mark.parametrize("role", ROLES)
def test_it_exchanges_in_either_role_and_comes_back_after_it_was_dropped(role: str) -> None:
    point_map = map_of(ROLES[role])
    assert point_map.link.role == role
    port = free_port()
    with closing(Address("127.0.0.1", port).meet(point_map)) as end, controller(point_map, port) as seen:
        assert isinstance(end, ModbusEnd)
        until(end, lambda: end.newest is not None and end.newest.values["run_lamp"] == 1 and seen[1] > 0)
        assert end.newest
        life = end.newest.life
        until(end, lambda: end.newest is not None and end.newest.life > life + 3, seen[1])
        end.drop()
        assert end.newest is None
        assert end.said == "the link is dropped"
        end.wait_until(end.now_ms() + 50, silent=False)
        end.take_up()
        until(end, lambda: end.newest is not None, seen[1])


@pytest.mark.parametrize("role", ROLES)
def test_while_it_is_silent_nothing_is_taken_and_nothing_is_given(role: str) -> None:
    point_map = map_of(ROLES[role])
    port = free_port()
    with closing(Address("127.0.0.1", port).meet(point_map)) as end, controller(point_map, port) as seen:
        life = until(end, lambda: end.newest is not None and seen[1] > 0)
        end.wait_until(end.now_ms() + 30, silent=True)
        before, shown = end.newest, seen[1]
        end.hand_over(Inputs()._asdict(), life + 1_000)
        end.wait_until(end.now_ms() + 200, silent=True)
        assert end.newest == before
        assert seen[1] == shown
        until(end, lambda: end.newest != before and seen[1] > life + 1_000, life + 1_000)


def test_a_port_that_is_taken_is_told() -> None:
    point_map, port = map_of("buckwheat_mill"), free_port()
    with closing(ModbusEnd(point_map, "127.0.0.1", port)), pytest.raises(LinkError, match=str(port)):
        ModbusEnd(point_map, "127.0.0.1", port)
