"""`receiver points --registers`: what the plant's engineer gets, from the table that is served."""

import csv
import io
import json

from typer.testing import CliRunner

from controller.cli import app
from controller.events import ALARM_IDS
from controller.registers import numbers
from controller.registers.numbers import INTERLOCKS
from controller.registers.table import COMMANDS, ROWS


def listed(*options):
    done = CliRunner().invoke(app, ["points", "buckwheat_mill", "--registers", *options])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_csv_and_json_have_every_row_of_the_map_and_the_same():
    rows = list(csv.DictReader(io.StringIO(listed("--csv"))))
    found = json.loads(listed("--json"))
    assert {(row["table"], int(row["address"]), row["name"]) for row in rows} == {
        (row.table, row.address, row.name) for row in (*ROWS, *COMMANDS)
    }
    assert [{key: str(value) for key, value in row.items()} for row in found["registers"]] == rows
    assert all(row["meaning"] and row["reference"] for row in rows)


def test_json_says_what_every_number_means():
    found = json.loads(listed("--json"))["numbers"]
    assert {table: {row["name"]: row["number"] for row in rows} for table, rows in found.items()} == {
        table: dict(names) for table, names in numbers.TABLES.items()
    }
    words = {row["name"]: row["meaning"] for row in found["reasons"]}
    assert words["no_fault"] == "no fault stands"
    assert all(row["meaning"] for row in (*found["interlocks"], *found["reasons"], *found["steps"]))


def test_the_printed_list_says_that_it_is_off_every_address_and_what_it_is_not():
    text = listed()
    assert "not served" in text.splitlines()[0]
    for word in ("30012", "10001", "40002", "FLAP_LOST_CLOSED", "15", "first_number", "no alarm"):
        assert word in text
    assert "No register is an emergency stop" in text
    shown = {word for line in text.splitlines() for word in line.split()}
    assert {row.name for row in ROWS if not row.name.startswith(("acts_", "alarm_", "unseen_"))} <= shown
    no_alarm = {f"{kind}_{name}" for kind in ("alarm", "unseen") for name in {*INTERLOCKS} - {*ALARM_IDS}}
    assert {str(row.address) for row in ROWS if row.name not in no_alarm} <= shown


def test_it_is_a_list_by_itself():
    for option in ("--live", "--once"):
        done = CliRunner().invoke(app, ["points", "buckwheat_mill", "--registers", option])
        assert done.exit_code == 2
        assert "leave out --live" in done.output
