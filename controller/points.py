"""
The points of a station: points.yaml gives each input and output its tag, description and range.

What the program relies on is not free to choose: the sense of each contact (so that a broken wire reads as
the cautious side), the unit of each signal and the safe value of each output. The file states them, so
that the I/O list is whole, and is refused where it differs.
"""

from functools import cache
from pathlib import Path
from typing import Any, Literal, NamedTuple

from pydantic import Field, create_model

from controller.image import Inputs, Outputs
from controller.station_file import Document, StationError, StrictModel, load

CONTACTS = {
    "start_pb": ("normally_open", "not pressed"),
    "reset_pb": ("normally_open", "not pressed"),
    "acknowledge_pb": ("normally_open", "not pressed"),
    "stop_healthy": ("normally_closed", "stop pressed"),
    "safety_chain_healthy": ("normally_closed", "safety circuit open"),
    "plant_enable": ("normally_open", "not wanted"),
    "remote_selected": ("normally_open", "local"),
    "level_free": ("normally_closed", "vessel full"),
    "level_low_covered": ("normally_open", "vessel low"),
    "receiver_free": ("normally_closed", "receiver full"),
    "flap_closed_fb": ("normally_open", "flap not proven closed: no vacuum"),
    "flap_open_fb": ("normally_open", "flap not proven open: no emptying"),
    "vacuum_switch": ("normally_open", "no vacuum"),
    "supply_air_ok": ("normally_open", "supply air low"),
    "source_running_fb": ("normally_open", "motor not running"),
    "overload_healthy": ("normally_closed", "motor overload"),
    "feed_present": ("normally_open", "feed hopper empty"),
}
"""Sense of each contact, and how a broken wire reads."""

ANALOGS = {
    "vacuum_ua": ("kPa vacuum", "signal bad"),
    "supply_air_ua": ("kPa gauge", "signal bad"),
    "filter_dp_ua": ("kPa", "signal bad"),
}
"""Unit of each 4-20 mA signal, and how a broken wire reads (under 3.6 mA: failed, NAMUR NE 43)."""

FROM_SHELL = (
    *(name for name in Inputs._fields if name.endswith(("_request", "_good"))),
    "request_remote", "remote_control", "jog", "image_age_ms", "io_life", "scans_late",
)  # fmt: skip
"""Inputs that no wire carries; they have no row."""

ALWAYS = ("start_pb", "reset_pb", "acknowledge_pb", "stop_healthy", "safety_chain_healthy", "level_free",
          "source_cmd", "run_lamp", "fault_lamp", "horn")  # fmt: skip
"""What every receiver has; the other points have a row where they are fitted."""


_TAG = r"^[A-Z]{1,5}-[0-9]{1,5}[A-Z]?$"


class Point(NamedTuple):
    """One row of the I/O list."""

    name: str
    kind: Literal["contact", "4-20 mA", "output"]
    tag: str
    description: str
    unit: str  # empty for contacts and outputs
    range: tuple[float, float]  # at 4 and 20 mA; 0 and 1 for contacts and outputs
    sense: str  # of a contact normally_open or normally_closed; of an output what it does when energised
    safe_value: bool | None  # of an output
    broken_wire: str  # how it reads, or what the equipment does


class PointList(NamedTuple):
    """Every wired point in the order of the process image; `document` knows where each row stands."""

    points: tuple[Point, ...]
    document: Document[StrictModel]

    @property
    def wired(self) -> frozenset[str]:
        """Names of the points that have a row."""
        return frozenset(point.name for point in self.points)


class _Row(StrictModel):
    tag: str = Field(pattern=_TAG, max_length=12, description="letters, a dash, a number, as LSH-101")
    description: str = Field(min_length=1, max_length=80, description="what it is and where")


class _Analog(_Row):
    range: list[float] = Field(
        min_length=2, max_length=2, description="two numbers, the readings at 4 and 20 mA"
    )


@cache
def points_model() -> type[StrictModel]:
    """The model of points.yaml: a row for every wired point of the process image, none beside."""
    wired = {*CONTACTS, *ANALOGS, *FROM_SHELL}
    assert wired == {*Inputs._fields}, f"points without a sense or unit: {wired ^ {*Inputs._fields}}"
    inputs: dict[str, Any] = {}
    for name in Inputs._fields:
        if name in CONTACTS:
            sense, broken = CONTACTS[name]
            why = f"then a broken wire reads as: {broken}"
            inputs[name] = _row(name, _Row, sense=(Literal[sense], Field(description=why)))
        elif name in ANALOGS:
            unit, _ = ANALOGS[name]
            inputs[name] = _row(name, _Analog, unit=(Literal[unit], Field(description="unit of the range")))
    outputs: dict[str, Any] = {
        name: _row(
            name,
            _Row,
            energised=(str, Field(min_length=1, max_length=60, description="what current does")),
            safe_value=(Literal[safe], Field(description="value in FAULT, without I/O and at the end")),
        )
        for name, safe in Outputs._field_defaults.items()
    }
    groups: dict[str, Any] = {
        "inputs": (create_model("inputs", __base__=StrictModel, **inputs), Field(description="wired inputs")),
        "outputs": (create_model("outputs", __base__=StrictModel, **outputs), Field(description="outputs")),
    }
    return create_model("points", __base__=StrictModel, __doc__="The I/O list.", **groups)


def _row(name: str, row: type[StrictModel], **fields: Any) -> tuple[Any, Any]:
    model = create_model(name, __base__=row, **fields)
    if name in ALWAYS:
        return model, Field(description="every receiver has it")
    return model, Field(default=None, description="where it is fitted")


def load_points(folder: Path) -> PointList:
    """
    The point list of a station.

    Raises:
        StationError: every problem of points.yaml, with its place; a tag that is used twice included.
    """
    document = load(folder / "points.yaml", points_model())
    inputs, outputs = document.value.inputs, document.value.outputs  # type: ignore[attr-defined]
    points = [
        _input(name, getattr(inputs, name))
        for name in Inputs._fields
        if name not in FROM_SHELL and getattr(inputs, name)
    ]
    points += [_output(name, getattr(outputs, name)) for name in Outputs._fields if getattr(outputs, name)]
    owner: dict[str, str] = {}
    problems = []
    for point in points:
        group = "outputs" if point.kind == "output" else "inputs"
        if point.tag in owner:
            said = f"is {point.tag}, already the tag of {owner[point.tag]}"
            problems.append(document.problem((group, point.name, "tag"), said))
        owner.setdefault(point.tag, point.name)
    if problems:
        raise StationError(sorted(problems, key=lambda problem: problem[1:3]))
    return PointList(tuple(points), document)


def _input(name: str, row: Any) -> Point:
    if name in CONTACTS:
        broken = CONTACTS[name][1]
        return Point(name, "contact", row.tag, row.description, "", (0, 1), row.sense, None, broken)
    low, high = row.range
    broken = ANALOGS[name][1]
    return Point(name, "4-20 mA", row.tag, row.description, row.unit, (low, high), "", None, broken)


def _output(name: str, row: Any) -> Point:
    broken = "de-energised, the safe value" if not row.safe_value else "de-energised, not the safe value"
    return Point(
        name, "output", row.tag, row.description, "", (0, 1), row.energised, row.safe_value, broken
    )  # fmt: skip
