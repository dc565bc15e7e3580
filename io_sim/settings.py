"""
What is simulated: plant.yaml of a station, as the parameters of the plant.

Every value may be left out and then has the default of the medium station. Keys, units and limits come
from `io_sim.parameters`; the first word of a name is its group, and a row of numbered values
(`source_flow_share_0` to `_8`) is one list.
"""

import re
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Any

from pydantic import Field

from controller.station_file import Document, StationError, StrictModel, load
from controller.station_keys import Key, file_model, group_model, key, typed_values
from controller.strict_yaml import Loc, dotted
from io_sim.parameters import PlantParameters, limits, problems

GROUPS = {
    "site": "air of the place",
    "body": "receiver body",
    "line": "conveying line: one horizontal run with one riser",
    "source": "vacuum source; the two share lists are its curve, free flow first, dead end last",
    "filter": "all filter elements together",
    "tank": "pulse tanks, one for each element, blown by groups",
    "supply": "compressed-air supply up to the header at the station",
    "flap": "discharge flap: driven by a cylinder, or hanging by a counterweight or the vacuum",
    "vent": "spring-open vent valve",
    "purge": "false-air valve at the feed point",
    "vessel": "vessel below and its high-level probe",
    "feed": "feed point",
    "material": "product",
    "transmitter": "4-20 mA transmitters",
    "switch": "pressure switches",
}
"""The groups of the file, by the first word of each parameter."""

_NUMBERED = re.compile(r"(?P<row>.+)_(?P<number>\d)")


@cache
def keys() -> tuple[Key, ...]:
    """How each parameter is typed, in the order of `PlantParameters`; numbered rows are not in it."""
    ranges = limits()
    return tuple(
        key(
            name,
            _group(name),
            kind=float,
            limits=ranges[name],
            default=PlantParameters._field_defaults[name],
            drop=f"{_group(name)}_",
        )
        for name in PlantParameters._fields
        if not _NUMBERED.fullmatch(name)
    )


@cache
def rows() -> dict[str, list[str]]:
    """The lists of the file: the common name of a row, and the parameters in it."""
    numbered = [name for name in PlantParameters._fields if _NUMBERED.fullmatch(name)]
    return {row: list(names) for row, names in groupby(numbered, lambda name: name[:-2])}


@cache
def plant_model() -> type[StrictModel]:
    """The model of plant.yaml."""
    groups = {
        group: group_model(group, (item for item in keys() if item.loc[0] == group), why, **_lists(group))
        for group, why in GROUPS.items()
    }
    return file_model("plant", "What is simulated.", groups)


def load_plant(folder: Path) -> PlantParameters:
    """
    The plant of a station.

    Raises:
        StationError: every problem of plant.yaml, with its place; values at odds with each other included.
    """
    document = load(folder / "plant.yaml", plant_model())
    values = typed_values(document.value, keys())
    for row, names in rows().items():
        group = getattr(document.value, _group(row))
        values |= zip(names, getattr(group, row.removeprefix(f"{_group(row)}_")), strict=True)
    parameters = PlantParameters()._replace(**values)
    found = [_in_the_file(document, said) for said in problems(parameters)]
    if found:
        raise StationError(sorted(found, key=lambda problem: problem[1:3]))
    return parameters


def _group(name: str) -> str:
    return name.split("_", 1)[0]


def _lists(group: str) -> dict[str, tuple[Any, Any]]:
    """The rows of a group as fields."""
    fields = {}
    for row, names in rows().items():
        if _group(row) == group:
            default = [PlantParameters._field_defaults[name] for name in names]
            why = f"{len(names)} numbers, {limits()[names[0]].why}; {limits()[names[1]].why}"
            field = Field(default=default, min_length=len(names), max_length=len(names), description=why)
            fields[row.removeprefix(f"{group}_")] = (list[float], field)
    return fields


@cache
def _places() -> dict[str, Loc]:
    """Where each parameter stands in the file."""
    places: dict[str, Loc] = {item.name: item.loc for item in keys()}
    for row, names in rows().items():
        group = _group(row)
        places |= {name: (group, row.removeprefix(f"{group}_"), i) for i, name in enumerate(names)}
    return places


def _in_the_file(document: Document[StrictModel], said: str) -> Any:
    """A problem between parameters, in the keys of the file and at the place of the first one named."""
    named = [word for word in re.findall(r"\w+", said) if word in _places()]
    for name in sorted(named, key=len, reverse=True):
        said = re.sub(rf"\b{name}\b", dotted(_places()[name]), said)
    return document.problem(_places()[named[0]], said.removeprefix(dotted(_places()[named[0]])).strip())
