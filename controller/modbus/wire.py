"""
One end of the exchange between controller and device, in either Modbus role.

The side says what is handed over and what is taken: the controller gives outputs and its life counter and takes
inputs and the life counter of the device; the device the reverse. The map says who asks (`link.role`).

Where the other end is the client, its image is complete when it writes its life counter: a client writes that
last, or in the same request. Until then the parts that came before stand aside.
"""

from collections.abc import Mapping
from typing import Literal, NamedTuple, Protocol

from controller.clock import Clock
from controller.modbus.health import Health
from controller.modbus.point_map import PointMap

Side = Literal["controller", "device"]


class Received(NamedTuple):
    """The newest complete image of the other side."""

    values: Mapping[str, int]  # every mapped point of the direction; contacts and outputs 0 or 1, analogs in uA
    life: int  # counter of the other side, 0 to 65535; 0 where the map has none
    at_ms: int  # clock when the exchange was begun: never younger than the data
    session: int  # connection that it came over


class Wire(Protocol):
    """
    One end of the exchange.

    - Nothing here waits but `start`, `ready`, `confirm` and `close`: the network runs beside the scan.
    - `newest` stays what it was when the link is lost: its age tells.
    - What the controller handed over is forgotten when its link is lost or new, so that nothing decided before
      goes out after: it sends nothing (as client) or shows zeros (as server) until it is handed something new.
    """

    @property
    def newest(self) -> Received | None:
        """The newest complete image; None before the first."""

    @property
    def session(self) -> int:
        """Counts connections with the other side: a new number says that the link is new; 0 while there is none."""

    @property
    def health(self) -> Health:
        """How the link stands now."""

    def hand_over(self, values: Mapping[str, int], life: int, session: int | None = None) -> bool:
        """
        Replace what the other side gets: all mapped points of the direction and the life counter, whole.

        On the controller's side it is taken only while there is a link, and, if `session` is given, only if that is
        the present one: what was decided on another link is dropped. Returns whether it was taken.
        """

    async def start(self) -> None:
        """
        Begin; as client without waiting for the device, tried again at least once a second.

        Raises:
            LinkError: as server, the address cannot be listened on.
        """

    async def ready(self, timeout_s: float) -> None:
        """
        Wait for the first complete image.

        Raises:
            LinkError: none came in time; says why (refused, silent, wrong identity, ...).
        """

    async def confirm(self, timeout_s: float) -> bool:
        """Whether what was handed over last is taken by the other side within the time: written, or all read."""

    async def close(self) -> None:
        """End the exchange and close every connection; may be called twice."""


def make_wire(
    point_map: PointMap, side: Side, clock: Clock, *, host: str | None = None, port: int | None = None
) -> Wire:
    """
    The end of the wire for a side; `host` and `port` take the place of those in the map.

    Raises:
        LinkError: a server that others than this machine could reach, without a list of who may.
    """
    raise NotImplementedError
