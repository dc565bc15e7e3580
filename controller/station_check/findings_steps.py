"""Finding of the backstops: the bound of each step, read from the sequence, against what may run in it."""

from collections.abc import Mapping
from functools import cache

from controller.engines.as_written import AsWritten, on_rows
from controller.image import Inputs
from controller.options import DRIVEN
from controller.sequence import steps as names
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import BY_TIMES, CLEANS_WITH_DRAIN, WORKING, Step
from controller.station_check.findings import Finding, finding, place
from controller.station_check.prediction import Prediction


@cache
def sequence() -> Logic:
    """The sequence as it is run: read once, for it takes a third of a second."""
    return Logic(RECEIVER)


def step_bounds_ms(presets: Presets) -> dict[Step, int]:
    """The bound of each working step, read from the facts of the sequence."""
    engine = _engine()
    memory = engine.logic.power_up()._replace(emptying=presets.clean_mode == CLEANS_WITH_DRAIN)
    return {
        step: engine.all_facts(memory._replace(step=step), Inputs(), presets, 10)["step_limit_ms"]
        for step in WORKING
    }


@cache
def _engine() -> AsWritten:
    return AsWritten(sequence(), on_rows)


def may_run_ms(p: Presets) -> dict[Step, int]:
    """
    The limits and waits that may run in each step; a wait for air or motor stops the clock of the bound.

    Added up here once more and apart from the sequence: the two must not share a slip.
    """
    shuts = p.flap_travel_ms if p.flap_kind == DRIVEN else max(p.flap_travel_ms, p.flap_pull_in_ms)
    released = p.vent_timed_ms if p.vacuum_by == BY_TIMES else p.release_limit_ms
    beside = p.drain_ms if p.clean_mode == CLEANS_WITH_DRAIN else 0
    clearing = p.clear_ms if p.clear_ms > 0 else 3 * p.transit_ms
    return {
        names.SEAL: shuts + p.tank_charge_ms + p.level_mask_ms + p.level_on_ms,
        names.REOPEN: p.flap_reopen_ms,
        names.PURGE: max(p.proving_ms + p.transit_ms + p.line_empty_ms, clearing),
        names.DRAW: p.proving_ms,
        names.CONVEY: p.fill_ms,
        names.CLEAR: clearing if p.clear_ms > 0 else 0,
        names.VENT: released + p.release_settle_ms,
        names.OPEN: p.flap_travel_ms,
        names.DRAIN: p.drain_ms,
        names.PULSE: p.pulse_off_min_ms + p.pulse_air_wait_ms + p.pulse_ms,
        names.RECOVER: max(p.recovery_ms, beside),
        names.SETTLE: p.settle_ms,
    }


def step_findings(presets: Presets, predicted: Prediction) -> list[Finding]:
    """The step whose bound is tightest."""
    return [tightest(step_bounds_ms(presets), may_run_ms(presets), predicted)]


def tightest(bounds_ms: Mapping[Step, int], may_run: Mapping[Step, int], predicted: Prediction) -> Finding:
    """The step with the least of its bound to spare, over its limits and over what it should last."""
    lasts = predicted.steps._asdict()
    needs = {step: max(ms, lasts.get(f"{step.name.lower()}_ms", 0.0)) for step, ms in may_run.items()}
    step = min(needs, key=lambda step: bounds_ms[step] / max(needs[step], 1.0))
    return finding(
        f"bound of step {step.name.lower()}", bounds_ms[step], "ms",
        f"raise {place('step_bound_percent')}, or shorten the limits of that step",
        "STEP_TOO_LONG must come after every limit of the step; the tightest step is shown",
        low=needs[step] + 1.0,
    )  # fmt: skip
