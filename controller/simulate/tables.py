"""A run on the screen: the cycles, the totals, each trip in words, and what the sequence waited for."""

from collections.abc import Callable, Container, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from textwrap import wrap

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from controller.events import EVENTS, text_at
from controller.records import CycleRecord
from controller.sequence.steps import EMPTYING, SUCTION
from controller.sheets.fitted import fitted
from controller.sheets.whole_table import print_or_stack, print_whole
from controller.simulate.alarm_desk import load_words
from controller.simulate.command import NOTICE, Outcome, check_errors
from controller.simulate.station_watch import Explained, Totals, Trip
from controller.simulate.times import typed

SHOWN = 5
"""Cycles at either end of a long run that the table shows."""
READS_FROM = 100
"""Characters; narrower the grounds of a row stand under it."""
COLUMNS = {
    **{step.name.lower(): (step.name,) for step in SUCTION + EMPTYING},
    "clean": ("PULSE", "RECOVER"),
    "settle": ("SETTLE",),
    "hold": ("LEVEL_HOLD",),
}
"""The columns of the table: which steps each sums."""


def show(outcome: Outcome, console: Console) -> None:
    """The whole outcome."""
    ask, receiver = outcome.ask, outcome.ask.station.receiver
    console.print(f"{receiver.name}, {receiver.product}: {receiver.description}.", soft_wrap=True)
    console.print(f"{NOTICE.capitalize()}.")
    if errors := check_errors(ask):
        here, folder = Path.cwd(), ask.folder
        shown = folder.relative_to(here) if folder.is_relative_to(here) else folder
        console.print(f"Check finds {_counted(errors, 'error')}: see receiver check {shown}", soft_wrap=True)
    cycles(outcome.cycles, console)
    for trip in outcome.totals.trips:
        tripped(trip, fitted(ask.station), console)
    totals(outcome.totals, len(outcome.cycles), console)
    if outcome.explained:
        explained(outcome.explained, console)
    for failure in outcome.never_due:
        console.print(f"Never came due: {failure}")
    for note in outcome.notes:
        console.print(note)
    times = outcome.totals.ms / 1_000 / max(outcome.took_s, 0.001)
    console.print(
        f"{typed(outcome.totals.ms)} of plant time in {outcome.took_s:.1f} s, {times:,.0f} x real time, "
        f"{ask.executor} executor, seed {ask.seed}."
    )
    if ask.out:
        console.print(f"Left in {ask.out}: {', '.join(sorted(path.name for path in ask.out.iterdir()))}")


