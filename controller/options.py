"""
What a station has fitted: the points that each option wires, and the combinations that nothing can prove.

Data: the reader of the station files says where, and in the words of the files. An option that is wrong in
itself is refused here; one that is allowed and deserves a word is warned of by the station check.
"""

from collections.abc import Callable, Container
from typing import NamedTuple

from controller.sequence.presets import Presets, limits
from controller.sequence.steps import (
    BY_SWITCH,
    BY_TIMES,
    BY_TRANSMITTER,
    CLEAN_SIDE,
    CLEANS_OFFLINE,
    CLEANS_WITH_DRAIN,
    FEEDBACK_BOTH,
    FEEDBACK_CLOSED,
    FEEDBACK_OPEN,
    HOLD_BATCH,
    MOTOR_KIND,
    TWO_COIL_VALVE,
)

DRIVEN = 0
AIR_BY_TRANSMITTER, AIR_BY_SWITCH, AIR_BY_BOTH = 0, 1, 2
YES = (True,)
SOME_TIME = range(1, 3_600_001)

# fmt: off
WIRED_WHEN: dict[str, tuple[str, Container[int]]] = {
    "plant_enable":      ("plant_enable_fitted", YES),
    "remote_selected":   ("selector_fitted", YES),
    "level_low_covered": ("level_low_fitted", YES),
    "receiver_free":     ("receiver_full_fitted", YES),
    "flap_closed_fb":    ("flap_feedback", (FEEDBACK_BOTH, FEEDBACK_CLOSED)),
    "flap_open_fb":      ("flap_feedback", (FEEDBACK_BOTH, FEEDBACK_OPEN)),
    "vacuum_ua":         ("vacuum_by", (BY_TRANSMITTER,)),
    "vacuum_switch":     ("vacuum_by", (BY_SWITCH,)),
    "supply_air_ua":     ("supply_by", (AIR_BY_TRANSMITTER, AIR_BY_BOTH)),
    "supply_air_ok":     ("supply_by", (AIR_BY_SWITCH, AIR_BY_BOTH)),
    "filter_dp_ua":      ("dp_fitted", YES),
    "source_running_fb": ("run_feedback_fitted", YES),
    "overload_healthy":  ("overload_fitted", YES),
    "feed_present":      ("feed_low_fitted", YES),
    "bypass_close_cmd":  ("bypass_fitted", YES),
    "flap_open_cmd":     ("flap_kind", (DRIVEN,)),
    "flap_close_cmd":    ("flap_valve", (TWO_COIL_VALVE,)),
    "pulse_1_cmd":       ("pulse_groups", (1, 2, 3)),
    "pulse_2_cmd":       ("pulse_groups", (2, 3)),
    "pulse_3_cmd":       ("pulse_groups", (3,)),
    "fluidise_cmd":      ("fluidise_on_ms", SOME_TIME),
}
"""Each optional point, the preset that says whether it is wired, and the values with which it is."""

FREE = ("vent_close_cmd", "purge_cmd", "feed_cmd")
"""Optional, without a preset: the sequence drives them and asks nothing back. A row: it is fitted."""
# fmt: on


class Wrong(NamedTuple):
    """A combination that is refused: the preset to look at, when, and why with the way out."""

    preset: str
    when: Callable[[Presets, Container[str]], bool]  # presets, and the wired points
    why: str


def uncommanded(p: Presets) -> bool:
    """The flap has no valve: it opens when the vacuum goes and shuts when it is empty."""
    return p.flap_kind != DRIVEN


# fmt: off
WRONG = (
    Wrong("flap_feedback",
          lambda p, _: not uncommanded(p) and p.flap_feedback == FEEDBACK_OPEN and p.vacuum_by == BY_TIMES,
          "nothing would tell a closed flap from one that stands half-way: fit its closed switch, or an "
          "instrument of the vacuum"),
    Wrong("flap_feedback", lambda p, _: uncommanded(p) and p.flap_feedback != FEEDBACK_CLOSED,
          "a flap without command swings: it has no open place, only the closed switch counts: closed_only"),
    Wrong("flap_valve", lambda p, _: uncommanded(p) and p.flap_valve == TWO_COIL_VALVE,
          "a flap without command has no valve: leave it out"),
    Wrong("clean_mode", lambda p, wired: p.clean_mode == CLEANS_OFFLINE and "vent_close_cmd" not in wired,
          "a pulse into a closed body needs a way out, or it lifts the flap and blows dust out of the feed "
          "point: fit a vent (outputs.vent_close_cmd), or clean after the drain"),
    Wrong("clean_mode", lambda p, _: uncommanded(p) and p.clean_mode == CLEANS_WITH_DRAIN,
          "a flap without command shuts when it is empty, nothing holds it open for the pulses: after_drain"),
    Wrong("level_policy", lambda p, _: uncommanded(p) and p.level_policy == HOLD_BATCH,
          "a flap without command drops the batch as soon as the vacuum goes: finish_batch, with freeboard"),
    Wrong("not_seen_batches", lambda p, _: uncommanded(p) and p.not_seen_batches > 0,
          "it holds the batch until somebody has looked, and a flap without command cannot: set it to 0"),
    Wrong("refill_on_low", lambda p, _: p.refill_on_low and not p.level_low_fitted,
          "nothing would end a hold: fit a low probe, or refill when the high probe is clear"),
    Wrong("bypass_fitted", lambda p, _: p.bypass_fitted and p.source_kind != MOTOR_KIND,
          "an ejector stops with its valve: a bypass belongs to a motor"),
    Wrong("run_feedback_fitted", lambda p, _: p.run_feedback_fitted and p.source_kind != MOTOR_KIND,
          "an ejector has no contactor: run feedback belongs to a motor"),
    Wrong("overload_fitted", lambda p, _: p.overload_fitted and p.source_kind != MOTOR_KIND,
          "an ejector has no overload relay: it belongs to a motor"),
    Wrong("no_material_relative", lambda p, _: p.no_material_relative and p.vacuum_by != BY_TRANSMITTER,
          "there is no reading to be a share of: fit a vacuum transmitter"),
    Wrong("timed_running", lambda p, _: p.timed_running and p.vacuum_by != BY_TRANSMITTER,
          "it says what replaces a transmitter that has failed, and none is fitted: leave it out"),
    Wrong("vacuum_side", lambda p, _: p.vacuum_side == CLEAN_SIDE and p.vacuum_by != BY_TRANSMITTER,
          "it says where the transmitter stands, and none is fitted: leave it out"),
)
"""What the narrative refuses, and what follows from it."""
# fmt: on


def misplaced(presets: Presets, wired: Container[str]) -> list[tuple[str, str, bool]]:
    """Points at odds with the presets: point, the preset that decides, and whether it should be there."""
    return [
        (point, preset, getattr(presets, preset) in values)
        for point, (preset, values) in WIRED_WHEN.items()
        if (point in wired) != (getattr(presets, preset) in values)
    ]


def impossible(presets: Presets, wired: Container[str]) -> list[tuple[str, str]]:
    """Combinations that are refused: the preset to look at, and why."""
    return [(wrong.preset, wrong.why) for wrong in WRONG if wrong.when(presets, wired)]


def options_of(presets: Presets) -> dict[str, int]:
    """What is fitted at a station: the presets that are choices or yes or no, and the pulse groups."""
    named = {name for name, limit in limits().items() if limit.choices} | {"pulse_groups"}
    return {n: int(v) for n, v in presets._asdict().items() if isinstance(v, bool) or n in named}
