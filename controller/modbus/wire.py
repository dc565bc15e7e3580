"""
One end of the exchange between controller and device, in either Modbus role.

The side says what is handed over and what is taken: the controller gives outputs and its life counter and
takes inputs and the life counter of the device; the device the reverse. The map says who asks (`link.role`).

Where the other end is the client, its image is complete when it writes its life counter: a client writes
that last, or in the same request.
"""

from controller.clock import Clock
from controller.modbus.client_wire import ClientWire
from controller.modbus.exchange import Received, Wire
from controller.modbus.health import Health, LinkError
from controller.modbus.places import Side
from controller.modbus.point_map import PointMap
from controller.modbus.server_wire import ServerWire

__all__ = ["Health", "LinkError", "Received", "Side", "Wire", "make_wire"]


def make_wire(
    point_map: PointMap, side: Side, clock: Clock, *, host: str | None = None, port: int | None = None
) -> ClientWire | ServerWire:
    """
    The end of the wire for a side; `host` and `port` take the place of those in the map.

    Raises:
        LinkError: a server that others than this machine could reach, without a list of who may.
    """
    link = point_map.link
    kind = ClientWire if point_map.is_client(side) else ServerWire
    return kind(point_map, side, clock, host or link.host, link.port if port is None else port)
