"""What must agree in a map: with the I/O list, with the tables of Modbus, and one place with another."""

import ipaddress
from collections.abc import Iterator
from typing import Any, NamedTuple

from controller.image import FAILED_HIGH_UA, FAILED_LOW_UA
from controller.modbus.map_file import GOOD
from controller.modbus.places import BIT_TABLES, CLIENT_WRITES, Link, Place, reached_from_here_alone
from controller.modbus.requests import READ_MAX, grouped
from controller.modbus.values import point_cells, point_value
from controller.points import ANALOGS, PointList
from controller.station_file import Document, Problem, StrictModel
from controller.strict_yaml import Loc

_PREFIX = {"0": "coil", "1": "discrete_input", "3": "input_register", "4": "holding_register"}
"""First digit of a printed reference number: a habit of the trade, not part of the standard."""


class Placed(NamedTuple):
    """A place of the file: where it stands there, who sets its value, and the reference beside it."""

    loc: Loc
    place: Place
    giver: str  # the side that sets it: controller or device
    reference: str | None


def map_problems(
    document: Document[StrictModel], link: Link | None, placed: tuple[Placed, ...], points: PointList | None
) -> list[Problem]:
    """Everything that does not agree, in no order; without link or list what hangs on it is left out."""
    found = list(_overlaps(placed))
    if points is not None:
        found += _against_the_list(document, placed, points)
    if link is not None:
        found += _link(document.value, link)
    for one in placed:
        found += _itself(one, document.value)
    if link is not None and link.role:
        found += () if _unread(document, placed) else _torn(placed, link)
        for one in placed:
            found += _reachable(one, link)
    return [document.problem(loc, text) for loc, text in found]


Found = Iterator[tuple[Loc, str]]


def _against_the_list(
    document: Document[StrictModel], placed: tuple[Placed, ...], points: PointList
) -> Found:
    for point in points.points:
        group = "outputs" if point.kind == "output" else "inputs"
        if (group, point.name) not in document.parsed.keys:
            yield (group,), f"{point.name} ({point.tag}) is wired and has no place: {point.description}"
    for loc in (one.loc for one in placed if one.loc[0] in ("inputs", "outputs")):
        name = str(loc[-1])
        if name in points.wired:
            continue
        needed = GOOD.get(name)
        if not needed:
            yield loc, "is not in the I/O list: take it out, or give it a row in points.yaml"
        elif needed not in points.wired:
            yield loc, f"tells whether {needed} is to be trusted, which is not in the I/O list"


def _link(value: Any, link: Link) -> Found:
    watchdog_ms, life = value.watchdog_ms, value.life
    if watchdog_ms and 2 * link.timeout_ms > watchdog_ms:
        said = f"is {link.timeout_ms}, at most half of watchdog_ms is allowed, {watchdog_ms // 2}"
        yield ("link", "timeout_ms"), f"{said}: one lost reply must not drop the outputs"
    if watchdog_ms and 3 * link.poll_ms > watchdog_ms:
        said = f"is {link.poll_ms}, at most a third of watchdog_ms is allowed, {watchdog_ms // 3}"
        yield ("link", "poll_ms"), said
    if link.role == "server" and life and life.device is None:
        yield ("life",), "device is missing: where the controller is asked, it ends each image of the scanner"
    if link.role == "server" and not reached_from_here_alone(link.host) and not link.allow:
        said = "can be reached by other machines, and Modbus asks for no name: list in server.allow who may"
        yield ("link", "host"), said
    for at, address in enumerate(link.allow):
        try:
            ipaddress.ip_address(address)
        except ValueError:
            yield ("server", "allow", at), f"is {address!r}, allowed is an IP address as 192.168.10.5"


def _unread(document: Document[StrictModel], placed: tuple[Placed, ...]) -> bool:
    """Something that the controller gives stands in the file and is wrong: its place is not known."""
    given = {loc for loc in document.parsed.keys if len(loc) == 2 and loc[0] in ("outputs", "life")}
    return not given <= {one.loc for one in placed}


