"""Findings of options: what is allowed and deserves a word; a plant that is another machine."""

from collections.abc import Callable, Container
from typing import NamedTuple

from controller.options import AIR_BY_SWITCH
from controller.sequence.presets import Presets
from controller.sequence.steps import BY_SWITCH, BY_TRANSMITTER, CLEANS_OFFLINE, MOTOR_KIND, TWO_COIL_VALVE
from controller.settings import keys
from controller.station_check.findings import Finding, finding, place, quantity, remark
from controller.station_check.prediction import Prediction
from controller.station_keys import typed
from io_sim.parameters import PlantParameters

PRACTICE = "common practice, no source"


class Remark(NamedTuple):
    """A choice that is warned of: the preset, when, and what follows."""

    preset: str
    when: Callable[[Presets], bool]
    follows: str


# fmt: off
REMARKS = (
    Remark("flap_valve", lambda p: p.flap_valve == TWO_COIL_VALVE,
           "it keeps its last place without current and moves when air returns, with no command from anyone: "
           "choose one coil and a spring, or guard the flap and fit a soft-start valve"),
    Remark("flap_kind", lambda p: p.flap_kind > 0,
           "any loss of the source drops the batch: the freeboard below must always take it"),
    Remark("run_feedback_fitted", lambda p: p.source_kind == MOTOR_KIND and not p.run_feedback_fitted,
           "a motor that does not start, or a welded contactor, shows only in the vacuum"),
    Remark("overload_fitted", lambda p: p.source_kind == MOTOR_KIND and not p.overload_fitted,
           "a tripped relay is told as a motor that does not run, or as no vacuum"),
    Remark("clean_mode", lambda p: p.clean_mode == CLEANS_OFFLINE,
           "a pulse with the flap shut leaves through the vent, and through an open line as dust at the feed "
           "point"),
    Remark("supply_by", lambda p: p.supply_by == AIR_BY_SWITCH,
           "a switch tells low air and nothing else: no very low limit, no weak supply, no pulse minimum"),
    Remark("vacuum_by", lambda p: p.vacuum_by > BY_SWITCH,
           "times alone tell nothing of a loose hose, an empty feed, a blocked line, a vacuum that stays"),
    Remark("warning_ms", lambda p: p.warning_ms == 0,
           "no horn before the first movement: only where flap and feed point are in sight of the button"),
    Remark("remote_start_allowed", lambda p: bool(p.remote_start_allowed),
           "somebody may start it who does not see it: horn and guards must reach everyone there"),
)
"""Choices that are allowed and deserve a word."""

SAME = {
    "flap_kind": "flap_kind", "flap_valve": "flap_valve", "bypass_fitted": "source_bypass",
    "pulse_groups": "tank_groups",
}
"""Presets and the parameters of the plant that say the same."""
# fmt: on


def option_findings(
    plant: PlantParameters, presets: Presets, predicted: Prediction, wired: Container[str]
) -> list[Finding]:
    """Remarks on choices, switches against their settings, and where the plant is another machine."""
    found = [
        remark(_said(presets, item.preset), item.follows, PRACTICE) for item in REMARKS if item.when(presets)
    ]
    if presets.vacuum_by == BY_SWITCH:
        found.append(_vacuum_switch(plant, predicted))
    return found + _another_machine(plant, presets, wired)


def _said(presets: Presets, name: str) -> str:
    item = next(item for item in keys() if item.name == name)
    value = typed(item, getattr(presets, name))
    return f"{place(name)}: {str(value).lower() if isinstance(value, bool) else value}"


def _vacuum_switch(plant: PlantParameters, predicted: Prediction) -> Finding:
    """A switch proves the vacuum, and its opening point releases the flap."""
    low, high = predicted.hose_off_pa_v, 0.65 * predicted.air_only_low.body_pa_v
    opens = plant.switch_vacuum_pa_v - plant.switch_vacuum_band_pa
    return finding(
        place("switch_vacuum_pa_v"), plant.switch_vacuum_pa_v, "kPa",
        f"turn the switch to between {quantity(low, 'kPa')} and {quantity(high, 'kPa')}; it opens at "
        f"{quantity(opens, 'kPa')}, and product hangs above 0.4 kPa",
        "common practice, no source: over hose-off, at most 0.65 x air-only at the low air limit",
        low=low, high=high, fails="warning",
    )  # fmt: skip


def _another_machine(plant: PlantParameters, presets: Presets, wired: Container[str]) -> list[Finding]:
    """What the settings say and plant.yaml says otherwise: then a run shows nothing of this station."""
    pairs: list[tuple[str, float, str, float]] = [
        (name, float(getattr(presets, name)), parameter, float(getattr(plant, parameter)))
        for name, parameter in SAME.items()
    ]
    pairs.append(("source_kind", float(presets.source_kind), "source_kind", float(plant.source_kind > 0.5)))
    if presets.vacuum_by == BY_TRANSMITTER:
        side = float(plant.transmitter_vacuum_side)
        pairs.append(("vacuum_side", float(presets.vacuum_side), "transmitter_vacuum_side", side))
    found = [
        _other(place(name), f"make it {_plant_place(parameter)}, or correct plant.yaml")
        for name, set_to, parameter, is_so in pairs
        if set_to != is_so
    ]
    for point, parameter in (("vent_close_cmd", "vent_fitted"), ("purge_cmd", "purge_fitted")):
        if (point in wired) != (getattr(plant, parameter) > 0.5):
            found.append(_other(f"outputs.{point}", f"{_plant_place(parameter)} says otherwise"))
    return found


def _other(what: str, change: str) -> Finding:
    return remark(what, change, "plant.yaml simulates another machine than this one", verdict="error")


def _plant_place(name: str) -> str:
    return f"{place(name)} of plant.yaml"
