"""
One batch by closed forms: seal, draw, convey, clear, vent, open, drain, clean - times, product, air.

Steps whose length is a preset take that; the others are worked out from the plant's parameters. The scans
between steps (one each) are left out. Options change steps: a probe ends the fill, a flap without command
ends the drain, an instrument of the vacuum ends draw, clear and vent.
"""

import math
from typing import NamedTuple

from controller.sequence.presets import Presets
from controller.sequence.steps import BY_TIMES, BY_TRANSMITTER, CLEANS_WITH_DRAIN, MOTOR_KIND
from controller.station_check.air import (
    air_drop_pa,
    circle_m2,
    filter_drop_pa,
    inlet_loss,
    leak_kg_s,
    motive_kg_s,
    release_s,
    root,
    site,
    suction_kg_s,
)
from controller.station_check.conveying import Point, line_velocity_m_s, solids_drop_pa_s_kg
from controller.station_check.pneumatics import flap_times
from io_sim.formulas_powder import beverloo_kg_s, free_fall_time_s, product_load_pa, swing_shut_s
from io_sim.parameters import PlantParameters


class Steps(NamedTuple):
    """Milliseconds of each step of a batch; clean is the mean over all batches."""

    motor_rest_ms: float  # waited for in seal, by a motor that stops with every batch
    seal_ms: float
    draw_ms: float
    convey_ms: float
    clear_ms: float
    vent_ms: float
    open_ms: float
    drain_ms: float
    clean_ms: float

    @property
    def cycle_ms(self) -> float:
        """From seal to seal."""
        return sum(self)


def draw_s(plant: PlantParameters, presets: Presets, air_only: Point) -> float:
    """
    Source on until the proving threshold reads: valve and transmitter lag, then the body's own approach.

    The body tends to air-only vacuum with tau = V / (R T x slope of suction less line flow), the slope taken
    as free suction / air-only vacuum. A threshold over air-only is never reached: infinite. Without an
    instrument the proving time runs.
    """
    if presets.vacuum_by == BY_TIMES:
        return presets.proving_ms / 1_000.0
    free = suction_kg_s(plant, air_only.header_pa_g, 0.0)
    if presets.proving_pa >= air_only.body_pa_v or free <= 0.0:
        return math.inf
    tau = plant.body_gas_volume_m3 * air_only.body_pa_v / (site(plant).gas_j_kg * free)
    lag = plant.source_valve_s + plant.transmitter_vacuum_lag_s
    return lag - tau * math.log(1.0 - presets.proving_pa / air_only.body_pa_v)


def emptying_s(plant: PlantParameters, presets: Presets, conveying: Point, cake_kg_m2: float) -> float:
    """
    Feed off until the vacuum of the emptying line falls to the line-empty threshold; infinite if never.

    The line is taken as one stirred store, content ~ exp(-t / transit): between plug flow (one transit, then
    nothing) and a long tail. The transit of the way is the mean of conveying and of the threshold.
    """
    threshold = presets.line_empty_pa
    if threshold >= conveying.body_pa_v:
        return 0.0
    body_pa = site(plant).air_pa - threshold

    def missing(air_kg_s: float) -> float:
        drawn = air_kg_s + leak_kg_s(plant, threshold)
        clean = threshold + filter_drop_pa(plant, drawn, body_pa, cake_kg_m2)
        return drawn - suction_kg_s(plant, conveying.header_pa_g, clean)

    air = root(missing, 0.0, suction_kg_s(plant, conveying.header_pa_g, 0.0))
    spare_pa = threshold - air_drop_pa(plant, air, threshold, purge_open=True)
    if spare_pa <= 0.0:
        return math.inf
    u = line_velocity_m_s(plant, air, threshold)
    rate = spare_pa / solids_drop_pa_s_kg(plant, air, threshold)
    content = rate * plant.line_length_m / (plant.material_velocity_ratio * u)
    transit = plant.line_length_m / (plant.material_velocity_ratio * 0.5 * (u + conveying.line_m_s))
    return transit * math.log(max(conveying.line_content_kg / content, 1.0))


