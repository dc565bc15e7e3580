"""Findings of times and of compressed air: each preset against what the station should need."""

import math

from controller.sequence.presets import Presets
from controller.station_check.air import circle_m2, filter_drop_pa, leak_kg_s, site
from controller.station_check.findings import Finding, finding, place, preset, quantity
from controller.station_check.pneumatics import Flap
from controller.station_check.prediction import Prediction
from io_sim.parameters import PlantParameters

RULE = "common practice, no source"
SCAN_MS = 10.0
FEEDER_MS = 1_000.0  # a feeder's own start; estimate
DELAYS = (
    "flap_lost_ms", "flap_both_ms", "supply_low_ms", "supply_lost_ms", "no_vacuum_ms", "no_material_ms",
    "vacuum_high_ms", "line_empty_ms", "signal_failed_ms", "override_ms",
)  # fmt: skip


def time_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of times."""
    transit = 1_000.0 * predicted.conveying.transit_s
    moved = 1_000.0 * _slower(predicted.flap)
    useful_kg = plant.body_useful_volume_m3 * plant.material_bulk_density_kg_m3
    rate = predicted.conveying.solids_kg_s
    fill = 1_000.0 * useful_kg / rate if rate > 0.0 else math.inf
    shortest = min(DELAYS, key=lambda name: getattr(presets, name))
    return [
        preset(presets, "flap_travel_ms", f"{RULE}: 4-5 x the travel", low=2.0 * moved, computed=4.5 * moved),
        preset(
            presets, "contact_debounce_ms", f"{RULE}: a third of the lost-closed delay",
            high=presets.flap_lost_ms / 3.0,
        ),
        preset(
            presets, shortest, "three scans of 10 ms, or one late scan decides (the shortest delay is shown)",
            low=3.0 * SCAN_MS, fails="warning",
        ),
        preset(
            presets, "tank_charge_ms", "pulse tanks from atmosphere to 95 % of the supply, ISO 6358",
            low=1_000.0 * predicted.tank_charge_s, computed=1_000.0 * predicted.tank_charge_s,
            fails="warning",
        ),
        preset(
            presets, "proving_ms", f"{RULE}: 3 x the time to the threshold",
            low=3.0 * predicted.steps.draw_ms,
        ),
        preset(presets, "fill_ms", "useful volume x bulk density / rate", computed=fill),
        preset(presets, "transit_ms", "length / solids velocity", low=transit, computed=transit),
        preset(presets, "clear_ms", f"{RULE}: 3 x transit", low=3.0 * transit, computed=3.0 * transit),
        preset(
            presets, "no_material_arm_ms", f"{RULE}: transit and 1 s for the feeder", low=transit + FEEDER_MS,
        ),
        preset(
            presets, "release_limit_ms", f"{RULE}: 1.5 x the vent time from dead end, line plugged",
            low=1_500.0 * predicted.release_s,
        ),
        preset(
            presets, "drain_ms", f"{RULE}: 1.5 x free fall of the largest batch, Beverloo x flow factor",
            low=1_500.0 * predicted.drain_s,
            fails="error" if presets.drain_ms < 1_000.0 * predicted.drain_s else "warning",
        ),
        preset(
            presets, "recovery_ms", "tanks to 95 % of supply after a pulse, ISO 6358; measure it",
            low=1_000.0 * predicted.pulse.recovery_s, computed=1_000.0 * predicted.pulse.recovery_s,
        ),
    ]  # fmt: skip


def cleaning_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of how often the filter is cleaned."""
    never = presets.pulses_last == 0
    cleaned = "never cleaned" if never else "cleaned before a stop or a hold alone"
    dusty = plant.filter_fines_share > 0.0
    longer_ms = max(presets.pulse_off_min_ms - presets.recovery_ms, 0) * max(presets.pulses - 1, 0)
    found = [
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
    ]  # fmt: skip
    if dusty and presets.pulses > 0:
        found.append(_dirtiest(plant, presets, predicted))
    return found


def _dirtiest(plant: PlantParameters, presets: Presets, predicted: Prediction) -> Finding:
    """Drop of the filter at the end of the last batch before a clean, at the air that conveying draws."""
    body_pa = site(plant).air_pa - predicted.conveying.body_pa_v
    drawn = predicted.conveying.line_air_kg_s + leak_kg_s(plant, predicted.conveying.body_pa_v)
    once, last = (
        filter_drop_pa(plant, drawn, body_pa, cake)
        for cake in (predicted.cake_each_batch_kg_m2, predicted.cake_dirtiest_kg_m2)
    )
    return finding(
        "filter drop before a clean", last, "kPa",
        f"lower {place('clean_every')} ({presets.clean_every} batches), or stronger pulses",
        "common practice, no source: twice the drop when each batch is cleaned off", high=2.0 * once,
        fails="warning",
    )  # fmt: skip


def supply_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of the compressed air."""
    drawing = predicted.conveying.header_pa_g
    low_pa, lost_pa = float(presets.supply_low_pa_g), float(presets.supply_lost_pa_g)
    band_pa = float(presets.supply_band_pa)
    needed = low_pa + band_pa
    ordering = (
        f"{place('supply_lost_pa_g')} and its hysteresis reach {place('supply_low_pa_g')}: lower the first "
        f"to {quantity(low_pa - band_pa, 'kPa')}, or raise the second to {quantity(lost_pa + band_pa, 'kPa')}"
    )
    flap = plant.flap_spring_n / (circle_m2(plant.flap_cylinder_bore_m) * plant.flap_lever)
    weak = f"wider supply line, or lower {place('supply_low_pa_g')}"
    limits = "start permissive and hysteresis of SUPPLY_AIR_LOW"
    return [
        finding("supply at rest", predicted.header_rest_pa_g, "kPa", weak, limits, low=needed),
        finding("supply while drawing", drawing, "kPa", weak, limits, low=needed),
        finding(
            "supply while drawing, a pulse", predicted.header_pulse_pa_g, "kPa",
            "larger header or supply line", f"{place('pulse_air_pa_g')}", low=float(presets.pulse_air_pa_g),
        ),
        preset(
            presets, "supply_low_pa_g", "over the very low limit and its hysteresis",
            change=ordering, low=lost_pa + band_pa,
        ),
        preset(
            presets, "supply_lost_pa_g",
            "1.2 x the pressure at which the cylinder just passes the spring; the low limit less hysteresis",
            change=ordering if lost_pa > low_pa - band_pa else "",
            low=1.2 * flap, high=low_pa - band_pa,
            fails="error" if lost_pa > low_pa - band_pa else "warning",
            needs=f"a wider flap cylinder, a weaker spring or a higher {place('supply_low_pa_g')}",
        ),
    ]  # fmt: skip


def _slower(flap: Flap) -> float:
    """Slower of opening and closing; infinite for a flap that does not open."""
    return math.inf if math.isnan(flap.opening_s) else max(flap)
