"""`receiver cycles`: the cycles of a run, what they came to, and what drifts."""

import csv
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from controller import drift
from controller.cycle_statistics import Statistic, Throughput, by_step, throughput
from controller.records import CycleRecord, as_document
from controller.reporting.journal import read_cycles
from controller.sequence.steps import LEVEL_HOLD, WORKING
from controller.sheets.whole_table import print_whole

STEPS = tuple(step.name for step in (*WORKING, LEVEL_HOLD))
NOT_A_COLUMN = ("steps", "alarms")  # in the CSV: a column a step, and the alarms in one cell
DASH = "-"


class Told(NamedTuple):
    """All that is said of a run."""

    run: Path
    records: list[CycleRecord]
    statistics: list[Statistic]
    came_to: Throughput
    trends: drift.State  # after the last cycle
    warnings: list[drift.Warned]


def read(run: Path) -> Told:
    """
    The cycles of a run folder, judged.

    Raises:
        JournalError: There is no journal in it, or it cannot be read.
    """
    records = read_cycles(run)
    state, warnings = drift.State(), list[drift.Warned]()
    for record in records:
        state, raised = drift.observe(state, record)
        warnings += raised
    return Told(run, records, by_step(records, STEPS), throughput(records), state, warnings)


def as_csv(told: Told) -> str:
    """One line a cycle: every field of the record, then the milliseconds of each step that the run took."""
    steps = [row.name for row in told.statistics if row.name != "cycle"]
    fields = [name for name in CycleRecord._fields if name not in NOT_A_COLUMN]
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    lines.writerow([*fields, "alarms", "cycle_ms", *(f"step_{name}_ms" for name in steps)])
    for record in told.records:
        values = [getattr(record, name) for name in fields]
        times = [record.step_ms(name.upper()) for name in steps]
        lines.writerow([*values, " ".join(record.alarms), record.ms, *times])
    return text.getvalue()


def as_json(told: Told) -> str:
    """All of it as one JSON document."""
    document = {
        "run": str(told.run),
        "simulated": all(record.simulated for record in told.records),
        "cycles": [as_document(record) for record in told.records],
        "statistics": [_rounded(row._asdict()) for row in told.statistics],
        "throughput": _rounded(told.came_to._asdict()),
        "trends": [_rounded(_trend(quantity, chart)) for quantity, chart in _charts(told)],
        "warnings": [_rounded(warned._asdict()) for warned in told.warnings],
    }
    return json.dumps(document, indent=1)


def _rounded(document: dict[str, Any]) -> dict[str, Any]:
    """Six digits of what was worked out: more than any instrument gives."""
    return {k: float(f"{v:.6g}") if isinstance(v, float) else v for k, v in document.items()}


def _charts(told: Told) -> list[tuple[drift.Quantity, drift.Chart]]:
    """Those quantities that this station measures."""
    both = zip(drift.QUANTITIES, told.trends.charts, strict=True)
    return [(quantity, chart) for quantity, chart in both if chart.seen or chart.reference is not None]


def _trend(quantity: drift.Quantity, chart: drift.Chart) -> dict[str, Any]:
    return {
        "id": quantity.id,
        "unit": quantity.unit,
        "learned_cycles": drift.LEARNED if chart.reference is not None else len(chart.seen),
        "reference": chart.reference,
        "spread": chart.spread if chart.reference is not None else None,
        "sum_up": round(chart.sums.high, 3),
        "sum_down": round(chart.sums.low, 3),
        "sum_that_warns": drift.H,
        "standing": {drift.UP: "up", drift.DOWN: "down"}.get(chart.standing, ""),
    }


# ---- on the screen -------------------------------------------------------------------------------------
def show(told: Told, last: int, console: Console) -> None:
    """The last cycles, the statistics of all of them, the trends, and each warning in words."""
    if not told.records:
        console.print(f"{told.run}: no cycle was finished.")
        return
    _show_cycles(told.records[-last:] if last else [], len(told.records), console)
    _show_statistics(told, console)
    _show_trends(told, console)
    for warned in told.warnings:
        console.print(_in_words(warned))


