"""
Prediction: what a station should do, from its parameters and presets alone.

Pure. A steady conveying point, closed forms for the rest; the plant model is never called, so that a
simulated hour is a check of this and the other way round.
"""

import math
from typing import NamedTuple

from controller.sequence.presets import Presets
from controller.station_check import air, cycle, pneumatics
from controller.station_check.conveying import Point, air_only_point, conveying_point
from io_sim.formulas_air import STANDARD_PA, air_density_kg_m3
from io_sim.formulas_powder import throughput_kg_h
from io_sim.parameters import PlantParameters

NORMAL_KG_M3 = air_density_kg_m3(STANDARD_PA, 273.15)
"""Density of the normal state, 0 C and 101.325 kPa (DIN 1343) [kg/Nm3]."""

ROUNDS = 4  # cake and conveying point depend on each other


class Prediction(NamedTuple):
    """All that the check knows of a station. SI units in the names."""

    conveying: Point  # at full air, cake of mid-batch
    conveying_low: Point  # at the low limit of supply air, or where its switch opens
    air_only: Point  # full air, after cleaning
    air_only_low: Point
    air_only_purge: Point  # full air, false-air valve open
    air_only_dirty: Point  # full air, cake of a batch's end
    hose_off_pa_v: float
    dead_end_pa_v: float
    cake_start_kg_m2: float
    cake_end_kg_m2: float
    cake_each_batch_kg_m2: float  # at the end of a batch if each one were cleaned off
    cake_dirtiest_kg_m2: float  # at the end of the last batch before a clean
    batch_kg: float
    largest_batch_kg: float  # with the line's content from a trip, and the cake
    steps: cycle.Steps
    rate_kg_h: float  # while it is not held: capacity, not consumption
    air_nm3_t: float
    pulse: pneumatics.Pulse
    flap: pneumatics.Flap
    tank_charge_s: float  # pulse tanks from empty to 95 % of the supply
    drain_s: float
    release_s: float  # from dead end through the vent, line plugged
    line_clearing_s: float  # to the line-empty threshold
    header_rest_pa_g: float
    header_pulse_pa_g: float  # drawing, with one pulse filling the tanks


def predict(plant: PlantParameters, presets: Presets) -> Prediction:
    """
    The prediction for a station.

    A figure that cannot be reached is infinite or NaN (a threshold over what the source gives, a flap that
    the cylinder cannot open).
    """
    full = air.header_drawing_pa_g(plant)
    rest = plant.supply_network_pa_g
    low = min(air.low_limit_pa_g(plant, presets), full)
    shot = pneumatics.pulse(plant, presets, rest)
    start = end = 0.0
    for _ in range(ROUNDS):
        conveying = conveying_point(plant, full, 0.5 * (start + end))
        batch_kg = conveying.solids_kg_s * cycle.convey_ms(plant, presets, conveying) / 1_000.0
        start, end = _cake(plant, presets, batch_kg, shot)
    air_only = air_only_point(plant, full, start)
    purge = air_only_point(plant, full, end, purge_open=True)
    taken = cycle.steps(plant, presets, conveying, purge, air_only, end)
    used_kg = cycle.motive_air_kg(plant, full, taken) + pneumatics.cylinder_air_kg(plant, rest)
    used_kg += shot.air_kg * presets.pulses / presets.clean_every
    before_kg = 0.0 if presets.receiver_full_fitted else conveying.line_content_kg  # a probe counts it
    largest_kg = batch_kg + before_kg + end * plant.filter_area_m2
    dead_end = air.dead_end_pa_v(plant, full)
    return Prediction(
        conveying,
        conveying_point(plant, low, 0.5 * (start + end)),
        air_only,
        air_only_point(plant, low, start),
        purge,
        air_only_point(plant, full, end),
        air.hose_off_pa_v(plant, full),
        dead_end,
        start,
        end,
        *_cake_before_clean(plant, presets, batch_kg, shot),
        batch_kg,
        largest_kg,
        taken,
        throughput_kg_h(batch_kg, taken.cycle_ms / 1_000.0),
        used_kg / NORMAL_KG_M3 / (batch_kg / 1_000.0) if batch_kg > 0.0 else math.inf,
        shot,
        pneumatics.flap_times(plant, rest),
        pneumatics.tank_charge_s(plant, rest),
        cycle.drain_free_s(plant, presets, largest_kg),
        cycle.plugged_release_s(plant, presets, dead_end),
        cycle.emptying_s(plant, presets, conveying, end),
        rest,
        full - (rest - shot.tank_after_pa_g) * _group_m3(plant) / plant.supply_header_volume_m3,
    )


def _group_m3(plant: PlantParameters) -> float:
    """Tanks that one pulse empties: those of the largest group."""
    return math.ceil(plant.tank_elements / plant.tank_groups) * plant.tank_volume_m3


def _cake(
    plant: PlantParameters, presets: Presets, batch_kg: float, shot: pneumatics.Pulse
) -> tuple[float, float]:
    """
    Cake on the cloth at begin and end of a batch, when each clean takes off what came since the last [kg/m2].

    Dust aloft after the pulses settles with its time constant; what is still up at the next draw returns.
    With clean_every n the cake is that of the mean batch.
    """
    arriving = plant.filter_fines_share * batch_kg / plant.filter_area_m2
    kept = _kept(plant, presets, shot)
    if kept >= 1.0:
        return arriving, 2.0 * arriving
    batches = presets.clean_every
    cleaned = kept * batches * arriving / (1.0 - kept)
    start = cleaned + 0.5 * (batches - 1) * arriving
    return start, start + arriving


def _kept(plant: PlantParameters, presets: Presets, shot: pneumatics.Pulse) -> float:
    """Share of the cake that is on the cloth again when the next batch is drawn."""
    left = math.pow(shot.cake_left, presets.pulses)
    waiting_ms = presets.recovery_ms + presets.settle_ms + presets.tank_charge_ms
    still_up = math.exp(-waiting_ms / 1_000.0 / plant.filter_dust_settling_s)
    return left + (1.0 - left) * still_up


def _cake_before_clean(
    plant: PlantParameters, presets: Presets, batch_kg: float, shot: pneumatics.Pulse
) -> tuple[float, float]:
    """Cake at the end of a batch if each were cleaned off, and at the last of `clean_every` [kg/m2]."""
    arriving = plant.filter_fines_share * batch_kg / plant.filter_area_m2
    kept = min(_kept(plant, presets, shot), 0.999)
    return arriving / (1.0 - kept), presets.clean_every * arriving / (1.0 - kept)
