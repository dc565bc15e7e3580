"""
Findings of the vacuum thresholds: each preset against what the station should read.

What is read depends on where the transmitter stands: on the dirty side the line alone, on the clean side
line and filter; there the filter's drop, where it is measured, is taken off for the thresholds of the line.
"""

import math
from typing import NamedTuple

from controller.sequence.presets import Presets
from controller.sequence.steps import BY_TRANSMITTER, CLEAN_SIDE
from controller.station_check.air import dead_end_pa_v, filter_drop_pa, hose_off_kg_s, leak_kg_s, site
from controller.station_check.conveying import Point
from controller.station_check.findings import Finding, finding, place, preset, quantity
from controller.station_check.prediction import Prediction
from io_sim.parameters import PlantParameters

TRANSMITTER_ERROR = 0.005  # of the span; common practice, no source
TELLING_APART = (
    "a higher low air limit, a transmitter of the filter's pressure drop, one on the dirty side, or a "
    "threshold relative to air-only"
)
RULE = "common practice, no source, checked on the plant model"


class Readings(NamedTuple):
    """What the transmitter shows [Pa]; `line_` is the part that the line makes, as far as it is known."""

    hose_off: float
    air_only_low: float
    conveying: float
    line_air_only: float  # at full air; the higher of a clean filter and one at its dirtiest
    line_conveying_low: float
    line_purge: float  # air only, false-air valve open


def readings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> Readings:
    """The readings that thresholds must tell apart."""

    def shown(point: Point, cake_kg_m2: float | None = None) -> float:
        if presets.vacuum_side != CLEAN_SIDE:
            return point.body_pa_v
        if cake_kg_m2 is None:
            return point.clean_pa_v
        drawn = point.line_air_kg_s + leak_kg_s(plant, point.body_pa_v)
        return point.body_pa_v + filter_drop_pa(
            plant, drawn, site(plant).air_pa - point.body_pa_v, cake_kg_m2
        )

    def line(point: Point, cake_kg_m2: float | None = None) -> float:
        return point.body_pa_v if presets.dp_fitted else shown(point, cake_kg_m2)

    hose_off = predicted.hose_off_pa_v
    if presets.vacuum_side == CLEAN_SIDE:
        drawn = hose_off_kg_s(plant, hose_off)
        hose_off += filter_drop_pa(plant, drawn, site(plant).air_pa - hose_off, predicted.cake_start_kg_m2)
    return Readings(
        hose_off,
        shown(predicted.air_only_low),
        shown(predicted.conveying),
        max(line(predicted.air_only), line(predicted.air_only_dirty, predicted.cake_dirtiest_kg_m2)),
        line(predicted.conveying_low),
        line(predicted.air_only_purge),
    )


