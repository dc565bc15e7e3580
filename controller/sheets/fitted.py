"""Which of the parts that texts ask for a station has."""

from collections.abc import Callable, Container

from controller.options import uncommanded
from controller.sequence.presets import Presets
from controller.sequence.steps import (
    BY_SWITCH,
    BY_TRANSMITTER,
    CLEAN_SIDE,
    FEEDBACK_CLOSED,
    FEEDBACK_OPEN,
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
    "two coils":          lambda p, _: not uncommanded(p) and p.flap_valve == TWO_COIL_VALVE,
    "spring":             lambda p, _: not uncommanded(p) and p.flap_valve != TWO_COIL_VALVE,
    "closed switch":      lambda p, _: uncommanded(p) or p.flap_feedback != FEEDBACK_OPEN,
    "open switch":        lambda p, _: not uncommanded(p) and p.flap_feedback != FEEDBACK_CLOSED,
    "open switch alone":  lambda p, _: not uncommanded(p) and p.flap_feedback == FEEDBACK_OPEN,
    "vacuum transmitter": lambda p, _: p.vacuum_by == BY_TRANSMITTER,
    "vacuum switch":      lambda p, _: p.vacuum_by == BY_SWITCH,
    "clean side":         lambda p, _: p.vacuum_side == CLEAN_SIDE,
    "dp on the clean side": lambda p, _: p.vacuum_side == CLEAN_SIDE and p.dp_fitted,
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
