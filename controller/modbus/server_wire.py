"""
The end that is asked: tables that a client reads, and writes its image into.

One client writes at a time: the first that does, until it hangs up or has written nothing for the watchdog
time; others may read, and are told that the device is busy if they write. Its image is taken when it writes
its life counter; until then the parts that came before stand aside.
"""

from collections.abc import Mapping

from controller.clock import Clock
from controller.modbus.answers import BUSY, RefusedError, Tables, answer
from controller.modbus.exchange import End
from controller.modbus.health import Health
from controller.modbus.places import Place, Side, Table
from controller.modbus.point_map import PointMap
from controller.modbus.requests import READ_MAX, grouped
from controller.modbus.server import Server


class ServerWire(End):
    """As `Wire`; `tables` are what clients see, `answer` is the server without its sockets."""

    def __init__(self, point_map: PointMap, side: Side, clock: Clock, host: str, port: int) -> None:
        super().__init__(point_map, side, clock)
        other: Side = "device" if side == "controller" else "controller"
        self._gives = grouped(point_map.given_by(side), READ_MAX)
        self._takes = grouped(point_map.given_by(other), READ_MAX)
        self._ends_at = _cell(next(place for place in point_map.given_by(other) if place.name == "life"))
        self.tables = self._empty_tables()
        self.server = Server(point_map.link, host, port, self.answer, self._closed)
        self._asking = self._writer = 0  # connections
        self._written_ms = 0
        self._begun_ms: int | None = None
        self._unread: set[tuple[Table, int]] = set()
        self._said = f"no client has written its image to {host}:{port} yet"

    @property
    def port(self) -> int:
        """The port it listens on, chosen by the system where 0 was asked for."""
        return self.server.port

    async def start(self) -> None:
        """As `Wire.start`."""
        await self.server.start()

    async def close(self) -> None:
        """As `Wire.close`."""
        await self.server.close()

    def hand_over(self, values: Mapping[str, int], life: int, session: int | None = None) -> bool:
        """As `Wire.hand_over`."""
        if not super().hand_over(values, life, session) or not self._handed:
            return False
        self._show(self._handed.values)
        self._unread = {
            (one.table, address) for one in self._gives for address in range(one.start, one.start + one.count)
        }  # fmt: skip
        return True

    @property
    def health(self) -> Health:
        """As `Wire.health`; a client that was turned away is told while the link is not good."""
        found = super().health
        if found.state == "good" or not self.server.said:
            return found
        return found._replace(said="; ".join(filter(None, (found.said, self.server.said))))

    def answer(self, connection: int, pdu: bytes) -> bytes:
        """The reply to a request of a connection."""
        self._asking = connection
        self._forget_what_is_old()
        return answer(pdu, self.tables)

    def _empty_tables(self) -> Tables:
        """Only what is mapped exists: all off, loops without current, nothing received."""
        tables = Tables()
        for request in self._takes:
            cells = range(request.start, request.start + request.count)
            tables.writable.update((request.table, address) for address in cells)
        for request in (*self._takes, *self._gives):
            nothing = request.encoded({place.name: 0 for place in request.places})
            tables.cells[request.table].update(enumerate(nothing, request.start))
        if self.map.identity:
            place, value = self.map.identity
            tables.cells[place.table][place.address] = value
        tables.before_write = self._before_write
        tables.when_written = self._when_written
        tables.when_read = self._when_read
        return tables

    def _show(self, values: Mapping[str, int]) -> None:
        for request in self._gives:
            self.tables.cells[request.table].update(enumerate(request.encoded(values), request.start))

    def _before_write(self) -> None:
        """Only the client whose image this is may write; a new one begins with nothing written."""
        now_ms = self.clock.now_ms()
        if self._writer not in (0, self._asking):
            if now_ms - self._written_ms <= self.map.watchdog_ms:
                raise RefusedError(BUSY)
            self._closed(self._writer)
        if not self._writer:
            self._writer = self._asking
            self._begin_session()
        self._written_ms = now_ms
        if self._begun_ms is None:
            self._begun_ms = now_ms

    def _when_written(self, table: Table, start: int, count: int) -> None:
        life_table, life_address = self._ends_at
        if table != life_table or not start <= life_address < start + count:
            return
        values: dict[str, int] = {}
        for request in self._takes:
            cells = self.tables.cells[request.table]
            values.update(
                request.decoded([cells[request.start + at] for at in range(request.count)])
            )  # fmt: skip
        assert self._begun_ms is not None
        self._received(values, self._begun_ms)
        self._begun_ms = None

    def _when_read(self, table: Table, start: int, count: int) -> None:
        if self._unread and self._writer in (0, self._asking):  # who only looks takes nothing
            self._unread.difference_update((table, address) for address in range(start, start + count))
            if not self._unread:
                self._taken.set()

    def _closed(self, connection: int) -> None:
        if connection == self._writer:
            self._writer, self._begun_ms = 0, None
            self._missed("the client that wrote has gone")
            self._end_session()
            for request in self._takes:
                nothing = request.encoded({place.name: 0 for place in request.places})
                self.tables.cells[request.table].update(enumerate(nothing, request.start))

    def _forget(self) -> None:
        super()._forget()
        if self.side == "controller":
            self._unread.clear()
            self._show({place.name: 0 for request in self._gives for place in request.places})


def _cell(place: Place) -> tuple[Table, int]:
    return place.table, place.address
