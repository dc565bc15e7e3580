"""Which of the parts that texts ask for a station has."""

from collections.abc import Callable, Container

from controller.options import uncommanded
from controller.sequence.presets import Presets
from controller.sequence.steps import (
    BY_TRANSMITTER,
    CLEAN_SIDE,
    FEEDBACK_CLOSED,
    MOTOR_KIND,
    TWO_COIL_VALVE,
)
from controller.settings import Station

# fmt: off
HAS: dict[str, Callable[[Presets, Container[str]], bool]] = {
    "ejector":            lambda p, _: p.source_kind != MOTOR_KIND,
    "motor":              lambda p, _: p.source_kind == MOTOR_KIND,
    "bypass":             lambda p, _: p.bypass_fitted,
    "vent":               lambda _, wired: "vent_close_cmd" in wired,
    "line purge":         lambda _, wired: "purge_cmd" in wired,
    "driven flap":        lambda p, _: not uncommanded(p),
    "hanging flap":       lambda p, _: uncommanded(p),
    "two coils":          lambda p, _: p.flap_valve == TWO_COIL_VALVE,
    "open switch":        lambda p, _: p.flap_feedback != FEEDBACK_CLOSED,
    "vacuum transmitter": lambda p, _: p.vacuum_by == BY_TRANSMITTER,
    "clean side":         lambda p, _: p.vacuum_side == CLEAN_SIDE,
    "low probe":          lambda p, _: p.level_low_fitted,
    "delivered count":    lambda p, _: p.not_seen_batches > 0,
    "pulse groups":       lambda p, _: p.pulse_groups > 1,
}
"""When a station has each part: by its presets, and by its wired points."""
# fmt: on


def fitted(station: Station) -> frozenset[str]:
    """The parts that the station has."""
    wired = {point.name for point in station.points.points}
    return frozenset(part for part, has in HAS.items() if has(station.receiver.presets, wired))
