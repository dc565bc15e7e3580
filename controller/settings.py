"""
What the controls engineer sets: receiver.yaml of a station, as frozen settings; with points.yaml a station.

Every preset may be left out and then has the default of the medium station; who the station is may not.
Keys, units and limits come from `controller.sequence.presets` (see `controller.station_keys`).
"""

from collections.abc import Callable, Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple, TypeVar, get_type_hints

from pydantic import Field

from controller.image import Inputs
from controller.modbus.point_map import PointMap, map_of, read_map
from controller.options import impossible, misplaced
from controller.points import PointList, load_points
from controller.sequence.presets import Presets, limits
from controller.station_file import Document, Problem, StationError, StrictModel, load, together
from controller.station_keys import Key, file_model, group_model, key, typed, typed_values
from controller.strict_yaml import dotted
from controller.units import shown

GROUPS = {
    "source": ("source_kind", "ejector valve or motor, and how often the motor may start"),
    "flap": ("flap_kind", "discharge flap, its two switches and its retries"),
    "supply_air": ("supply_by", "compressed air: limits, and what follows when it falls"),
    "start": ("warning_ms", "before the first movement; who may start; manual mode"),
    "proving": ("vacuum_by", "source on: is there a vacuum?"),
    "convey": ("fill_ms", "drawing product in"),
    "clear": ("clear_ms", "drawing the line empty"),
    "vent": ("vent_timed_ms", "letting the vacuum go before the flap opens"),
    "drain": ("drain_ms", "dropping the batch"),
    "filter_clean": ("clean_mode", "reverse pulses"),
    "level": ("level_policy", "level in the vessel below"),
    "signals": ("vacuum_pa_per_100ua", "transmitters and their faults (NAMUR NE 43)"),
    "backstops": ("idle_vacuum_ms", "limits that a healthy station never meets"),
}  # fmt: skip
"""Each group of the file begins with this preset and runs, in the order of `Presets`, to the next group."""


A = TypeVar("A")


class Identity(StrictModel):
    """Who the station is; on every report."""

    name: str = Field(min_length=1, max_length=30, description="the receiver's tag, as R-101")
    description: str = Field(min_length=1, max_length=200, description="where it stands and what it feeds")
    product: str = Field(min_length=1, max_length=60, description="what it conveys")


class ReceiverSettings(NamedTuple):
    """receiver.yaml, ready for the sequence; `document` still knows where each value stands."""

    name: str
    description: str
    product: str
    presets: Presets
    document: Document[StrictModel]


class Station(NamedTuple):
    """All that the controller is told of a station."""

    receiver: ReceiverSettings
    points: PointList

    @property
    def wired(self) -> frozenset[str]:
        """The points that are wired, by their names in the process image."""
        return self.points.wired


RANGES = {
    "vacuum_ua": "vacuum_pa_per_100ua",
    "supply_air_ua": "supply_pa_per_100ua",
    "filter_dp_ua": "dp_pa_per_100ua",
}
"""The transmitters, and the preset that scales each."""


@cache
def keys() -> tuple[Key, ...]:
    """How each preset is typed, in the order of `Presets`."""
    kinds = get_type_hints(Presets)
    ranges = limits()
    names = list(Presets._fields)
    starts = [names.index(first) for first, _ in GROUPS.values()] + [len(names)]
    assert starts[0] == 0, "the first group must begin with the first preset"
    return tuple(
        key(name, group, kind=kinds[name], limits=ranges[name], default=Presets._field_defaults[name])
        for group, (start, end) in zip(GROUPS, pairwise(starts), strict=True)
        for name in names[start:end]
    )


@cache
def receiver_model() -> type[StrictModel]:
    """The model of receiver.yaml."""
    groups: dict[str, tuple[Any, Any]] = {"station": (Identity, Field(description="who the station is"))}
    for group, (_, why) in GROUPS.items():
        groups[group] = group_model(group, (item for item in keys() if item.loc[0] == group), why)
    return file_model("receiver", "What the controls engineer sets.", groups)


def load_receiver(folder: Path) -> ReceiverSettings:
    """
    The settings of a station.

    Raises:
        StationError: every problem of receiver.yaml, with its place.
    """
    document = load(folder / "receiver.yaml", receiver_model())
    identity: Identity = document.value.station  # type: ignore[attr-defined]
    presets = Presets()._replace(**typed_values(document.value, keys()))
    return ReceiverSettings(identity.name, identity.description, identity.product, presets, document)


