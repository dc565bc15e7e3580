"""The report of a check for a person: two tables, what to change, the sentence, the cautions."""

import math
from collections.abc import Iterable

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from controller.sheets.whole_table import print_whole
from controller.station_check.findings import Finding, Verdict, shown
from controller.station_check.report import Report, summary

STYLES: dict[Verdict, str] = {"ok": "green", "warning": "yellow", "error": "bold red"}


def show(report: Report, console: Console) -> None:
    """Print the report."""
    console.print(f"[bold]{report.station}[/bold] {report.description} ({report.product})")
    print_whole(_points(report), console)
    print_whole(_batch(report), console)
    print_whole(_findings(report), console)
    show_findings([finding for finding in report.findings if finding.verdict != "ok"], console)
    console.print(f"\n{summary(report)}\n")
    for caution in report.cautions:
        console.print(f"[dim]{caution}[/]")


def show_findings(findings: Iterable[Finding], console: Console) -> None:
    """Each finding in words: what to change, and where its limit comes from."""
    for finding in findings:
        style = STYLES[finding.verdict]
        console.print(f"[{style}]{finding.verdict}[/] {finding.what}: {finding.change}.")
        console.print(f"  Limit: {finding.source}.")


def _table(title: str, *columns: str) -> Table:
    table = Table(
        title=title, box=SIMPLE_HEAD, title_justify="left", pad_edge=False, show_header=any(columns)
    )
    for n, column in enumerate(columns):
        table.add_column(column, justify="right" if n else "left", no_wrap=n > 0)
    return table


def _points(report: Report) -> Table:
    table = _table("Predicted: conveying", "", "full air", "low air limit")
    p = report.predicted
    full, low = p.conveying, p.conveying_low
    for name, at_full, at_low, unit in (
        ("air velocity at the feed point", full.feed_point_m_s, low.feed_point_m_s, "m/s"),
        ("body vacuum, dirty side", full.body_pa_v / 1e3, low.body_pa_v / 1e3, "kPa"),
        ("body vacuum, clean side", full.clean_pa_v / 1e3, low.clean_pa_v / 1e3, "kPa"),
        ("air-only vacuum, dirty side", p.air_only.body_pa_v / 1e3, p.air_only_low.body_pa_v / 1e3, "kPa"),
        ("solids / air", full.loading, low.loading, ""),
        ("solids rate while conveying", full.solids_kg_s * 3_600.0, low.solids_kg_s * 3_600.0, "kg/h"),
        ("line content", full.line_content_kg, low.line_content_kg, "kg"),
        ("transit time", full.transit_s, low.transit_s, "s"),
        ("supply at the header", full.header_pa_g / 1e3, low.header_pa_g / 1e3, "kPa"),
    ):
        table.add_row(name, _with(at_full, unit), _with(at_low, unit))
    table.add_row("limited by", full.limited_by, low.limited_by)
    return table


def _batch(report: Report) -> Table:
    table = _table("Predicted: a batch", "", "")
    p = report.predicted
    for name, ms in p.steps._asdict().items():
        table.add_row(f"step {name.removesuffix('_ms')}", _with(ms, "ms"))
    for name, text in (
        ("cycle", _with(p.steps.cycle_ms / 1e3, "s")),
        ("filter clean, share of the cycle", _with(100.0 * p.steps.clean_ms / p.steps.cycle_ms, "%")),
        ("batch", _with(p.batch_kg, "kg")),
        ("largest batch, line and cake included", _with(report.largest_batch_l, "l")),
        ("rate", _with(p.rate_kg_h, "kg/h")),
        ("compressed air", _with(p.air_nm3_t, "Nm3/t")),
        ("dead-end vacuum", f"{shown(p.dead_end_pa_v / 1e3)} kPa"),
        ("air-only vacuum, purge open", f"{shown(p.air_only_purge.body_pa_v / 1e3)} kPa"),
        ("feed off to line empty", _with(p.line_clearing_s, "s")),
        ("vent from dead end, line plugged", _with(p.release_s, "s")),
        ("free fall of the largest batch", _with(p.drain_s, "s")),
        ("flap to open / closed switch", f"{_with(p.flap.opening_s, 's')} / {_with(p.flap.closing_s, 's')}"),
        ("pulse tanks after a pulse", f"{p.pulse.tank_after_pa_g / 1e3:.0f} kPa"),
        ("pulse tanks back at 95 %", _with(p.pulse.recovery_s, "s")),
    ):
        table.add_row(name, text)
    return table


def _findings(report: Report) -> Table:
    table = _table("Findings", "", "figure", "limit", "computed", "verdict")
    for item in report.findings:
        computed = "" if item.computed is None else shown(item.computed)
        verdict = f"[{STYLES[item.verdict]}]{item.verdict}"
        figure = "" if item.figure is None else _with(item.figure, item.unit)
        table.add_row(item.what, figure, _limit(item), computed, verdict)
    return table


def _limit(item: Finding) -> str:
    if not item.has_room:
        return "no room"
    low = "" if item.low is None else shown(item.low)
    high = "" if item.high is None else shown(item.high)
    if low and high:
        return f"{low} .. {high}"
    return f">= {low}" if low else f"<= {high}" if high else ""


def _with(figure: float, unit: str) -> str:
    """A figure with its unit, which one that is not reached goes without."""
    return f"{shown(figure)} {unit}".rstrip() if math.isfinite(figure) else shown(figure)
