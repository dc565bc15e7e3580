"""Findings of the vacuum thresholds: each preset against what the station should read."""

import math

from controller.sequence.presets import Presets
from controller.station_check.air import dead_end_pa_v
from controller.station_check.findings import Finding, finding, place, preset, quantity
from controller.station_check.prediction import Prediction
from io_sim.parameters import PlantParameters

TRANSMITTER_ERROR = 0.005  # of the span; common practice, no source
TELLING_APART = (
    "a higher low air limit, a transmitter of the filter's pressure drop beside that of the dirty side, or a "
    "threshold relative to air-only"
)
RULE = "common practice, no source, checked on the plant model"


def vacuum_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of the thresholds; the transmitter reads the dirty side."""
    conveying, low = predicted.conveying.body_pa_v, predicted.conveying_low.body_pa_v
    air_only = predicted.air_only.body_pa_v
    proving_high = 0.65 * predicted.air_only_low.body_pa_v
    blocked = 0.7 * dead_end_pa_v(plant, predicted.conveying_low.header_pa_g)
    purge = predicted.air_only_purge.body_pa_v
    return [
        _proving_margin(presets, predicted),
        preset(
            presets, "proving_pa",
            f"{RULE}: over hose-off, at most 0.65 x air-only at the low air limit",
            low=predicted.hose_off_pa_v, high=proving_high,
            computed=math.sqrt(predicted.hose_off_pa_v * proving_high),
            needs=f"a higher {place('supply_low_pa_g')}, or a line of more drop by air alone",
        ),
        preset(
            presets, "no_material_pa",
            f"{RULE}: 1.2 x air-only to 0.85 x conveying at the low air limit; their geometric mean",
            needs=TELLING_APART,
            low=1.2 * air_only, high=0.85 * low, computed=math.sqrt(air_only * low),
        ),
        preset(
            presets, "line_empty_pa",
            f"{RULE}: over air-only with the purge open (else the time ends the clearing), under no-material",
            low=1.1 * purge, high=float(presets.no_material_pa), computed=1.25 * purge,
            needs=f"a higher {place('no_material_pa')}, or clearing ended by time alone",
        ),
        preset(
            presets, "vacuum_high_pa",
            f"{RULE}: 1.5 x conveying to 0.7 x dead end at the low air limit",
            low=1.5 * conveying, high=blocked, computed=math.sqrt(1.5 * conveying * blocked),
            needs=f"less feed, a source of deeper vacuum, or a higher {place('supply_low_pa_g')}",
        ),
        _range("vacuum_pa_per_100ua", presets, "transmitter_vacuum_range_pa_v", plant),
        _range("supply_pa_per_100ua", presets, "transmitter_supply_range_pa_g", plant),
    ]  # fmt: skip


def _proving_margin(presets: Presets, predicted: Prediction) -> Finding:
    """Nearer of hose-off and air-only to the proving threshold: both must be told from it."""
    lower, upper = predicted.hose_off_pa_v, predicted.air_only_low.body_pa_v
    error = TRANSMITTER_ERROR * 160.0 * presets.vacuum_pa_per_100ua
    best = min(0.5 * (lower + upper), 0.65 * upper)
    change = f"set {place('proving_pa')} to about {quantity(best, 'kPa')}"
    if min(best - lower, upper - best) < error:
        change = "no threshold is told from both: a transmitter of smaller range, or a higher low air limit"
    return finding(
        "proving, nearer margin", min(presets.proving_pa - lower, upper - presets.proving_pa),
        "kPa", change,
        f"error of the transmitter, 0.5 % of span (common practice, no source); hose-off "
        f"{quantity(lower, 'kPa')}, air-only at the low air limit {quantity(upper, 'kPa')}",
        low=error, fails="warning",
    )  # fmt: skip


def _range(name: str, presets: Presets, fitted: str, plant: PlantParameters) -> Finding:
    """A transmitter scaled otherwise than fitted reads wrong everywhere."""
    span = 160.0 * getattr(presets, name)
    range_pa = getattr(plant, fitted)
    return finding(
        place(name), span, "kPa", f"make it the range of the transmitter, {place(fitted)}",
        "definition of the 4-20 mA signal", low=0.999 * range_pa, high=1.001 * range_pa,
    )  # fmt: skip
