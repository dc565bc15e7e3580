"""The sheets for a person at a terminal."""

from collections.abc import Iterable, Sequence

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from controller.sequence.phrases import phrase
from controller.settings import Station
from controller.sheets.alarm_sheet import Acts, AlarmSheet
from controller.sheets.io_list import Entry
from controller.sheets.whole_table import print_or_stack

READS_FROM = 150
"""Characters; narrower the texts of a row stand one under the other."""
WIDE = {"filter": 21, "decides": 20}
"""Columns that names of some length must fit in, unbroken."""


def show(station: Station, entries: Sequence[Entry], console: Console) -> None:
    """Print the inputs, the outputs, and what a person must know who wires them."""
    receiver = station.receiver
    console.print(f"[bold]{receiver.name}[/bold] {receiver.description} ({receiver.product})")
    print_or_stack(_inputs(e for e in entries if e.kind != "output"), console, READS_FROM)
    print_or_stack(_outputs(e for e in entries if e.kind == "output"), console, READS_FROM)
    console.print(
        "[dim]Senses are chosen so that a broken wire reads as the cautious side, where one side is. "
        "Emergency stop and guards are wired outside this program: it only reads their status.[/]"
    )


def _table(title: str, *columns: str) -> Table:
    table = Table(title=title, box=SIMPLE_HEAD, title_justify="left", pad_edge=False, padding=(0, 1, 0, 0))
    for n, column in enumerate(columns):
        table.add_column(column, no_wrap=n < 2, min_width=WIDE.get(column), overflow="fold")
    return table


def _inputs(entries: Iterable[Entry]) -> Table:
    columns = ("description", "signal", "terminal", "filter", "a broken wire reads", "decides")
    table = _table("Inputs", "tag", "name", *columns)
    for e in entries:
        how = f"{e.range} {e.unit}" if e.unit else e.sense.replace("_", " ")
        signal = f"{e.signal.replace(' input', '')}, {how}"
        decides = ", ".join(e.interlocks or dict.fromkeys(map(phrase, e.facts)))
        table.add_row(e.tag, e.name, e.description, signal, e.terminal, e.filter, e.broken_wire, decides)
    return table


def _outputs(entries: Iterable[Entry]) -> Table:
    columns = ("description", "signal", "terminal", "energised", "safe", "in (not by hand)", "never while")
    table = _table("Outputs", "tag", "name", *columns)
    for e in entries:
        never = ", ".join(map(phrase, e.last_word))
        table.add_row(
            e.tag, e.name, e.description, "digital", e.terminal, e.sense, e.safe_value, e.steps, never
        )  # fmt: skip
    return table


def show_alarms(station: Station, sheet: AlarmSheet, console: Console) -> None:
    """Print what can act at the station, and the ids that cannot."""
    receiver = station.receiver
    console.print(f"[bold]{receiver.name}[/bold] {receiver.description} ({receiver.product})")
    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_lines=True)
    table.add_column("alarm", width=27)
    table.add_column("priority", no_wrap=True)
    table.add_column("acts", width=44)
    table.add_column("usual causes")
    table.add_column("what to do")
    for entry in sheet.entries:
        ways = "\n".join(map(_way, entry.acts))
        table.add_row(f"{entry.id}\n{entry.text}", entry.priority, ways, entry.cause, entry.action)
    print_or_stack(table, console, READS_FROM)
    if sheet.never:
        console.print(f"Not fitted or not chosen here, and so never: {', '.join(sheet.never)}.")
    console.print("[dim]An alarm tells, it protects nobody: isolate before anybody reaches in.[/]")


def _way(way: Acts) -> str:
    after = way.after if way.after.startswith(("at once", "when ")) else f"after {way.after}"
    return f"{way.effect}: {way.looked_at_in}, {after}" + (f"; limit: {way.limits}" if way.limits else "")
