"""The register map as a list for whoever programs the plant's control system: addresses, forms, numbers."""

import csv
import io
import json
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from controller.events import ALARM_IDS, EVENTS
from controller.registers import numbers
from controller.registers.table import (
    ACTS_AT,
    ALARM_AT,
    BY_NAME,
    COMMANDS,
    INTERLOCKS,
    READ,
    ROWS,
    UNSEEN_AT,
    VERSION,
)
from controller.sequence.logic import Logic
from controller.sequence.steps import STATES, Step
from controller.sheets.whole_table import print_or_stack, print_whole

READS_FROM = 110
FORMS = {
    "bool": "0 or 1",
    "uint16": "one register, no sign",
    "uint32": "two registers, no sign, the high word first; all ones: not known",
}
TITLES = {
    "input_register": "Input registers",
    "discrete_input": "Discrete inputs",
    "holding_register": "Holding registers, written where commands are allowed",
}
HOW_TO_ASK = (
    "A command is two holding registers in one request (function 16, or 23): a number that comes after the "
    "newest of this client, and the command. The same two again change nothing, so they may be written all "
    "the time; the first number of a client since power-up is a mark only. Stop, halt and acknowledge are "
    "heard with any number. What is no such command is answered with exception 03, each write without "
    "`commands: allowed` with 02, and with 06 while the command before waits for its scan."
)
CAUTION = "No register is an emergency stop and none a safety function: those are wired."


class Entry(NamedTuple):
    """One row of the list."""

    table: str
    address: int  # in the protocol, 0-based
    reference: str  # as printed in most manuals
    name: str
    type: str
    unit: str
    meaning: str
    numbers: str  # "0 none; 1 IDLE; ..."


def register_list(*, commands: bool = True) -> list[Entry]:
    """Every register and bit, by table and address; `commands`: with those that are written."""
    rows = (*ROWS, *(COMMANDS if commands else ()))
    return [
        Entry(row.table, row.address, row.reference, row.name, row.type, row.unit, row.meaning,
              _meanings(row.numbers))
        for row in sorted(rows, key=lambda row: (-len(row.table), row.table, row.address))
    ]  # fmt: skip


def number_tables(logic: Logic) -> dict[str, dict[int, tuple[str, str]]]:
    """What each number means, by table: its name, and words where the name does not say it."""
    state_of = {Step(step).name: state for state, steps in STATES.items() for step in steps}
    words: dict[str, Mapping[str, str]] = {
        "steps": state_of,
        "interlocks": {name: EVENTS[name].text for name in numbers.INTERLOCKS if name in EVENTS},
        "reasons": numbers.meaning_of_reasons(logic),
    }
    return {
        table: {number: (name, words.get(table, {}).get(name, "")) for name, number in names.items()}
        for table, names in numbers.TABLES.items()
    }


def as_csv(entries: Iterable[Entry]) -> str:
    """The list as comma-separated values with a heading."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(Entry._fields)
    writer.writerows(entries)
    return text.getvalue()


def as_json(station: str, served: str, entries: Iterable[Entry], logic: Logic) -> str:
    """The list as one JSON document, with the tables of numbers and the words to them."""
    tables = {
        table: [{"number": number, "name": name, "meaning": said} for number, (name, said) in rows.items()]
        for table, rows in number_tables(logic).items()
    }
    document = {
        "station": station, "served": served, "map": VERSION, "forms": FORMS, "reads_from_0_to": READ,
        "registers": [entry._asdict() for entry in entries], "numbers": tables,
    }  # fmt: skip
    return json.dumps(document, indent=2)


def show(station: str, served: str, entries: list[Entry], logic: Logic, console: Console) -> None:
    """Print it: registers, bits, interlocks with their bits in one line, numbers, and how to ask."""
    of_interlocks = {row.name for row in INTERLOCKS}
    console.print(f"[bold]{station}[/bold] register map {VERSION}, {served}")
    for table, title in TITLES.items():
        shown = _table(title, "address", "printed", "name", "type", "unit", "meaning", "numbers")
        for entry in entries:
            if entry.table == table and entry.name not in of_interlocks:
                of = f"see {BY_NAME[entry.name].numbers}" if entry.numbers else ""
                shown.add_row(
                    f"{entry.address}", entry.reference, entry.name, entry.type, entry.unit, entry.meaning, of
                )
        if shown.row_count:
            print_or_stack(shown, console, READS_FROM)
    tables = number_tables(logic)
    columns = ("acts at", "alarm at", "not seen at", "meaning")
    bits = _table("interlocks, and their discrete inputs", "number", "name", *columns)
    for number, (name, said) in tables.pop("interlocks").items():
        alarm = [f"{at + number}" if name in ALARM_IDS else "no alarm" for at in (ALARM_AT, UNSEEN_AT)]
        bits.add_row(f"{number}", name, f"{ACTS_AT + number}", *alarm, said)
    print_or_stack(bits, console, READS_FROM)
    for title, rows in tables.items():
        _show_numbers(title, rows, console)
    for line in (*(f"{form}: {said}." for form, said in FORMS.items()), HOW_TO_ASK):
        console.print(line)
    console.print(f"[dim]{CAUTION}[/]")


def _show_numbers(title: str, rows: Mapping[int, tuple[str, str]], console: Console) -> None:
    if title not in ("steps", "reasons"):
        said = ", ".join(f"{number} {name}" for number, (name, _) in rows.items())
        console.print(f"[italic]{title}:[/] {said}")
        return
    shown = _table(title, "number", "name", "meaning")
    for number, (name, said) in rows.items():
        shown.add_row(f"{number}", name, said)
    print_whole(shown, console)


def _table(title: str, *columns: str) -> Table:
    table = Table(title=title, box=SIMPLE_HEAD, title_justify="left", pad_edge=False, padding=(0, 1, 0, 0))
    for column in columns:
        table.add_column(column, no_wrap=column != "meaning")
    return table


def _meanings(table: str) -> str:
    return "; ".join(f"{number} {name}" for name, number in numbers.TABLES[table].items()) if table else ""
