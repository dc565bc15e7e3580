"""
The map of a station: modbus.yaml says where each wired point stands in the tables of the Modbus server.

One file for both ends: the simulated device takes the other role with the same map. Addresses are those of
the protocol (0-based); the number printed in a manual may stand beside them and must then agree.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

from controller.modbus.map_checks import Placed, map_problems
from controller.modbus.map_file import map_model
from controller.modbus.places import BIT_TABLES, Link, Place, Side
from controller.points import ANALOGS, PointList
from controller.station_file import StationError, load


class PointMap(NamedTuple):
    """The map of a station, checked whole."""

    file: str
    link: Link
    watchdog_ms: int
    inputs: tuple[Place, ...]
    outputs: tuple[Place, ...]
    controller_life: Place
    device_life: Place | None
    identity: tuple[Place, int] | None  # a register of the server, and what the client must find there

    def given_by(self, side: Side) -> tuple[Place, ...]:
        """What a side hands over: its points, and its life counter under the name "life"."""
        if side == "controller":
            return (*self.outputs, self.controller_life)
        return (*self.inputs, self.device_life) if self.device_life else self.inputs

    def is_client(self, side: Side) -> bool:
        """Whether a side asks; the other answers."""
        return (self.link.role == "client") == (side == "controller")


def load_point_map(folder: Path, points: PointList) -> PointMap:
    """
    The map of a station, whole.

    Raises:
        StationError: every problem of modbus.yaml: what is wrong in itself, points without a place or beside
            the list, places that overlap or cannot be written by the end that must.
    """
    document = load(folder / "modbus.yaml", map_model())
    value: Any = document.value
    placed = tuple(_placed(value))
    asked = value.link
    link = Link(
        asked.role, asked.host, asked.port, asked.unit, asked.timeout_ms, asked.retries, asked.poll_ms,
        value.server.connections_max, value.server.idle_s, tuple(value.server.allow),
    )  # fmt: skip
    problems = map_problems(document, link, placed, points)
    if problems:
        raise StationError(sorted(problems, key=lambda problem: problem[1:3]))
    by_loc = {one.loc: one.place for one in placed}
    return PointMap(
        document.file, link, value.watchdog_ms,
        tuple(one.place for one in placed if one.loc[0] == "inputs"),
        tuple(one.place for one in placed if one.loc[0] == "outputs"),
        by_loc["life", "controller"], by_loc.get(("life", "device")),
        (by_loc["identity",], value.identity.value) if value.identity else None,
    )  # fmt: skip


def _placed(value: Any) -> Iterator[Placed]:
    """Every place of the file, in its order, with the side that sets it."""
    order = value.link.word_order
    for group, giver in (("inputs", "device"), ("outputs", "controller")):
        rows = getattr(value, group)
        for name in type(rows).model_fields:
            row = getattr(rows, name)
            if row:
                yield Placed((group, name), _place(name, row, order), giver, row.reference)
    for giver in ("controller", "device"):
        row = getattr(value.life, giver)
        if row:
            place = Place("life", row.table, row.address, word_order=order)
            yield Placed(("life", giver), place, giver, row.reference)
    if value.identity:
        row = value.identity
        server = "device" if value.link.role == "client" else "controller"
        place = Place("identity", row.table, row.address, word_order=order)
        yield Placed(("identity",), place, server, row.reference)


def _place(name: str, row: Any, order: Any) -> Place:
    if name in ANALOGS:
        kept = row.word_order or order
        return Place(
            name, row.table, row.address, row.type, None, row.scale, row.offset, False, kept
        )  # fmt: skip
    bit = None if row.table in BIT_TABLES else row.bit
    return Place(name, row.table, row.address, "bool", bit, invert=getattr(row, "invert", False))
