"""Findings of the filter: cloth against air, how often it is cleaned, its drop where that is measured."""

from controller.sequence.presets import Presets
from controller.station_check.air import filter_drop_pa, leak_kg_s, site
from controller.station_check.conveying import Point
from controller.station_check.findings import Finding, finding, place, preset
from controller.station_check.findings_vacuum import transmitter_range
from controller.station_check.prediction import Prediction
from io_sim.parameters import PlantParameters

FACE_MAX_M_S = 6.0 / 60.0  # 6 m/min; estimate of this project for receivers cleaned off-line
CLEAN_SHARE_MAX = 0.25  # of the cycle


def filter_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of the filter."""
    never = presets.pulses_last == 0
    cleaned = "never cleaned" if never else "cleaned before a stop or a hold alone"
    dusty = plant.filter_fines_share > 0.0
    shots = presets.pulses * presets.pulse_groups
    longer_ms = max(presets.pulse_off_min_ms - presets.recovery_ms, 0) * max(shots - 1, 0)
    share = predicted.steps.clean_ms / predicted.steps.cycle_ms
    found = [
        _face(plant, predicted.air_only),
        preset(
            presets, "recovery_ms", "tanks to 95 % of supply after a pulse, ISO 6358; measure it",
            low=1_000.0 * predicted.pulse.recovery_s, computed=1_000.0 * predicted.pulse.recovery_s,
        ),
        preset(
            presets, "pulses", "fines of the product stay on the cloth until a pulse takes them off",
            change=f"the filters are {cleaned}: raise {place('pulses')}",
            low=1.0 if dusty else 0.0, fails="error" if never else "warning",
        ),
        preset(
            presets, "pulse_off_min_ms",
            f"shortest rest between two pulses; over the recovery it makes a clean {longer_ms} ms longer",
            high=float(presets.recovery_ms), fails="warning",
        ),
        finding(
            "clean, share of the cycle", share if predicted.steps.clean_ms > 0.0 else 0.0, "%",
            f"fewer pulses ({shots} a clean, each with its recovery), a wider fill hose, or a larger "
            f"{place('clean_every')}", "estimate of this project: a quarter", high=CLEAN_SHARE_MAX,
            fails="warning",
        ),
    ]  # fmt: skip
    if dusty and presets.pulses > 0:
        found.append(_dirtiest(plant, presets, predicted))
    if presets.dp_fitted:
        found += _drop(plant, presets, predicted)
    return found


def _face(plant: PlantParameters, air_only: Point) -> Finding:
    """Air to cloth at air-only, where the flow is highest, at the density in the body."""
    body_pa = site(plant).air_pa - air_only.body_pa_v
    drawn = air_only.line_air_kg_s + leak_kg_s(plant, air_only.body_pa_v)
    return finding(
        "air to cloth, line empty", drawn * site(plant).gas_j_kg / (body_pa * plant.filter_area_m2), "m/min",
        f"more cloth ({place('filter_area_m2')}), or a weaker source: fines are driven into the cloth",
        "1 to 2.5 m/min in steady pulse-jet filters (EPA Air Pollution Control Cost Manual); receivers that "
        "are cleaned without air run at 3 to 6, an estimate", high=FACE_MAX_M_S, fails="warning",
    )  # fmt: skip


def _drops_pa(plant: PlantParameters, point: Point, *cakes: float) -> list[float]:
    """Drop of the filter at the air of a point, for each cake."""
    body_pa = site(plant).air_pa - point.body_pa_v
    drawn = point.line_air_kg_s + leak_kg_s(plant, point.body_pa_v)
    return [filter_drop_pa(plant, drawn, body_pa, cake) for cake in cakes]


def _dirtiest(plant: PlantParameters, presets: Presets, predicted: Prediction) -> Finding:
    """Drop of the filter at the end of the last batch before a clean, at the air that conveying draws."""
    once, last = _drops_pa(
        plant, predicted.conveying, predicted.cake_each_batch_kg_m2, predicted.cake_dirtiest_kg_m2
    )
    return finding(
        "filter drop before a clean", last, "kPa",
        f"lower {place('clean_every')} ({presets.clean_every} batches), or stronger pulses",
        "common practice, no source: twice the drop when each batch is cleaned off", high=2.0 * once,
        fails="warning",
    )  # fmt: skip


def _drop(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """Limits of the measured drop: over what a batch ends at, under it what no whole element can have."""
    (ending,) = _drops_pa(plant, predicted.conveying, predicted.cake_dirtiest_kg_m2)
    (new,) = _drops_pa(plant, predicted.air_only, 0.0)
    rule = "common practice, no source"
    return [
        preset(
            presets, "dp_warn_pa", f"{rule}: 1.5 x the drop at the end of a batch", low=1.5 * ending,
            computed=1.8 * ending,
        ),
        preset(
            presets, "dp_trip_pa", f"{rule}: 1.5 x the warning; the element collapses at more",
            low=1.5 * presets.dp_warn_pa, fails="warning",
        ),
        preset(
            presets, "dp_min_pa", f"{rule}: a third of a new element's drop at air-only; half is too much",
            high=0.5 * new, computed=new / 3.0, fails="warning",
        ),
        transmitter_range("dp_pa_per_100ua", presets, "transmitter_dp_range_pa", plant),
    ]  # fmt: skip