def open_line_m2(plant: PlantParameters, clearing: Point) -> float:
    """Effective area through which the empty line lets air into the body, from its air-only point."""
    area, place = circle_m2(plant.line_bore_m), site(plant)
    drop = air_drop_pa(plant, clearing.line_air_kg_s, clearing.body_pa_v, purge_open=False)
    head = 0.5 * clearing.line_air_kg_s**2 / (place.air_kg_m3 * area * area)
    if head <= 0.0:
        return 0.0
    return area / math.sqrt(max(drop / head, inlet_loss(plant, purge_open=False)))


def vent_area_m2(plant: PlantParameters) -> float:
    """Effective area of the open vent, if there is one, and the leaks."""
    vent = plant.vent_discharge_coefficient * circle_m2(plant.vent_bore_m)
    return vent * float(plant.vent_fitted > 0.5) + plant.body_leak_m2


def plugged_release_s(plant: PlantParameters, presets: Presets, dead_end_pa_v: float) -> float:
    """Vent time from dead end with the line plugged: valve lag, then through vent and leaks alone."""
    return plant.vent_valve_s + release_s(plant, vent_area_m2(plant), dead_end_pa_v, presets.release_pa)


def convey_ms(plant: PlantParameters, presets: Presets, conveying: Point) -> float:
    """Fill time, or less: transit, and until the receiver-full probe is covered for its delay."""
    if not presets.receiver_full_fitted or conveying.solids_kg_s <= 0.0:
        return float(presets.fill_ms)
    probe_m3 = max(plant.body_probe_share - plant.body_probe_splash, 0.0) * plant.body_useful_volume_m3
    filled = conveying.transit_s + probe_m3 * plant.material_bulk_density_kg_m3 / conveying.solids_kg_s
    late = presets.receiver_full_ms + presets.contact_debounce_ms
    return min(1_000.0 * filled + late, float(presets.fill_ms))


def drain_free_s(plant: PlantParameters, presets: Presets, batch_kg: float) -> float:
    """Free fall of a batch through the open flap, fluidised if fitted; infinite for one that bridges."""
    if batch_kg <= 0.0:
        return 0.0
    factor = plant.material_flow_factor
    if presets.fluidise_on_ms > 0:
        factor = max(factor, plant.material_fluidised_factor)
    rate = factor * beverloo_kg_s(
        plant.material_bulk_density_kg_m3,
        plant.flap_bore_m,
        plant.material_particle_size_m,
        plant.material_beverloo_c,
        plant.material_beverloo_k,
    )
    if rate <= 0.0:
        return math.inf
    return free_fall_time_s(batch_kg, rate, max(plant.material_tail_kg, 1e-3))


def shut_again_s(plant: PlantParameters) -> float:
    """
    Empty until a flap without command is back at its switch: the swing of its counterweight alone.

    It begins when what is left weighs less than the counterweight; the trickle after that is counted twice,
    in the free fall too.
    """
    load_pa = product_load_pa(plant.material_bulk_density_kg_m3, plant.flap_bore_m)
    load_n = load_pa * circle_m2(plant.flap_bore_m)
    return swing_shut_s(plant.flap_travel_s, plant.flap_counterweight_n, load_n)


def clean_ms(presets: Presets) -> float:
    """One filter clean: pulses of all groups with their recovery, or their rest if longer, then settling."""
    if presets.pulses == 0:
        return 0.0
    shots = presets.pulses * presets.pulse_groups
    resting = (shots - 1) * max(presets.pulse_off_min_ms - presets.recovery_ms, 0)
    return float(shots * (presets.pulse_ms + presets.recovery_ms) + resting + presets.settle_ms)


