"""Findings of room: the largest batch in the body, and below the flap on top of a vessel at its probe."""

import math

from controller.sequence.presets import Presets
from controller.station_check.air import circle_m2, root
from controller.station_check.findings import Finding, finding, place, preset
from controller.station_check.prediction import Prediction
from io_sim.formulas_powder import heap_height_m
from io_sim.parameters import PlantParameters

BODY_OVER_USEFUL = 1.15  # room up to 50 mm under the elements / useful volume; estimate
SPARE_M = 0.050
HANGS_PA = 400.0


def at_probe_m3(plant: PlantParameters) -> float:
    """
    Product in the vessel when its heap just reaches the probe; geometry of a cone on a cylinder.

    h = D/2 tan(alpha) is the cone's height, a third of its cylinder is its volume.
    """
    highest = circle_m2(plant.vessel_bore_m) * plant.vessel_probe_height_m * 2.0 + plant.vessel_capacity_m3
    return root(
        lambda volume: (
            heap_height_m(volume, plant.vessel_bore_m, plant.vessel_probe_radius_m, plant.material_repose_rad)
            - plant.vessel_probe_height_m
        ),
        0.0,
        highest,
    )


def largest_batch_m3(plant: PlantParameters, predicted: Prediction) -> float:
    """Fill time x rate, with a line left full by a trip and the cake of the filter."""
    return predicted.largest_batch_kg / plant.material_bulk_density_kg_m3


def batches_above_probe(plant: PlantParameters) -> int:
    """
    Batches that must fit above the probe.

    One: the sequence waits in seal until the level is settled, so none is begun on an unknown level. Another
    inflow into the vessel needs the room of one more.
    """
    return 2 if plant.vessel_inflow_kg_h > 0.0 else 1


def room_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of room."""
    largest = largest_batch_m3(plant, predicted)
    level = at_probe_m3(plant)
    free = plant.vessel_capacity_m3 - level
    batches = batches_above_probe(plant)
    peak = heap_height_m(level + batches * largest, plant.vessel_bore_m, 0.0, plant.material_repose_rad)
    flap_edge = heap_height_m(plant.vessel_capacity_m3, plant.vessel_bore_m, 0.0, plant.material_repose_rad)
    shorter = f"shorten {place('fill_ms')}"
    found = [
        finding(
            "largest batch in the body", largest, "l", f"{shorter}, or feed less",
            "must stay 50 mm under the elements, taken as 1.15 x useful volume; estimate",
            high=BODY_OVER_USEFUL * plant.body_useful_volume_m3,
        ),
        finding(
            "largest batch above the probe", batches * largest, "l",
            f"lower the probe ({place('vessel_probe_height_m')}), or {shorter}",
            f"freeboard for {batches}: capacity less the product at the probe, heap included; geometry",
            high=max(free, 0.0),
        ),
        finding(
            "peak of the heap after it", peak, "mm",
            f"lower the probe or move it to the middle ({place('vessel_probe_radius_m')})",
            f"50 mm under the edge of the open flap; {place('vessel_capacity_m3')} is counted up to there, "
            "so the swing of the flap is above it; geometry",
            high=flap_edge - SPARE_M,
        ),
        finding(
            "pressure of the vessel below", plant.vessel_pressure_pa_g, "kPa",
            "vent the vessel: product hangs on the air that comes up, and the start is refused",
            "common practice, no source: fine product hangs above 0.4 kPa", high=HANGS_PA,
        ),
        finding(
            "other inflow until full", _late_kg(plant, presets) / plant.material_bulk_density_kg_m3,
            "l",
            f"shorten {place('level_on_ms')}: what else flows in meanwhile takes the room of the batch",
            f"{place('vessel_inflow_kg_h')} for the time of probe, delay and mask; half the spare room",
            high=0.5 * max(free - largest, 0.0), fails="warning",
        ),
    ]  # fmt: skip
    if presets.not_seen_batches > 0 and predicted.batch_kg > 0.0:
        found.append(_not_seen(plant, presets, predicted, level))
    return found


def _late_kg(plant: PlantParameters, presets: Presets) -> float:
    """Other inflow from the moment that the probe is reached until the level counts as full."""
    late_s = plant.vessel_probe_delay_s + (presets.level_on_ms + presets.level_mask_ms) / 1_000.0
    return plant.vessel_inflow_kg_h / 3_600.0 * late_s


def _not_seen(plant: PlantParameters, presets: Presets, predicted: Prediction, level_m3: float) -> Finding:
    """From empty to the probe, one batch more: fewer would stop a sound station that was drawn empty."""
    batches = level_m3 * plant.material_bulk_density_kg_m3 / predicted.batch_kg
    return preset(
        presets, "not_seen_batches",
        "batches from the floor to the probe, and one; with no guaranteed use it proves nothing beyond",
        low=math.ceil(batches), computed=math.ceil(batches) + 1.0, fails="warning",
    )  # fmt: skip
