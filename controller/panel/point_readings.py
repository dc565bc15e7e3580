"""Every wired point as it is now: quality after NAMUR NE 43, raw and engineering value, age."""

from collections.abc import Mapping

from controller.image import (
    FAILED_HIGH_UA,
    FAILED_LOW_UA,
    MEASURED_HIGH_UA,
    MEASURED_LOW_UA,
    Inputs,
    Outputs,
)
from controller.panel.rig import PointNow, Quality
from controller.points import Point, PointList
from controller.port import NEVER_MS

ZERO_UA, SPAN_UA = 4_000, 16_000
GOOD_CONTACTS = {name.removesuffix("_good"): name for name in Inputs._fields if name.endswith("_good")}


def readings(
    points: PointList, inputs: Inputs, outputs: Outputs, wire: Mapping[str, int], old_ms: int
) -> list[PointNow]:
    """
    The wired points, in the order of the image.

    Args:
        points: The point list of the station.
        inputs: As the sequence saw them, forced ones forced.
        outputs: As the sequence gave them.
        wire: What the forced inputs carry themselves.
        old_ms: An image older than this is not to be trusted.
    """
    return [
        _output(point, outputs) if point.kind == "output" else _input(point, inputs, wire, old_ms)
        for point in points.points
    ]


def engineering(point: Point, raw_ua: int) -> float:
    """What a current means: 4 mA is the low end of the range and 20 mA the high end (IEC 60381-1)."""
    low, high = point.range
    return low + (high - low) * (raw_ua - ZERO_UA) / SPAN_UA


def quality(point: Point, raw: int, inputs: Inputs, old_ms: int) -> Quality:
    """How far an input can be trusted."""
    if inputs.image_age_ms > old_ms:
        return "old"
    if point.kind == "contact":
        contact = GOOD_CONTACTS.get(point.name)
        return "good" if contact is None or getattr(inputs, contact) else "failed"
    if raw <= FAILED_LOW_UA or raw >= FAILED_HIGH_UA:
        return "failed"
    return "good" if MEASURED_LOW_UA <= raw <= MEASURED_HIGH_UA else "doubtful"


def _input(point: Point, inputs: Inputs, wire: Mapping[str, int], old_ms: int) -> PointNow:
    raw = int(getattr(inputs, point.name))
    how_good = quality(point, raw, inputs, old_ms)
    measured = point.kind == "4-20 mA" and how_good != "failed"
    return PointNow(
        tag=point.tag, name=point.name, description=point.description, kind=point.kind, quality=how_good,
        raw=raw, value=engineering(point, raw) if measured else None, unit=point.unit,
        age_ms=inputs.image_age_ms if inputs.image_age_ms < NEVER_MS else None,
        forced=point.name in wire, wire=wire.get(point.name),
    )  # fmt: skip


def _output(point: Point, outputs: Outputs) -> PointNow:
    raw = int(getattr(outputs, point.name))
    return PointNow(
        tag=point.tag, name=point.name, description=point.description, kind="output", quality="good",
        raw=raw, value=None, unit="", age_ms=0,
    )  # fmt: skip
