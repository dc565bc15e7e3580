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
from controller.modbus.places import BIT_TABLES, Link, Place, Side, WordOrder
from controller.points import ANALOGS, PointList
from controller.station_file import Document, Problem, StationError, StrictModel, load_most
from controller.strict_yaml import dotted

FILE = "modbus.yaml"


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
    document, problems = read_map(folder, points)
    if problems or document is None:
        raise StationError(problems)
    return map_of(document)


def read_map(folder: Path, points: PointList | None) -> tuple[Document[StrictModel] | None, list[Problem]]:
    """
    modbus.yaml without what is wrong in it, and every problem, in file order; None where too little is left.

    Without `points` it is not held against the I/O list.

    Raises:
        StationError: The file can't be read.
    """
    document, problems = load_most(folder / FILE, map_model(), map_model(whole=False))
    if document is not None:
        rows = {".".join(problem.key.split(".")[:2]) for problem in problems}
        placed = tuple(one for one in _placed(document.value) if dotted(one.loc) not in rows)
        told = {problem.key for problem in problems}
        found = map_problems(document, _link(document.value), placed, points)
        problems += [problem for problem in found if problem.key not in told]
    return document, sorted(problems, key=lambda problem: problem[1:3])


def map_of(document: Document[StrictModel]) -> PointMap:
    """The map that a file without a mistake holds."""
    value: Any = document.value
    by_loc = {one.loc: one.place for one in _placed(value)}
    link = _link(value)
    assert link is not None
    return PointMap(
        document.file, link, value.watchdog_ms,
        tuple(place for loc, place in by_loc.items() if loc[0] == "inputs"),
        tuple(place for loc, place in by_loc.items() if loc[0] == "outputs"),
        by_loc["life", "controller"], by_loc.get(("life", "device")),
        (by_loc["identity",], value.identity.value) if value.identity else None,
    )  # fmt: skip


def _link(value: Any) -> Link | None:
    asked, server = value.link, value.server
    return asked and Link(
        asked.role, asked.host, asked.port, asked.unit, asked.timeout_ms, asked.retries, asked.poll_ms,
        server.connections_max, server.idle_s, tuple(server.allow),
    )  # fmt: skip


def _placed(value: Any) -> Iterator[Placed]:
    """Every place of the file, in its order, with the side that sets it."""
    order: WordOrder = value.link.word_order if value.link else "ABCD"
    for group, giver in (("inputs", "device"), ("outputs", "controller")):
        rows = getattr(value, group)
        for name in type(rows).model_fields if rows else ():
            row = getattr(rows, name)
            if row:
                yield Placed((group, name), _place(name, row, order), giver, row.reference)
    for giver in ("controller", "device"):
        row = getattr(value.life, giver, None)
        if row:
            place = Place("life", row.table, row.address, word_order=order)
            yield Placed(("life", giver), place, giver, row.reference)
    if value.identity:
        row = value.identity
        server = "controller" if value.link and value.link.role == "server" else "device"
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
