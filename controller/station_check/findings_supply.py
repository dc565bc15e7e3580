"""Findings of the compressed air: pressure at rest, drawing and pulsing; the order of the limits."""

from controller.options import AIR_BY_SWITCH
from controller.sequence.presets import Presets
from controller.station_check.air import circle_m2
from controller.station_check.findings import Finding, finding, place, preset, quantity
from controller.station_check.findings_vacuum import transmitter_range
from controller.station_check.prediction import Prediction
from io_sim.parameters import PlantParameters


def supply_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of the compressed air."""
    needed = float(presets.supply_low_pa_g + presets.supply_band_pa)
    setting, limits = "supply_low_pa_g", "start permissive and hysteresis of SUPPLY_AIR_LOW"
    if presets.supply_by == AIR_BY_SWITCH:
        needed, setting = plant.switch_supply_pa_g, "switch_supply_pa_g"
        limits = "where the supply switch closes again, or the station never starts"
    weak = f"wider supply line, or lower {place(setting)}"
    found = [
        finding("supply at rest", predicted.header_rest_pa_g, "kPa", weak, limits, low=needed),
        finding("supply while drawing", predicted.conveying.header_pa_g, "kPa", weak, limits, low=needed),
        finding(
            "supply while drawing, a pulse", predicted.header_pulse_pa_g, "kPa",
            "larger header or supply line, or smaller groups of elements", place("pulse_air_pa_g"),
            low=float(presets.pulse_air_pa_g),
        ),
        preset(
            presets, "supply_weak_pa", "common practice, no source: 1.5 x what it sags while drawing",
            low=1.5 * (predicted.header_rest_pa_g - predicted.conveying.header_pa_g), fails="warning",
        ),
    ]  # fmt: skip
    if presets.supply_by == AIR_BY_SWITCH:
        return found
    fitted = transmitter_range("supply_pa_per_100ua", presets, "transmitter_supply_range_pa_g", plant)
    return [*found, *_order(plant, presets), fitted]


def flap_minimum_pa_g(plant: PlantParameters) -> float:
    """Pressure at which the cylinder just passes the spring; 0 for a flap that no cylinder moves."""
    if plant.flap_kind > 0.5 or plant.flap_valve > 0.5:
        return 0.0
    return plant.flap_spring_n / (circle_m2(plant.flap_cylinder_bore_m) * plant.flap_lever)


def _order(plant: PlantParameters, presets: Presets) -> list[Finding]:
    """Flap minimum under the very low limit, that and its hysteresis under the low limit."""
    low_pa, lost_pa = float(presets.supply_low_pa_g), float(presets.supply_lost_pa_g)
    band_pa = float(presets.supply_band_pa)
    ordering = (
        f"{place('supply_lost_pa_g')} and its hysteresis reach {place('supply_low_pa_g')}: lower the first "
        f"to {quantity(low_pa - band_pa, 'kPa')}, or raise the second to {quantity(lost_pa + band_pa, 'kPa')}"
    )
    flap = flap_minimum_pa_g(plant)
    return [
        preset(
            presets, "supply_low_pa_g", "over the very low limit and its hysteresis, over the flap's least",
            change=ordering, low=max(lost_pa + band_pa, flap),
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