def _in_words(warned: drift.Warned) -> str:
    rose = "rose" if warned.direction == drift.UP else "fell"
    share = f" ({100 * (warned.now / warned.reference - 1):+.0f} %)" if warned.reference else ""
    return (
        f"[bold]DRIFT {warned.id}[/bold] in cycle {warned.cycle}: within {_counted(warned.cycles)} it {rose} "
        f"from {warned.reference:,.4g} to {warned.now:,.4g} {warned.unit}{share}. Usually: {warned.text}."
    )


def _counted(cycles: int) -> str:
    return "1 good cycle" if cycles == 1 else f"{cycles} good cycles"


def _table(*heads: str) -> Table:
    table = Table(box=SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    for head in heads:
        table.add_column(
            head, justify="left" if head in ("start, UTC", "ended", "step", "quantity", "") else "right"
        )
    return table


def _show_cycles(records: Sequence[CycleRecord], of: int, console: Console) -> None:
    if not records:
        return
    console.print(f"Cycles {records[0].number} to {records[-1].number} of {of}:")
    table = _table(
        "no", "start, UTC", "ms", "kg", "kg/h", "air-only", "draw", "release", "opens", "closes", "ended"
    )
    for record in records:
        how = [record.fill_ended_by] if record.result == "complete" else [record.result]
        said = ", ".join(filter(None, ([record.kind] if record.kind != "batch" else []) + how))
        times = (record.draw_ms, record.release_ms, record.flap_opening_ms, record.flap_closing_ms)
        table.add_row(
            str(record.number), record.start_utc[:19].replace("T", " "), str(record.ms),
            _or_dash(record.delivered_kg, ".2f"), _or_dash(record.fill_rate_kg_h, ".0f"),
            _or_dash(record.vacuum_air_only_pa, ".0f"), *(_or_dash(ms, ".0f") for ms in times), said,
        )  # fmt: skip
    print_whole(table, console)
    console.print("kg/h: of the fill; air-only: vacuum in Pa at the end of clear; draw to closes: ms.")


def _show_statistics(told: Told, console: Console) -> None:
    console.print(f"Steps in ms, all {len(told.records)} cycles:")
    table = _table("step", "cycles", "mean", "spread", "5 %", "50 %", "95 %", "slowest", "in cycle")
    for row in told.statistics:
        times = (row.mean, row.spread, row.p5, row.p50, row.p95, row.slowest)
        shown = (_or_dash(ms, ".0f") for ms in times)
        table.add_row(row.name, str(row.cycles), *shown, str(row.slowest_cycle))
    print_whole(table, console)
    came = told.came_to
    mass, air = "mass not known, nothing weighs it", "air not known"
    if came.delivered_kg is not None:
        mass = f"{came.delivered_kg:.0f} kg, {_or_dash(came.rate_kg_h, '.0f')} kg/h"
    if came.air_nm3 is not None:
        air = f"{_or_dash(came.air_nm3_per_t, '.0f')} Nm3 of air a tonne"
    console.print(f"{came.cycles} cycles in {came.ms / 3_600_000:.2f} h: {mass}, {air}.")


def _show_trends(told: Told, console: Console) -> None:
    charts = _charts(told)
    if all(chart.reference is None for _, chart in charts):
        learned = max((len(chart.seen) for _, chart in charts), default=0)
        console.print(
            f"\nTrends: none yet. They are learned from {drift.LEARNED} good cycles (whole batches that "
            f"nothing disturbed); so far: {learned}."
        )
        return
    console.print(f"\nTrends (CUSUM; learned from {drift.LEARNED} good cycles, warns over {drift.H:g}):")
    table = _table("quantity", "usual", "unit", "spread", "sum up", "sum down", "state")
    for quantity, chart in charts:
        if chart.reference is None:
            state = f"learning: {len(chart.seen)} of {drift.LEARNED}"
            table.add_row(quantity.id, "", quantity.unit, "", "", "", state)
            continue
        state = {drift.UP: "rises", drift.DOWN: "falls"}.get(chart.standing, "steady")
        sums = (f"{value:.1f}" for value in (chart.sums.high, chart.sums.low))
        spread = f"{100 * chart.spread / abs(chart.reference):.1f} %" if chart.reference else DASH
        table.add_row(quantity.id, f"{chart.reference:,.4g}", quantity.unit, spread, *sums, state)
    print_whole(table, console)


def _or_dash(value: float | None, form: str) -> str:
    return DASH if value is None else format(value, form)
