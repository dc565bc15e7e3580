"""On a terminal of 80 columns every table has all of its columns and every figure whole."""

import io
import re
from types import SimpleNamespace

import pytest
from rich.console import Console
from rich.table import Table

from controller.cli import station_folder
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.settings import load_station
from controller.sheets import tables as sheets
from controller.sheets.alarm_sheet import alarm_sheet
from controller.sheets.io_list import io_list
from controller.sheets.whole_table import print_or_stack, print_whole
from controller.simulate import tables as runs
from controller.station_check import tables as checks
from controller.station_check.report import check_station

LOGIC = Logic(RECEIVER)
NAMES = ["buckwheat_mill", "sugar_kitchen", "milk_powder_hall"]


def printed(show, width=80):
    console = Console(file=io.StringIO(), width=width, highlight=False)
    show(console)
    text = console.file.getvalue()
    assert "…" not in text
    return text


def words(text):
    return text.split()


def test_the_points_have_all_their_columns_and_texts():
    station = load_station(station_folder("buckwheat_mill"))
    entries = io_list(LOGIC, station)
    text = printed(lambda console: sheets.show(station, entries, console))
    assert max(map(len, text.splitlines())) <= 80
    for head in ("name", "description", "signal", "filter", "a broken wire reads", "decides", "energised",
                 "safe", "in (not by hand)", "never while"):  # fmt: skip
        assert re.search(rf"^  {re.escape(head)} ", text, re.MULTILINE), head
    said = " ".join(words(text))
    for entry in entries:
        for value in (entry.tag, entry.name, entry.description, entry.filter, entry.steps, *entry.interlocks):
            assert value in said


@pytest.mark.parametrize("width", [80, 150])
@pytest.mark.parametrize("name", NAMES)
def test_the_alarms_have_all_their_columns_and_texts(name, width):
    station = load_station(station_folder(name))
    sheet = alarm_sheet(LOGIC, station)
    text = printed(lambda console: sheets.show_alarms(station, sheet, console), width)
    found = words(text)
    for head in ("priority", "acts", "usual causes", "what to do"):
        assert head in text
    for entry in sheet.entries:
        limits = " ".join(f"{way.after} {way.limits}" for way in entry.acts)
        for text_of in (entry.id, entry.cause, entry.action, limits):
            assert {word.rstrip(";,") for word in words(text_of)} <= {word.rstrip(";,") for word in found}


def test_the_cycles_of_a_run_have_every_step_and_every_figure():
    steps = [names[0] for names in runs.COLUMNS.values()]
    record = SimpleNamespace(
        number=1234, start_ms=86_382_000, step_ms=lambda *names: 14_650 if set(names) & set(steps) else 0, ms=131_850,
        vacuum_peak_pa=35_420, delivered_kg=1234.56, air_nm3=12.345, fill_ended_by="time", kind="batch",
        result="complete",
    )  # fmt: skip
    head, row, *_ = printed(lambda console: runs.cycles([record], console)).splitlines()
    assert words(head) == [
        *["no", "start"],
        *runs.COLUMNS,
        *["all", "kPa", "kg", "Nm3", "fill", "ended", "by"],
    ]
    figures = ["14650"] * len(runs.COLUMNS)
    assert words(row) == ["1234", "23:59:42", *figures, "131850", "35.4", "1234.56", "12.345", "time"]


@pytest.mark.parametrize("name", NAMES)
def test_the_check_has_the_figures_of_a_wide_console(name):
    report = check_station(station_folder(name))
    narrow, wide = (printed(lambda console: checks.show(report, console), width) for width in (80, 300))
    assert [word for word in words(narrow) if "─" not in word] == [w for w in words(wide) if "─" not in w]


def test_a_table_that_fits_is_as_wide_as_its_text():
    table = Table("a", "b")
    table.add_row("1", "2")
    assert printed(lambda console: print_whole(table, console)) == printed(
        lambda console: console.print(table)
    )


def test_a_word_longer_than_the_console_is_not_cut():
    table = Table("a", "b")
    table.add_row("first\nmore", "x" * 100)
    assert printed(lambda console: print_or_stack(table, console, 150)).splitlines() == [
        "first", "  more", f"  b  {'x' * 100}", ""
    ]  # fmt: skip