def vacuum_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of the thresholds; without a transmitter there are none."""
    if presets.vacuum_by != BY_TRANSMITTER:
        return []
    read = readings(plant, presets, predicted)
    proving_high = 0.65 * read.air_only_low
    return [
        _proving_margin(presets, read),
        preset(
            presets, "proving_pa",
            f"{RULE}: over hose-off, at most 0.65 x air-only at the low air limit",
            low=read.hose_off, high=proving_high,
            computed=_best_proving_pa(presets, read) or math.sqrt(read.hose_off * proving_high),
            needs=f"a higher {place('supply_low_pa_g')}, a transmitter on the dirty side, or a line of more "
            "drop by air alone",
        ),
        *_no_material(presets, read),
        preset(
            presets, "line_empty_pa",
            f"{RULE}: over air-only with the purge open (else the time ends the clearing), under no-material",
            low=1.1 * read.line_purge, high=no_material_pa(presets, read), computed=1.25 * read.line_purge,
            needs=f"a higher {place('no_material_pa')}, or clearing ended by time alone",
        ),
        _vacuum_high(plant, presets, predicted, read),
        transmitter_range("vacuum_pa_per_100ua", presets, "transmitter_vacuum_range_pa_v", plant),
    ]  # fmt: skip


def no_material_pa(presets: Presets, read: Readings) -> float:
    """The threshold that is in force: absolute, or a factor on the air-only vacuum of the last clearing."""
    if presets.no_material_relative:
        return read.line_purge * presets.no_material_percent / 100.0
    return float(presets.no_material_pa)


def _no_material(presets: Presets, read: Readings) -> list[Finding]:
    """
    Product missing must be told from product that arrives, at full air and at the low limit.

    The absolute threshold also holds where a relative one is chosen, until an air-only vacuum is known.

    On the clean side without a measured filter drop the dirtiest filter counts: it may read like product, and
    then the threshold never finds an empty feed. The way to fail is a pause unseen, not a hazard: a warning.
    """
    low, high = 1.2 * read.line_air_only, 0.85 * read.line_conveying_low
    unknown = presets.vacuum_side == CLEAN_SIDE and not presets.dp_fitted
    rule = f"{RULE}: 1.2 x air-only with the filter at its dirtiest, to 0.85 x conveying at the low air limit"
    computed = math.sqrt(read.line_air_only * read.line_conveying_low)
    relative = [
        finding(
            place("no_material_percent"), no_material_pa(presets, read), "kPa",
            f"set {place('no_material_percent')} to about {100.0 * computed / max(read.line_purge, 1.0):.0f}",
            f"{rule}; {presets.no_material_percent} % of the {quantity(read.line_purge, 'kPa')} at the end "
            "of a clearing", low=low, high=high, needs=TELLING_APART,
        )
    ]  # fmt: skip
    absolute = preset(
        presets, "no_material_pa", f"{rule}; their geometric mean", needs=TELLING_APART,
        low=low, high=high, computed=computed,
        fails="warning" if unknown or presets.no_material_relative else "error",
    )  # fmt: skip
    return [*relative, absolute] if presets.no_material_relative else [absolute]


def _vacuum_high(plant: PlantParameters, presets: Presets, predicted: Prediction, read: Readings) -> Finding:
    """Over what conveying reads, under what the source reaches; a relief valve opens before that."""
    low = 1.5 * read.conveying
    blocked = 0.7 * dead_end_pa_v(plant, predicted.conveying_low.header_pa_g)
    rule = f"{RULE}: 1.5 x conveying to 0.7 x dead end at the low air limit"
    if plant.source_relief_pa_v > 0.0:
        blocked = 0.9 * plant.source_relief_pa_v
        rule = f"{RULE}: 1.5 x conveying to 0.9 x the relief valve"
    return preset(
        presets, "vacuum_high_pa", rule,
        low=low, high=blocked, computed=math.sqrt(low * blocked),
        needs=f"less feed, a source of deeper vacuum, or a higher {place('supply_low_pa_g')}",
    )  # fmt: skip


def _error_pa(presets: Presets) -> float:
    return TRANSMITTER_ERROR * 160.0 * presets.vacuum_pa_per_100ua


def _best_proving_pa(presets: Presets, read: Readings) -> float:
    """The middle of what both rules for the proving threshold allow, in tens of Pa; 0 if nothing is [Pa]."""
    error = _error_pa(presets)
    low, high = read.hose_off + error, min(read.air_only_low - error, 0.65 * read.air_only_low)
    return round(0.5 * (low + high), -1) if low < high else 0.0


def _proving_margin(presets: Presets, read: Readings) -> Finding:
    """Nearer of hose-off and air-only to the proving threshold: both must be told from it."""
    lower, upper = read.hose_off, read.air_only_low
    error, best = _error_pa(presets), _best_proving_pa(presets, read)
    change = f"set {place('proving_pa')} to about {quantity(best, 'kPa')}"
    if not best:
        change = "no threshold is told from both: a transmitter of smaller range, or a higher low air limit"
    return finding(
        "proving, nearer margin", min(presets.proving_pa - lower, upper - presets.proving_pa),
        "kPa", change,
        f"error of the transmitter, 0.5 % of span (common practice, no source); hose-off "
        f"{quantity(lower, 'kPa')}, air-only at the low air limit {quantity(upper, 'kPa')}",
        low=error, fails="warning",
    )  # fmt: skip


def transmitter_range(name: str, presets: Presets, fitted: str, plant: PlantParameters) -> Finding:
    """A transmitter scaled otherwise than fitted reads wrong everywhere."""
    span = 160.0 * getattr(presets, name)
    range_pa = getattr(plant, fitted)
    return finding(
        place(name), span, "kPa", f"make it the range of the transmitter, {place(fitted)}",
        "definition of the 4-20 mA signal", low=0.999 * range_pa, high=1.001 * range_pa,
    )  # fmt: skip
