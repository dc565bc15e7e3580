"""Findings of the vacuum thresholds: each preset against what the station should read."""

import math

from controller.sequence.presets import Presets
from controller.station_check.air import dead_end_pa_v
from controller.station_check.findings import Finding, finding, place, preset
from controller.station_check.prediction import Prediction
from io_sim.parameters import PlantParameters

RULE = "common practice, no source, checked on the plant model"


def vacuum_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of the thresholds; the transmitter reads the dirty side."""
    conveying, low = predicted.conveying.body_pa_v, predicted.conveying_low.body_pa_v
    air_only = predicted.air_only.body_pa_v
    proving_high = 0.65 * predicted.air_only_low.body_pa_v
    blocked = 0.7 * dead_end_pa_v(plant, predicted.conveying_low.header_pa_g)
    purge = predicted.air_only_purge.body_pa_v
    return [
        preset(
            presets, "proving_pa",
            f"{RULE}: over hose-off, at most 0.65 x air-only at the low air limit",
            low=predicted.hose_off_pa_v, high=proving_high,
            computed=math.sqrt(predicted.hose_off_pa_v * proving_high),
        ),
        preset(
            presets, "no_material_pa",
            f"{RULE}: 1.2 x air-only to 0.85 x conveying at the low air limit; their geometric mean",
            change=_no_material(presets, air_only, low),
            low=1.2 * air_only, high=0.85 * low, computed=math.sqrt(air_only * low),
        ),
        preset(
            presets, "line_empty_pa",
            f"{RULE}: over air-only with the purge open (else the time ends the clearing), under no-material",
            low=1.1 * purge, high=float(presets.no_material_pa), computed=1.25 * purge,
        ),
        preset(
            presets, "vacuum_high_pa",
            f"{RULE}: 1.5 x conveying to 0.7 x dead end at the low air limit",
            low=1.5 * conveying, high=blocked, computed=math.sqrt(1.5 * conveying * blocked),
        ),
        _range("vacuum_pa_per_100ua", presets, "transmitter_vacuum_range_pa_v", plant),
        _range("supply_pa_per_100ua", presets, "transmitter_supply_range_pa_g", plant),
    ]  # fmt: skip


def _no_material(presets: Presets, air_only: float, conveying_low: float) -> str:
    if 1.2 * air_only > 0.85 * conveying_low:
        return (
            "air-only and conveying lie too close: raise the low air limit, or judge by a relative threshold"
        )
    best = math.sqrt(air_only * conveying_low) / 1e3
    return f"set {place('no_material_pa')} to about {best:.2g} kPa"


def _range(name: str, presets: Presets, fitted: str, plant: PlantParameters) -> Finding:
    """A transmitter scaled otherwise than fitted reads wrong everywhere."""
    span = 160.0 * getattr(presets, name)
    range_pa = getattr(plant, fitted)
    return finding(
        place(name), span, "kPa", f"make it the range of the transmitter, {place(fitted)}",
        "definition of the 4-20 mA signal", low=0.999 * range_pa, high=1.001 * range_pa,
    )  # fmt: skip
