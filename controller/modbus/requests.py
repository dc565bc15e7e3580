"""
The requests of one direction: as few as the limits of the protocol allow.

A request covers addresses that lie side by side and nothing beside the map: a hole may be refused by the
device, and what is not in the map is not ours to write. A value of two registers is never split.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from controller.modbus.places import Place, Table
from controller.modbus.values import point_cells, point_value

READ_MAX: Mapping[Table, int] = {
    "coil": 2_000, "discrete_input": 2_000, "holding_register": 125, "input_register": 125,
}  # fmt: skip
WRITE_MAX: Mapping[Table, int] = {"coil": 1_968, "holding_register": 123}
"""Addresses in one request: application protocol V1.1b3, 6.1 to 6.4, 6.11 and 6.12."""


class Request(NamedTuple):
    """One request: `count` addresses of a table from `start`, and the points that lie in them."""

    table: Table
    start: int
    count: int  # type: ignore[assignment]  # of tuples, not needed here
    places: tuple[Place, ...]

    def decoded(self, cells: Sequence[int]) -> dict[str, int]:
        """The values of its points, from the cells of the reply."""
        return {place.name: point_value(place, cells[self._slice(place)]) for place in self.places}

    def encoded(self, values: Mapping[str, int]) -> list[int]:
        """The cells to write; bits of a register that belong to no point are 0."""
        cells = [0] * self.count
        for place in self.places:
            at = self._slice(place).start
            for offset, cell in enumerate(point_cells(place, values[place.name])):
                cells[at + offset] |= cell
        return cells

    def _slice(self, place: Place) -> slice:
        first = place.address - self.start
        return slice(first, first + place.size)


def grouped(places: Iterable[Place], most: Mapping[Table, int], *, last: str = "") -> tuple[Request, ...]:
    """The requests that cover these places; the one with the point `last` comes last."""
    requests: list[Request] = []
    ordered = sorted(places, key=lambda place: (place.table, place.address, place.bit or 0))
    for place in ordered:
        end = place.address + place.size
        if requests:
            table, start, count, group = requests[-1]
            beside = table == place.table and place.address <= start + count
            if beside and end - start <= most[table]:
                requests[-1] = Request(table, start, max(count, end - start), (*group, place))
                continue
        requests.append(Request(place.table, place.address, place.size, (place,)))
    return tuple(sorted(requests, key=lambda request: any(place.name == last for place in request.places)))
