"""
Findings of a motor source: starts and rest against the table of its size, times against the plant.

NEMA MG 10 also limits starts by the inertia of the load (column B, from memory): that is not checked, because
plant.yaml has no inertia.
"""

from typing import NamedTuple

from controller.sequence.presets import Presets
from controller.sequence.steps import HOUR_MS, MOTOR_KIND
from controller.station_check.findings import Finding, finding, place, preset
from controller.station_check.prediction import Prediction
from io_sim.parameters import PlantParameters

HP_KW = 0.7457
STARTS_TABLE = (
    "NEMA MG 10, table 2-3 (design A and B, load torque as the square of the speed), as the EASA electrical "
    "engineering handbook prints it; its limit by load inertia (column B) is not checked"
)


class Allowed(NamedTuple):
    """What a motor stands: starts an hour (column A), and rest between starts in s (column C)."""

    starts_h: float
    rest_s: float


# fmt: off
NEMA_MG_10: dict[int, dict[float, Allowed]] = {
    2: {hp: Allowed(*row) for hp, *row in (
        (1, 15, 75), (1.5, 12.9, 76), (2, 11.5, 77), (3, 9.9, 80), (5, 8.1, 83), (7.5, 7.0, 88),
        (10, 6.2, 92), (15, 5.4, 100), (20, 4.8, 110), (25, 4.4, 115), (30, 4.1, 120), (40, 3.7, 130),
        (50, 3.4, 145))},
    4: {hp: Allowed(*row) for hp, *row in (
        (1, 30, 38), (1.5, 25.7, 38), (2, 23, 39), (3, 19.8, 40), (5, 16.3, 42), (7.5, 13.9, 44),
        (10, 12.5, 46), (15, 10.7, 50), (20, 9.6, 55), (25, 8.8, 58), (30, 8.2, 60), (40, 7.4, 65),
        (50, 6.8, 72))},
    6: {hp: Allowed(*row) for hp, *row in (
        (1, 34, 33), (1.5, 29.1, 34), (2, 26.1, 35), (3, 22.4, 36), (5, 18.4, 37), (7.5, 15.8, 39),
        (10, 14.2, 41), (15, 12.1, 44), (20, 10.9, 48), (25, 10.0, 51), (30, 9.3, 53), (40, 8.4, 57),
        (50, 7.7, 64))},
}  # columns A and C; poles, then rated horsepower
# fmt: on


def allowed(motor_kw: float, poles: float) -> Allowed:
    """
    The row of a motor; between two sizes the larger one, over the table its last, unknown poles as two.

    >>> allowed(7.5, 4), allowed(2.2, 4).starts_h
    (Allowed(starts_h=12.5, rest_s=46), 19.8)
    """
    rows = NEMA_MG_10.get(round(poles), NEMA_MG_10[2])
    hp = 0.98 * motor_kw / HP_KW  # a size in kW is rounded from its hp size: 15 kW are 20.1 hp
    return rows[next((size for size in rows if size >= hp), max(rows))]


def motor_findings(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """All findings of a motor; none for an ejector."""
    if presets.source_kind != MOTOR_KIND:
        return []
    row = allowed(plant.source_motor_kw, plant.source_motor_poles)
    spacing = HOUR_MS / row.starts_h
    return [
        _starts(presets, predicted, row),
        preset(
            presets, "start_spacing_ms", f"an hour over {row.starts_h:g} starts: {STARTS_TABLE}",
            low=spacing, computed=spacing,
        ),
        preset(presets, "motor_off_min_ms", STARTS_TABLE, low=1_000.0 * row.rest_s),
        preset(
            presets, "spin_up_ms", "common practice, no source: 1.5 x the time to full speed",
            low=1_500.0 * plant.source_spin_up_s,
        ),
        preset(
            presets, "run_down_ms",
            f"common practice, no source: 1.5 x the time to standstill ({place('source_run_down_s')}); less "
            "calls a motor that still turns one without command", low=1_500.0 * plant.source_run_down_s,
        ),
    ]  # fmt: skip


def _starts(presets: Presets, predicted: Prediction, row: Allowed) -> Finding:
    """
    Starts an hour if nothing made it wait.

    Without bypass every batch is a start. With one, only a hold that outlasts the run-on: at worst one after
    the other, each a cycle, the run-on and the shortest rest.
    """
    cycle = predicted.steps.cycle_ms - predicted.steps.motor_rest_ms
    period = cycle + presets.run_on_ms + presets.motor_off_min_ms if presets.bypass_fitted else cycle
    way_out = f"lengthen {place('run_on_ms')}" if presets.bypass_fitted else "fit a bypass: the motor runs on"
    return finding(
        "motor starts an hour", HOUR_MS / period if period > 0.0 else 0.0, "/h",
        f"{way_out}; else every batch waits for the motor", STARTS_TABLE, high=row.starts_h,
        fails="warning" if presets.bypass_fitted else "error",
    )  # fmt: skip
