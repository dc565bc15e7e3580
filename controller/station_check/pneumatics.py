"""Pneumatics of a batch: pulse tanks and flap cylinder, by closed forms."""

import math
from typing import NamedTuple

from controller.sequence.presets import Presets
from controller.station_check.air import circle_m2, site
from io_sim.formulas_air import iso_6358_kg_s, tank_time_constant_s
from io_sim.formulas_powder import pulse_effect
from io_sim.parameters import PlantParameters

PULSE_SLICES = 40
SWITCH_AT = 0.95  # of the stroke, where a position switch makes


class Pulse(NamedTuple):
    """One reverse pulse from full tanks, all elements together."""

    tank_after_pa_g: float
    air_kg: float
    recovery_s: float  # to 95 % of the header, gauge
    cake_left: float  # share


class Flap(NamedTuple):
    """Time from the command to the switch, its debounce not included; NaN: does not move."""

    opening_s: float
    closing_s: float


def flap_times(plant: PlantParameters, header_pa_g: float) -> Flap:
    """
    Dead time while the cylinder's pressure passes the spring, then the travel to the switch.

    The cylinder fills and vents with its lag tau: tau ln(F / (F - F_spring)) and tau ln(F / F_spring). With
    two coils one side pushes when its pressure has passed that of the other, tau ln 2. A flap without command
    takes its travel once product or vacuum moves it.
    """
    push = header_pa_g * circle_m2(plant.flap_cylinder_bore_m) * plant.flap_lever
    travel = SWITCH_AT * plant.flap_travel_s
    if plant.flap_kind > 0.5:
        return Flap(travel, travel)
    if plant.flap_valve > 0.5:
        both = plant.flap_cylinder_lag_s * math.log(2.0) + travel
        return Flap(both, both)
    if push <= plant.flap_spring_n:
        return Flap(math.nan, travel)
    lag, spring = plant.flap_cylinder_lag_s, plant.flap_spring_n
    return Flap(lag * math.log(push / (push - spring)) + travel, lag * math.log(push / spring) + travel)


def pulse(plant: PlantParameters, presets: Presets, header_pa_g: float) -> Pulse:
    """
    Blow down of the tanks while they are being refilled, in 40 equal slices, and the refilling afterwards.

    The refilling is the sine branch of the ISO 6358 charge, t = tau (1 - b) (asin x1 - asin x0) with
    x = (p/ps - b) / (1 - b), or straight below b.
    """
    place, kelvin = site(plant), plant.site_temperature_k
    volume = plant.tank_elements * plant.tank_volume_m3
    valve = plant.tank_elements * plant.tank_valve_m3_s_pa
    fill = plant.tank_elements * plant.tank_fill_m3_s_pa
    header_pa = header_pa_g + place.air_pa
    slice_s = presets.pulse_ms / 1_000.0 / PULSE_SLICES
    tank_pa, blown, left = header_pa, 0.0, 1.0
    for k in range(PULSE_SLICES):
        out = iso_6358_kg_s(valve, plant.tank_critical_ratio, tank_pa, place.air_pa, kelvin) * slice_s
        into = iso_6358_kg_s(fill, plant.tank_critical_ratio, header_pa, tank_pa, kelvin) * slice_s
        if k * slice_s < plant.filter_pulse_useful_s:
            effect = pulse_effect(
                tank_pa - place.air_pa,
                plant.filter_cleaning_max,
                plant.filter_cleaning_offset_pa_g,
                plant.filter_cleaning_scale_pa,
            )
            left *= math.pow(1.0 - effect, slice_s / plant.filter_pulse_useful_s)
        out = min(out, (tank_pa - place.air_pa) * volume / place.gas_j_kg)
        tank_pa = min(tank_pa + (into - out) * place.gas_j_kg / volume, header_pa)
        blown += out
    tau = tank_time_constant_s(volume, fill, kelvin)
    b = plant.tank_critical_ratio
    target = (0.95 * header_pa_g + place.air_pa) / header_pa
    recovery_s = max(charge_s(tau, b, tank_pa / header_pa, target), 0.0)
    return Pulse(tank_pa - place.air_pa, blown, recovery_s, left)


def tank_charge_s(plant: PlantParameters, header_pa_g: float) -> float:
    """Time of the pulse tanks from atmosphere to 95 % of the header's pressure, gauge."""
    tau = tank_time_constant_s(plant.tank_volume_m3, plant.tank_fill_m3_s_pa, plant.site_temperature_k)
    air_pa = site(plant).air_pa
    header_pa = header_pa_g + air_pa
    return charge_s(
        tau, plant.tank_critical_ratio, air_pa / header_pa, (0.95 * header_pa_g + air_pa) / header_pa
    )


def charge_s(tau_s: float, b: float, start: float, end: float) -> float:
    """Time to charge from one share of the supply to another, isothermal."""
    straight = max(b - start, 0.0)
    from_angle = math.asin((max(start, b) - b) / (1.0 - b))
    to_angle = math.asin((end - b) / (1.0 - b))
    return tau_s * (straight + (1.0 - b) * (to_angle - from_angle))


def cylinder_air_kg(plant: PlantParameters, header_pa_g: float) -> float:
    """Compressed air of one stroke of the flap cylinder."""
    swept = circle_m2(plant.flap_cylinder_bore_m) * plant.flap_cylinder_stroke_m
    return swept * header_pa_g / site(plant).gas_j_kg
