"""Findings of times: each preset against what the station should need."""

import math

from controller.options import DRIVEN
from controller.sequence.presets import Presets
from controller.sequence.steps import BY_TIMES, BY_TRANSMITTER, FEEDBACK_CLOSED, VACUUM_HELD
from controller.station_check.air import release_s
from controller.station_check.cycle import open_line_m2, shut_again_s
from controller.station_check.findings import Finding, place, preset, quantity
from controller.station_check.findings_wire import TOGETHER_MS
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
    return [
        *_flap(presets, predicted),
        *_delays(presets),
        preset(
            presets, "tank_charge_ms", "pulse tanks from atmosphere to 95 % of the supply, ISO 6358",
            low=1_000.0 * predicted.tank_charge_s, computed=1_000.0 * predicted.tank_charge_s,
            fails="warning",
        ),
        *_line(plant, presets, predicted),
        *_vent(plant, presets, predicted),
        _drain(plant, presets, predicted),
    ]  # fmt: skip


def _flap(presets: Presets, predicted: Prediction) -> list[Finding]:
    """Travel of the flap, and the time in which the vacuum shuts one that it holds."""
    moved = 1_000.0 * _slower(predicted.flap)
    driven = [
        preset(presets, "flap_travel_ms", f"{RULE}: 4-5 x the travel", low=2.0 * moved, computed=4.5 * moved)
    ]
    driven += _reopening(presets)
    if presets.flap_kind != VACUUM_HELD:
        return driven
    pulled = moved + presets.contact_debounce_ms
    return [
        *driven,
        preset(
            presets, "flap_pull_in_ms", f"{RULE}: 2 x the travel under vacuum; longer is a leak",
            low=2.0 * pulled, computed=3.0 * pulled,
        ),
    ]  # fmt: skip


def _reopening(presets: Presets) -> list[Finding]:
    """With the closed switch alone open is proven by time, and no pulse comes before that."""
    if (
        presets.flap_kind != DRIVEN
        or presets.flap_feedback != FEEDBACK_CLOSED
        or not presets.flap_retries_max
    ):
        return []
    proven = presets.flap_travel_ms + SCAN_MS
    whole = proven + presets.pulse_ms
    return [
        preset(
            presets, "flap_reopen_ms",
            f"{place('flap_travel_ms')} and the pulse: without an open switch the flap is proven open after "
            "that time, and the pulse that clears the seat waits for it",
            change=f"set {place('flap_reopen_ms')} to {quantity(whole, 'ms')}, or fit the open switch: as it "
            "is set the flap re-opens, and no whole pulse comes",
            low=whole, computed=whole, fails="warning",
        )
    ]  # fmt: skip


def _delays(presets: Presets) -> list[Finding]:
    """Filters shorter than what they filter for, delays longer than the scan, loss of I/O within a second."""
    shortest = min(DELAYS, key=lambda name: getattr(presets, name))
    flap_ms = min(presets.flap_lost_ms, presets.flap_both_ms)
    return [
        preset(
            presets, "contact_debounce_ms", f"{RULE}: a third of the shortest delay of the flap's switches",
            high=flap_ms / 3.0,
        ),
        preset(
            presets, shortest, "three scans of 10 ms, or one late scan decides (the shortest delay is shown)",
            low=3.0 * SCAN_MS, fails="warning",
        ),
        preset(
            presets, "io_lost_ms",
            f"{RULE}: with the watchdog of the remote I/O, which is longer, under a second",
            low=3.0 * SCAN_MS, high=TOGETHER_MS / 2.0,
        ),
    ]  # fmt: skip


def _line(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """From source on to an empty line."""
    transit = 1_000.0 * predicted.conveying.transit_s
    useful_kg = plant.body_useful_volume_m3 * plant.material_bulk_density_kg_m3
    rate = predicted.conveying.solids_kg_s
    fill = 1_000.0 * useful_kg / rate if rate > 0.0 else math.inf
    found = [
        preset(
            presets, "fill_ms",
            "1.5 x useful volume x bulk density / rate: the probe ends it" if presets.receiver_full_fitted
            else "useful volume x bulk density / rate",
            computed=1.5 * fill if presets.receiver_full_fitted else fill,
        ),
        preset(
            presets, "fill_min_ms", f"{RULE}: half the usual fill, or every batch is a short one",
            high=0.5 * predicted.steps.convey_ms,
        ),
        preset(presets, "transit_ms", "length / solids velocity", low=transit, computed=transit),
        preset(
            presets, "clear_ms", f"{RULE}: 3 x transit; 0 leaves the line loaded",
            low=3.0 * transit, computed=3.0 * transit,
        ),
    ]  # fmt: skip
    if presets.vacuum_by != BY_TIMES:
        reached = "3 x the time to the threshold"
        low = 3.0 * predicted.steps.draw_ms
        found.append(preset(presets, "proving_ms", f"{RULE}: {reached}", low=low))
    if presets.vacuum_by == BY_TRANSMITTER:
        rule = f"{RULE}: transit and 1 s for the feeder"
        found.append(preset(presets, "no_material_arm_ms", rule, low=transit + FEEDER_MS))
    return found


def _vent(plant: PlantParameters, presets: Presets, predicted: Prediction) -> list[Finding]:
    """From dead end through the vent, the line plugged; without a vent through the open line alone."""
    limit = "vent_timed_ms" if presets.vacuum_by == BY_TIMES else "release_limit_ms"
    if plant.vent_fitted > 0.5:
        return [
            preset(
                presets, limit, f"{RULE}: 1.5 x the vent time from dead end, line plugged",
                low=1_500.0 * predicted.release_s,
            )
        ]  # fmt: skip
    open_line = open_line_m2(plant, predicted.air_only_purge) + plant.body_leak_m2
    through = release_s(plant, open_line, predicted.dead_end_pa_v, presets.release_pa)
    return [
        preset(
            presets, limit, f"{RULE}: 1.5 x the time through the open line; no vent is fitted",
            low=1_500.0 * through,
        )
    ]  # fmt: skip


def _drain(plant: PlantParameters, presets: Presets, predicted: Prediction) -> Finding:
    """The fall, and of a flap without command its swing back and the time that it must be shut."""
    rule = f"{RULE}: 1.5 x free fall of the largest batch, Beverloo x flow factor"
    shut_ms = 0.0
    if presets.flap_kind != DRIVEN:
        shut_ms = 1_000.0 * shut_again_s(plant) + presets.flap_shut_ms
        swing = f"{shut_again_s(plant):.1f} s in which its counterweight swings it shut (estimate)"
        rule += f"; {swing}; {place('flap_shut_ms')}"
    return preset(
        presets, "drain_ms", rule, low=1_500.0 * predicted.drain_s + shut_ms,
        fails="error" if presets.drain_ms < 1_000.0 * predicted.drain_s + shut_ms else "warning",
    )  # fmt: skip


def _slower(flap: Flap) -> float:
    """Slower of opening and closing; infinite for a flap that does not open."""
    return math.inf if math.isnan(flap.opening_s) else max(flap)
