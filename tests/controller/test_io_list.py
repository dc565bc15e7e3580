"""The I/O list says of each point what the tables make of it."""

import csv
import io
import json
import random

import pytest
from typer.testing import CliRunner

from controller.cli import app, station_folder
from controller.engines.as_written import AsWritten, on_rows
from controller.image import Inputs, Outputs
from controller.points import ANALOGS, CONTACTS
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.settings import load_station
from controller.sheets.io_list import can_act, fixed_here, io_list

LOGIC = Logic(RECEIVER)
STATION = load_station(station_folder("buckwheat_mill"))


@pytest.fixture(scope="module")
def entries():
    return {entry.name: entry for entry in io_list(LOGIC, STATION)}


def printed(*options):
    done = CliRunner().invoke(app, ["points", "buckwheat_mill", *options])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_the_list_has_each_wired_point_once_in_the_order_of_the_image(entries):
    image = [*Inputs._fields, *Outputs._fields]
    assert list(entries) == [point.name for point in STATION.points.points]
    assert list(entries) == sorted(entries, key=image.index)


def test_inputs_say_how_a_broken_wire_reads_and_outputs_their_safe_value(entries):
    for entry in entries.values():
        if entry.kind == "output":
            assert entry.safe_value == ("on" if Outputs()._asdict()[entry.name] else "off")
            assert entry.steps
        else:
            assert entry.broken_wire == (CONTACTS | ANALOGS)[entry.name][1]
            assert entry.facts
            assert not entry.safe_value


def test_each_point_has_its_signal_and_room_for_its_terminal(entries):
    assert entries["flap_closed_fb"].signal == "digital input"
    assert entries["vacuum_ua"].signal == "analog input, 4-20 mA"
    assert entries["source_cmd"].signal == "digital output"
    assert {entry.terminal for entry in entries.values()} == {""}
    assert "signal,terminal," in printed("--csv").splitlines()[0]


def test_a_filter_is_the_delay_that_looks_at_the_wire_with_the_value_of_the_station(entries):
    assert entries["flap_closed_fb"].filter == "30 ms (contact_debounce_ms)"
    assert "2000 ms (level_on_ms)" in entries["level_free"].filter
    assert "500 ms (signal_failed_ms)" in entries["vacuum_ua"].filter
    assert entries["stop_healthy"].filter == ""


def test_a_point_decides_the_interlocks_that_are_named_after_it_and_no_strange_ones(entries):
    assert "SAFETY_CHAIN_OPEN" in entries["safety_chain_healthy"].interlocks
    assert {"FLAP_NOT_CLOSED", "FLAP_LOST_CLOSED"} <= set(entries["flap_closed_fb"].interlocks)
    assert "NO_VACUUM" in entries["vacuum_ua"].interlocks
    assert "NO_VACUUM" not in entries["level_free"].interlocks
    assert entries["acknowledge_pb"].interlocks == ()


def test_causes_that_move_with_a_point_are_on_its_list(entries):
    """
    Two scans that differ in one input differ in no cause but those listed: 300 memories, every input.

    Memories are random, so causes that can never act at the station move too: these are left out.
    """
    engine, rnd = AsWritten(LOGIC, on_rows), random.Random(3)
    presets, lists = STATION.receiver.presets, {}
    fixed = fixed_here(LOGIC, STATION)
    acting = [i for i in RECEIVER.interlocks if can_act(i, fixed, presets)]
    assert len(acting) > len(RECEIVER.interlocks) / 2
    for name, entry in entries.items():
        if entry.kind != "output":
            lists[name] = set(entry.interlocks)
    for _ in range(300):
        values = {
            n: type(v)(rnd.randrange(2 if isinstance(v, bool) else 20_000)) for n, v in LOGIC.memory.items()
        }
        memory = LOGIC.power_up()._replace(**values | {"step": rnd.randrange(len(LOGIC.steps))})
        now = Inputs()
        before = engine.all_facts(memory, now, presets, 20)
        for name, listed in lists.items():
            value = getattr(now, name)
            changed = not value if isinstance(value, bool) else rnd.choice((0, 4_100, 9_000, 16_000))
            other = now._replace(**{name: changed})
            after = engine.all_facts(memory, other, presets, 20)
            moved = {i.name for i in acting if before[i.cause.name] != after[i.cause.name]}
            assert moved <= listed, (name, moved - listed)


def test_an_output_says_where_it_may_be_energised_and_its_last_word(entries):
    assert entries["feed_cmd"].steps == "CONVEY"
    assert entries["source_cmd"].last_word
    assert entries["fault_lamp"].last_word == ()


def test_table_csv_and_json_list_the_same_points(entries):
    table = printed()
    rows = list(csv.DictReader(io.StringIO(printed("--csv"))))
    found = json.loads(printed("--json"))
    assert found["station"] == "R-101"
    assert [point["name"] for point in found["points"]] == [row["name"] for row in rows] == list(entries)
    for row, point in zip(rows, found["points"], strict=True):
        assert row["tag"] in table
        assert row["description"] == point["description"]
        assert row["interlocks"].split() == point["interlocks"]


def test_no_name_in_the_table_is_cut(entries):
    table = printed()
    assert "…" not in table
    for entry in entries.values():
        assert not [name for name in entry.interlocks if name not in table]


def test_csv_and_json_at_once_are_refused():
    assert CliRunner().invoke(app, ["points", "buckwheat_mill", "--csv", "--json"]).exit_code == 2
