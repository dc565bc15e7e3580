"""
What the controls engineer sets: receiver.yaml of a station, as frozen settings; with points.yaml a station.

Every preset may be left out and then has the default of the medium station; who the station is may not.
Keys, units and limits come from `controller.sequence.presets` (see `controller.station_keys`).
"""

from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple, get_type_hints

from pydantic import Field

from controller.points import PointList, load_points
from controller.sequence.presets import Presets, limits
from controller.station_file import Document, StationError, StrictModel, load, together
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
        StationError: every problem of both files; a transmitter whose range differs between them included.
    """
    receiver, points = together(lambda: load_receiver(folder), lambda: load_points(folder))
    typed_as = {item.name: item for item in keys()}
    problems = []
    for point in points.points:
        if point.name in RANGES:
            item = typed_as[RANGES[point.name]]
            span = float(typed(item, getattr(receiver.presets, item.name)))
            if point.range != (0, span):
                said = f"is {shown(point.range[0])} to {shown(point.range[1])}, but {dotted(item.loc)} is "
                said += f"{shown(span)}: both describe one transmitter, from 0 to that"
                problems.append(points.document.problem(("inputs", point.name, "range"), said))
    if problems:
        raise StationError(problems)
    return Station(receiver, points)
