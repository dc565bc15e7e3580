"""Findings of room: the largest batch in the body, and below the flap on top of a vessel at its probe."""

from controller.station_check.air import circle_m2, root
from controller.station_check.findings import Finding, finding, place
from controller.station_check.prediction import Prediction
from io_sim.formulas_powder import heap_height_m
from io_sim.parameters import PlantParameters

BODY_OVER_USEFUL = 1.15  # room up to 50 mm under the elements / useful volume; estimate
SPARE_M = 0.050


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


def room_findings(plant: PlantParameters, predicted: Prediction) -> list[Finding]:
    """
    All findings of room.

    One batch must fit above the probe (k = 1): the sequence waits in seal until the level is settled, so
    none is begun on an unknown level. Another inflow into the vessel needs room of its own.
    """
    largest = largest_batch_m3(plant, predicted)
    level = at_probe_m3(plant)
    free = plant.vessel_capacity_m3 - level
    peak = heap_height_m(level + largest, plant.vessel_bore_m, 0.0, plant.material_repose_rad)
    flap_edge = heap_height_m(plant.vessel_capacity_m3, plant.vessel_bore_m, 0.0, plant.material_repose_rad)
    shorter = f"shorten {place('fill_ms')}"
    return [
        finding(
            "largest batch in the body", largest, "l", f"{shorter}, or feed less",
            "must stay 50 mm under the elements, taken as 1.15 x useful volume; estimate",
            high=BODY_OVER_USEFUL * plant.body_useful_volume_m3,
        ),
        finding(
            "largest batch above the probe", largest, "l",
            f"lower the probe ({place('vessel_probe_height_m')}), or {shorter}",
            "freeboard: capacity less the product at the probe, heap included; geometry", high=max(free, 0.0),
        ),
        finding(
            "peak of the heap after it", peak, "mm",
            f"lower the probe or move it to the middle ({place('vessel_probe_radius_m')})",
            "50 mm under the edge of the open flap, where the vessel is full; geometry",
            high=flap_edge - SPARE_M,
        ),
    ]  # fmt: skip