def _torn(placed: tuple[Placed, ...], link: Link) -> Found:
    given = [one.place for one in placed if one.giver == "controller"]
    if link.role == "server" and len(grouped(given, READ_MAX)) > 1:
        said = "and life.controller must stand side by side in one table"
        yield ("outputs",), f"{said}: a scanner that asks for them in two requests may mix two scans"


def _itself(one: Placed, value: Any) -> Found:
    loc, place = one.loc, one.place
    in_bits = place.table in BIT_TABLES
    if one.reference is not None:
        table, number = _PREFIX[one.reference[0]], int(one.reference[1:])
        if (table, number - 1) != (place.table, place.address):
            means = f"{table} at address {number - 1}" if number else "nothing: references count from 1"
            here = f"{place.table} at address {place.address}"
            yield (*loc, "reference"), f"is {one.reference}, which is {means}; here stands {here}"
    if place.type == "bool":
        bit = getattr(getattr(value, str(loc[0])), str(loc[1])).bit
        if in_bits and bit is not None:
            yield (*loc, "bit"), f"does not belong here: {place.table}s are bits already"
        elif not in_bits and bit is None:
            yield loc, "bit is missing: which bit of the register, 0 is the lowest"
        return
    if in_bits:
        yield (*loc, "table"), f"is {place.table}, allowed are registers: it is a number"
    if place.address + place.size > 65_536:
        yield (*loc, "address"), f"is {place.address}, and {place.type} takes two: there is no second"
    if place.name in ANALOGS:
        yield from _current(loc, place)


def _current(loc: Loc, place: Place) -> Found:
    """A loop that failed must be told from one that measures."""
    if place.scale == 0:
        yield (*loc, "scale"), "is 0: every reading would be the offset"
        return
    for limit, wanted, what in (
        (FAILED_LOW_UA, FAILED_LOW_UA - 100, "a broken wire (at or under"),
        (FAILED_HIGH_UA, FAILED_HIGH_UA + 100, "a shorted transmitter (at or over"),
    ):
        shown = point_value(place, point_cells(place, wanted))
        if abs(shown - wanted) > max(abs(place.scale), 50):
            said = f"{place.type} with scale {place.scale:g} and offset {place.offset:g}"
            yield (*loc, "type"), f"is {said}, which cannot show {what} {limit} uA): it shows {shown} uA then"


def _reachable(one: Placed, link: Link) -> Found:
    """What the client gives must lie in tables that a client can write."""
    client = "controller" if link.role == "client" else "device"
    if one.giver == client and one.place.table not in CLIENT_WRITES:
        said = f"is {one.place.table}, which no client can write: the {client} is the client here"
        yield (*one.loc, "table"), f"{said} (link.role: {link.role}); allowed coil or holding_register"


def _overlaps(placed: tuple[Placed, ...]) -> Found:
    owners: dict[tuple[str, int, int], Placed] = {}
    givers: dict[tuple[str, int], Placed] = {}  # of each address, the first
    told: set[tuple[str, int]] = set()
    for one in placed:
        place = one.place
        addresses = [(place.table, place.address + at) for at in range(place.size)]
        bits = range(16) if place.bit is None else (place.bit,)
        cells = [(*address, bit) for address in addresses for bit in bits]
        cell = next((cell for cell in cells if cell in owners), None)
        if taken := cell and owners[cell]:
            bits_alone = place.bit is not None or taken.place.bit is not None
            bit = f" bit {cell[2]}" if bits_alone else ""
            yield one.loc, f"lies on {_named(taken)}: {cell[0]} {cell[1]}{bit} is taken"
        for address in addresses:
            first = givers.setdefault(address, one)
            if first.giver != one.giver and not taken and address not in told:
                told.add(address)
                said = (
                    f"shares {' '.join(map(str, address))} with {_named(first)}, which the {first.giver} sets"
                )
                yield one.loc, f"{said}: a register is written whole, so by one end alone"
        for cell in cells:
            owners.setdefault(cell, one)


def _named(one: Placed) -> str:
    return ".".join(map(str, one.loc))