def steps(
    plant: PlantParameters, presets: Presets, conveying: Point, clearing: Point, air_only: Point, cake: float
) -> Steps:
    """The steps of a normal batch, none ended early by an interlock."""
    flap = flap_times(plant, plant.supply_network_pa_g)
    often = 1.0 / presets.clean_every if presets.pulses > 0 else 0.0
    drain, cleaning = _drain_and_clean_ms(plant, presets, conveying)
    batch = Steps(
        0.0,
        _seal_ms(presets, 1_000.0 * flap.closing_s, clean_ms(presets), often),
        1_000.0 * draw_s(plant, presets, air_only),
        convey_ms(plant, presets, conveying),
        _clear_ms(plant, presets, conveying, cake),
        _vent_ms(plant, presets, clearing),
        0.0 if presets.flap_kind else 1_000.0 * flap.opening_s + presets.contact_debounce_ms,
        drain,
        cleaning * often,
    )
    return batch._replace(motor_rest_ms=_motor_rest_ms(presets, batch))


def _seal_ms(presets: Presets, shut_ms: float, cleaning_ms: float, often: float) -> float:
    """Mean over batches with and without a clean: the longest of flap, tanks, motor, and a settled level."""
    level = presets.level_mask_ms + presets.level_on_ms
    stopped = presets.source_kind == MOTOR_KIND and not presets.bypass_fitted
    least = max(
        shut_ms + presets.contact_debounce_ms, presets.tank_charge_ms, presets.spin_up_ms if stopped else 0
    )
    return max(least, level - cleaning_ms) * often + max(least, float(level)) * (1.0 - often)


def _clear_ms(plant: PlantParameters, presets: Presets, conveying: Point, cake: float) -> float:
    if presets.vacuum_by != BY_TRANSMITTER:
        return float(presets.clear_ms)
    return min(
        1_000.0 * emptying_s(plant, presets, conveying, cake) + presets.line_empty_ms, presets.clear_ms
    )


def _vent_ms(plant: PlantParameters, presets: Presets, clearing: Point) -> float:
    if presets.vacuum_by == BY_TIMES:
        return float(max(presets.vent_timed_ms, presets.vent_min_ms))
    both = vent_area_m2(plant) + open_line_m2(plant, clearing)
    falling = plant.source_valve_s + plant.transmitter_vacuum_lag_s
    falling += release_s(plant, both, clearing.body_pa_v, presets.release_pa)
    return max(1_000.0 * falling + presets.release_settle_ms, presets.vent_min_ms)


def _drain_and_clean_ms(plant: PlantParameters, presets: Presets, conveying: Point) -> tuple[float, float]:
    """
    Drain and the clean after it.

    A flap without command swings shut when it is empty, and ends the drain when it has been shut for its
    time; pulses with the drain begin
    after the lead, and the drain runs on beside them.
    """
    cleaning = clean_ms(presets)
    if presets.flap_kind:
        batch_kg = conveying.solids_kg_s * convey_ms(plant, presets, conveying) / 1_000.0
        swung_s = drain_free_s(plant, presets, batch_kg) + shut_again_s(plant)
        return 1_000.0 * swung_s + presets.flap_shut_ms, cleaning
    if presets.clean_mode == CLEANS_WITH_DRAIN and cleaning > 0.0:
        lead = float(min(presets.clean_lead_ms, presets.drain_ms))
        pulsing = cleaning - presets.settle_ms
        return lead, max(pulsing, presets.drain_ms - lead) + presets.settle_ms
    return float(presets.drain_ms), cleaning


def _motor_rest_ms(presets: Presets, batch: Steps) -> float:
    """What a motor that is stopped after every batch still has to rest when seal would be over."""
    if presets.source_kind != MOTOR_KIND or presets.bypass_fitted:
        return 0.0
    stopped = batch.vent_ms + batch.open_ms + batch.drain_ms + batch.clean_ms
    resting = max(presets.motor_off_min_ms - stopped, presets.start_spacing_ms - batch.cycle_ms)
    return max(resting, 0.0)


def motive_air_kg(plant: PlantParameters, header_pa_g: float, taken: Steps) -> float:
    """Compressed air of the source over the steps in which it draws."""
    drawing_s = (taken.draw_ms + taken.convey_ms + taken.clear_ms) / 1_000.0
    return motive_kg_s(plant, header_pa_g) * drawing_s
