"""What both ends of the wire keep: what was received last, what was handed over, and how the link stands."""

import asyncio
from collections.abc import Mapping
from typing import NamedTuple, Protocol

from controller.clock import Clock
from controller.modbus.health import Health, LinkError
from controller.modbus.places import Side
from controller.modbus.point_map import PointMap


class Received(NamedTuple):
    """The newest complete image of the other side."""

    values: Mapping[str, int]  # every mapped point of the direction; contacts, outputs 0 or 1, analogs uA
    life: int  # counter of the other side, 0 to 65535; 0 where the map has none
    at_ms: int  # clock when the exchange was begun: never younger than the data
    session: int  # connection that it came over


class Wire(Protocol):
    """
    One end of the exchange.

    - Nothing here waits but `start`, `ready`, `confirm` and `close`: the network runs beside the scan.
    - `newest` stays what it was when the link is lost: its age tells.
    - What the controller handed over is forgotten when its link is lost or new, and when it is older than the
      watchdog time, so that nothing decided before goes out after: it sends nothing (as client) or shows all
      off (as server) until it is handed something new.
    """

    @property
    def newest(self) -> Received | None:
        """The newest complete image; None before the first."""

    @property
    def session(self) -> int:
        """Number of the connection with the other side: another one, another link; 0 while there is none."""

    @property
    def health(self) -> Health:
        """How the link stands now."""

    def hand_over(self, values: Mapping[str, int], life: int, session: int | None = None) -> bool:
        """
        Replace what the other side gets: all mapped points of the direction and the life counter, whole.

        On the controller's side it is taken only while there is a link, and, if `session` is given, only if
        that is the present one: what was decided on another link is dropped. Returns whether it was taken.
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
        """Whether what was handed over last is taken within the time: acknowledged, or all of it read."""

    async def close(self) -> None:
        """End the exchange and close every connection; may be called twice."""


class Handed(NamedTuple):
    """What the other side is to get."""

    values: Mapping[str, int]  # with the life counter under its name
    at_ms: int  # clock when it was handed over


class End:
    """The state that both roles share. A session is begun and ended by the role."""

    def __init__(self, point_map: PointMap, side: Side, clock: Clock) -> None:
        self.map = point_map
        self.side: Side = side
        self.clock = clock
        self.newest: Received | None = None
        self.session = 0
        self._handed: Handed | None = None
        self._taken = asyncio.Event()
        self._first = asyncio.Event()
        self._sessions = self._misses = self._exchanges = 0
        self._said = ""

    def hand_over(self, values: Mapping[str, int], life: int, session: int | None = None) -> bool:
        """As `Wire.hand_over`."""
        if self.side == "controller" and (not self.session or session not in (None, self.session)):
            return False
        self._handed = Handed({**values, "life": life & 0xFFFF}, self.clock.now_ms())
        self._taken.clear()
        return True

    async def ready(self, timeout_s: float) -> None:
        """As `Wire.ready`."""
        try:
            await asyncio.wait_for(self._first.wait(), timeout_s)
        except TimeoutError:
            raise LinkError(self.health.said or f"no image within {timeout_s:g} s") from None

    async def confirm(self, timeout_s: float) -> bool:
        """As `Wire.confirm`; at once where nothing is handed over, which a lost link forgets."""
        if not self._handed:
            return False
        try:
            await asyncio.wait_for(self._taken.wait(), timeout_s)
        except TimeoutError:
            return False
        return True

    @property
    def health(self) -> Health:
        """As `Wire.health`."""
        last_ms = self.newest.at_ms if self.newest else None
        old = last_ms is None or self.clock.now_ms() - last_ms > self.map.watchdog_ms
        state = "bad" if old else "stale" if self._misses or not self.session else "good"
        said = "" if state == "good" else self._said or self._silence(last_ms)
        return Health(state, said, self._misses, last_ms, self._exchanges)  # type: ignore[arg-type]

    def _silence(self, last_ms: int | None) -> str:
        """Nothing failed, and nothing came: a client that writes no more, or this program held up."""
        return "no image yet" if last_ms is None else f"no whole image for {self.clock.now_ms() - last_ms} ms"

    def _received(self, values: dict[str, int], at_ms: int) -> None:
        life = values.pop("life", 0)
        self.newest = Received(values, life, at_ms, self.session)
        self._misses, self._said = 0, ""
        self._exchanges += 1
        self._first.set()

    def _missed(self, said: str) -> None:
        self._misses += 1
        self._said = said

    def _begin_session(self) -> None:
        self._sessions += 1
        self._forget()
        self.session = self._sessions

    def _end_session(self) -> None:
        self.session = 0
        self._forget()

    def _forget_what_is_old(self) -> None:
        """Outputs that the device has dropped since must not come back without a new decision."""
        if self._handed and self._is_old(self._handed):
            self._forget()

    def _still_valid(self, handed: Handed) -> None:
        """Between the parts of an image too: its last one is what lets all of it act."""
        if self.side == "controller" and self._is_old(handed):
            msg = f"this program was held up for over {self.map.watchdog_ms} ms: its outputs are not sent"
            raise LinkError(msg)

    def _is_old(self, handed: Handed) -> bool:
        return self.clock.now_ms() - handed.at_ms > self.map.watchdog_ms

    def _forget(self) -> None:
        """The plant's inputs stay true on a new link; what a controller decided does not."""
        if self.side == "controller":
            self._handed = None
            self._taken.clear()