def load_station(folder: Path) -> Station:
    """
    Settings and points of a station.

    Raises:
        StationError: every problem of both files; included are options at odds with the points (one that is
            fitted without its point, a point that no option uses, a transmitter with two ranges) and
            combinations that nothing can prove.
    """
    receiver, points = together(lambda: load_receiver(folder), lambda: load_points(folder))
    refused = [_refusal(receiver, name, why) for name, why in impossible(receiver.presets, points.wired)]
    odd = [_odd(receiver, points, *item) for item in misplaced(receiver.presets, points.wired)]
    odd += _ranges(receiver, points)
    if refused or odd:
        raise StationError([*sorted(refused, key=_position), *sorted(odd, key=_position)])
    return Station(receiver, points)


def load_station_map(folder: Path) -> tuple[Station, PointMap]:
    """
    Settings and points of a station, and its map on Modbus, which agrees with them.

    Raises:
        StationError: every problem of the three files, settings that this map cannot serve included.
    """
    problems: list[Problem] = []
    station = _or_none(lambda: load_station(folder), problems)
    receiver = station.receiver if station else _or_none(lambda: load_receiver(folder), [])
    points = station.points if station else _or_none(lambda: load_points(folder), [])
    document, wrong = _or_none(lambda: read_map(folder, points), problems) or (None, [])
    problems += wrong
    if receiver and document:
        problems += _unserved(receiver, document)
    if problems or station is None or document is None:
        raise StationError(problems)
    return station, map_of(document)


def _or_none(load: Callable[[], A], problems: list[Problem]) -> A | None:
    """What could be read; else its problems are added."""
    try:
        return load()
    except StationError as error:
        problems += error.problems
        return None


def _unserved(receiver: ReceiverSettings, document: Document[StrictModel]) -> Iterator[Problem]:
    """Settings that a map cannot serve; what is wrong in the map itself is not known, None."""
    life, watchdog_ms = document.value.life, document.value.watchdog_ms  # type: ignore[attr-defined]
    if receiver.presets.io_life_watched and life and life.device is None:
        why = f"the device has no life counter (life.device in {document.file})"
        yield _refusal(receiver, "io_life_watched", why)
    if watchdog_ms and receiver.presets.io_lost_ms >= watchdog_ms:
        why = f"watchdog_ms in {document.file} is {watchdog_ms} and must be longer, so that the logic notices"
        yield _refusal(receiver, "io_lost_ms", f"{why} a lost link before the device drops its outputs")


def _position(problem: Problem) -> tuple[int, int]:
    return problem.line, problem.column


def _item(name: str) -> Key:
    return next(item for item in keys() if item.name == name)


def _word(presets: Presets, name: str) -> str:
    """The value of a preset as it is typed."""
    value = typed(_item(name), getattr(presets, name))
    if isinstance(value, bool):
        return str(value).lower()
    return value if isinstance(value, str) else shown(value)


def _refusal(receiver: ReceiverSettings, name: str, why: str) -> Problem:
    text = f"is {_word(receiver.presets, name)}: {why}"
    return receiver.document.problem(_item(name).loc, text)


def _odd(receiver: ReceiverSettings, points: PointList, point: str, name: str, needed: bool) -> Problem:
    """A point that is missing, or one too many; with the preset that decides."""
    decides = f"{dotted(_item(name).loc)} is {_word(receiver.presets, name)} ({receiver.document.file})"
    loc = ("inputs" if point in Inputs._fields else "outputs", point)
    if needed:
        return points.document.problem(loc, f"is missing: {decides}")
    text = f"is wired, and nothing uses it: {decides}; change that, or leave the row out"
    return points.document.problem(loc, text)


def _ranges(receiver: ReceiverSettings, points: PointList) -> list[Problem]:
    """Transmitters whose range differs between the two files."""
    problems = []
    for point in points.points:
        if point.name in RANGES:
            item = _item(RANGES[point.name])
            span = float(typed(item, getattr(receiver.presets, item.name)))
            if point.range != (0, span):
                text = f"is {shown(point.range[0])} to {shown(point.range[1])}, but {dotted(item.loc)} is "
                text += f"{shown(span)}: both describe one transmitter, from 0 to that"
                problems.append(points.document.problem(("inputs", point.name, "range"), text))
    return problems