def cycles(records: Sequence[CycleRecord], console: Console) -> None:
    """One line a cycle, milliseconds in each step; of many the first and the last few."""
    if not records:
        console.print("No cycle.")
        return
    columns = [head for head, names in COLUMNS.items() if any(record.step_ms(*names) for record in records)]
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    for head in ("no", "start", *columns, "all", "kPa", "kg", "Nm3"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("fill ended by", min_width=20, no_wrap=True)
    hidden = len(records) - 2 * SHOWN
    for k, record in enumerate(records):
        if k < SHOWN or k >= len(records) - SHOWN or hidden <= 1:
            table.add_row(*_row(record, columns))
        elif k == SHOWN:
            table.add_row(*_mean(records[SHOWN:-SHOWN], columns))
    print_whole(table, console)
    console.print("Steps in ms; clean: pulse and recover together; kPa: highest vacuum.")


def _row(record: CycleRecord, columns: Sequence[str]) -> list[str]:
    times = [f"{ms}" if (ms := record.step_ms(*COLUMNS[head])) else "" for head in columns]
    peak = "" if record.vacuum_peak_pa is None else f"{record.vacuum_peak_pa / 1_000:.1f}"
    said = [record.fill_ended_by] if record.fill_ended_by not in ("", "trip", "halt") else []
    said += [record.kind] if record.kind != "batch" else []
    said += [record.result.removeprefix("trip ")] if record.result != "complete" else []
    amounts = [peak, f"{record.delivered_kg:.2f}", f"{record.air_nm3:.3f}"]
    return [str(record.number), _clock(record.start_ms), *times, str(record.ms), *amounts, ", ".join(said)]


def _clock(ms: int) -> str:
    """
    A time of the run in minutes and seconds, from one hour on with the hours.

    >>> _clock(59_000), _clock(3_599_999), _clock(3_600_000), _clock(86_382_000)
    ('0:59', '59:59', '1:00:00', '23:59:42')
    """
    minutes, seconds = divmod(ms // 1_000, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"


def _mean(records: Sequence[CycleRecord], columns: Sequence[str]) -> list[str]:
    """The line for those not shown: mean times and amounts."""
    n = len(records)
    sums = [sum(r.step_ms(*COLUMNS[head]) for r in records) for head in columns]
    times = [f"{round(ms / n)}" if ms else "-" for ms in sums]
    whole = f"{round(sum(r.ms for r in records) / n)}"
    kg = f"{sum(r.delivered_kg or 0 for r in records) / n:.2f}"
    nm3 = f"{sum(r.air_nm3 or 0 for r in records) / n:.3f}"
    return ["...", "", *times, whole, "", kg, nm3, f"mean of {n} more"]


def totals(run: Totals, count: int, console: Console) -> None:
    """What the run came to."""
    tonnes, hours = run.delivered_kg / 1_000, run.ms / 3_600_000
    air = f"{run.air_nm3 / tonnes:.0f} Nm3/t" if tonnes else "no product"
    console.print(
        f"{_counted(count, 'cycle')}, {run.delivered_kg:.0f} kg, {tonnes / hours:.2f} t/h, {air}, "
        f"{_counted(len(run.trips), 'trip')}, {_counted(run.level_stops, 'level stop')}; "
        f"{run.step}{f' ({run.why})' if run.why else ''} at the end."
    )
    if run.alarms:
        console.print(f"Alarms: {', '.join(f'{name} {times}' for name, times in run.alarms)}.")
    if load := load_words(run.alarm_load):
        console.print(f"Of the alarms: {'; '.join(load)}.")
    if run.holds:
        held = (f"{hold.reason} {_times(hold.times)}, {_minutes(hold.ms)}" for hold in run.holds)
        console.print(f"Held: {'; '.join(held)}.")
    for refused in run.refusals:
        console.print(f"Refused: {refused.command} {_times(refused.times)}; the last time: {refused.newest}.")


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _minutes(ms: int) -> str:
    minutes, seconds = divmod(round(ms / 1_000), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {seconds} s" if minutes else f"{seconds} s"


def tripped(trip: Trip, parts: Container[str], console: Console) -> None:
    """A trip in words: what, the facts behind it, where it usually comes from, what to do."""
    row = EVENTS[trip.id].at(parts)
    console.print(f"[bold]TRIP {trip.id}[/bold] at {typed(trip.at_ms)} in {trip.step}: {row.text}.")
    said = {
        "facts": "; ".join(trip.grounds) or "none known",
        "cause": text_at(row.cause),
        "to do": text_at(row.action),
    }
    if trip.followers:
        said["with it"] = ", ".join(trip.followers)
    for head, text in said.items():
        begin = f"  {head:<10}"
        lines = wrap(text, console.width, initial_indent=begin, subsequent_indent=" " * len(begin))
        console.print("\n".join(lines), soft_wrap=True, markup=False)
    console.print()


def explained(scan: Explained, console: Console) -> None:
    """What the sequence waited for, row by row."""
    why = f" ({scan.why})" if scan.why else ""
    console.print(f"At {typed(scan.at_ms)}: {scan.step}{why} for {typed(scan.in_step_ms)}.")
    if scan.moved:
        console.print(f"  entered in this very scan: {scan.moved}")
    for name, grounds in scan.acting:
        console.print(f"  {name} acts: {'; '.join(grounds)}")
    table = Table(box=SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    for head in ("to", "waits for", "held back by"):
        table.add_column(head, overflow="fold")
    for to, guard, grounds in scan.rows:
        table.add_row(to, guard, "; ".join(grounds))
    print_or_stack(table, console, READS_FROM)


@contextmanager
def progress(for_ms: int, *, shown: bool) -> Iterator[Callable[[int], None]]:
    """A bar on the terminal that is told the plant time; gone when the run is over."""
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not (shown and console.is_terminal)) as bar:
        task = bar.add_task("getting ready (the first run compiles, once)", total=for_ms)
        yield lambda now_ms: bar.update(task, completed=now_ms, description="simulating")
