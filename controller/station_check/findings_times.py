"""Findings of times and of compressed air: each preset against what the station should need."""

import math

from controller.sequence.presets import Presets
from controller.station_check.air import circle_m2
from controller.station_check.findings import Finding, finding, place, preset
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
            presets, "tank_charge_ms", "pulse tanks from atmosphere to supply, ISO 6358",
            computed=1_000.0 * predicted.tank_charge_s,
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


def supply_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of the compressed air."""
    drawing = predicted.conveying.header_pa_g
    needed = float(presets.supply_low_pa_g + presets.supply_band_pa)
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
            low=float(presets.supply_lost_pa_g + presets.supply_band_pa),
        ),
        preset(
            presets, "supply_lost_pa_g", "pressure at which the cylinder just passes the spring, x 1.2",
            low=1.2 * flap, fails="warning",
        ),
    ]  # fmt: skip


def _slower(flap: Flap) -> float:
    """Slower of opening and closing; infinite for a flap that does not open."""
    return math.inf if math.isnan(flap.opening_s) else max(flap)
