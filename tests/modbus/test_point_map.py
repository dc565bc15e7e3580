"""The map of a station: the shipped ones are right, each slip in one is told where it stands."""

import re
import shutil

import pytest
from modbus.answering import CONFIGS, STATIONS, the_map

from controller.modbus.point_map import load_point_map
from controller.points import load_points
from controller.problems import StationError
from controller.settings import load_station_map


@pytest.mark.parametrize("station", STATIONS)
def test_every_wired_point_of_a_shipped_station_has_its_place(station):
    found = the_map(station)
    wired = load_points(CONFIGS / station).wired
    assert {place.name for place in (*found.inputs, *found.outputs)} >= wired


def problems(tmp_path, station, *slips):
    """What is told of a map after these replacements in its text; each must be possible."""
    shutil.copy(CONFIGS / station / "points.yaml", tmp_path)
    text = (CONFIGS / station / "modbus.yaml").read_text("utf-8")
    for before, after in slips:
        assert text.count(before) == 1, before
        text = text.replace(before, after)
    (tmp_path / "modbus.yaml").write_text(text, "utf-8")
    with pytest.raises(StationError) as caught:
        load_point_map(tmp_path, load_points(tmp_path))
    return [str(one).split(":", 1)[1] for one in caught.value.problems]


START = '  start_pb: {table: discrete_input, address: 0, reference: "10001"}\n'
VACUUM = '  vacuum_ua: {table: input_register, address: 2, reference: "30003"}\n'
HORN = "  horn: {table: holding_register, address: 0, bit: 8}\n"
SLIPS = {
    "a point without a place": (START, "", "inputs: start_pb (HS-101) is wired and has no place: start push button"),
    "a point beside the list": (
        HORN, HORN + "  pulse_2_cmd: {table: coil, address: 0}\n",
        "outputs.pulse_2_cmd: is not in the I/O list: take it out, or give it a row in points.yaml",
    ),
    "quality of what is not wired": (
        START, START + "  level_low_good: {table: discrete_input, address: 30}\n",
        "inputs.level_low_good: tells whether level_low_covered is to be trusted, which is not in the I/O list",
    ),
    "two points on one bit": (
        HORN, "  horn: {table: holding_register, address: 0, bit: 7}\n",
        "outputs.horn: lies on outputs.fault_lamp: holding_register 0 bit 7 is taken",
    ),
    "a number over a point": (
        VACUUM, "  vacuum_ua: {table: input_register, address: 2, type: float32, scale: 1000}\n",
        "inputs.supply_air_ua: lies on inputs.vacuum_ua: input_register 3 is taken",
    ),
    "the slip by one": (
        'reference: "10001"', 'reference: "10000"',
        "inputs.start_pb.reference: is 10000, which is nothing: references count from 1; "
        "here stands discrete_input at address 0",
    ),
    "another table in print": (
        'reference: "30003"', 'reference: "40003"',
        "inputs.vacuum_ua.reference: is 40003, which is holding_register at address 2; "
        "here stands input_register at address 2",
    ),
    "an address beyond the table": (
        "table: discrete_input, address: 7", "table: discrete_input, address: 65536",
        "inputs.flap_open_fb.address: is 65536, allowed whole numbers 0 to 65535 (address in the protocol",
    ),
    "a number that ends beyond the table": (
        VACUUM, "  vacuum_ua: {table: input_register, address: 65535, type: int32}\n",
        "inputs.vacuum_ua.address: is 65535, and int32 takes two: there is no second",
    ),
    "a table that is read only": (
        HORN, "  horn: {table: discrete_input, address: 40}\n",
        "outputs.horn.table: is discrete_input, which no client can write: the controller is the client here "
        "(link.role: client); allowed coil or holding_register",
    ),
    "a register without its bit": (
        HORN, "  horn: {table: holding_register, address: 9}\n",
        "outputs.horn: bit is missing: which bit of the register, 0 is the lowest",
    ),
    "a bit of a coil": (
        HORN, "  horn: {table: coil, address: 9, bit: 1}\n",
        "outputs.horn.bit: does not belong here: coils are bits already",
    ),
    "a number in bits": (
        VACUUM, "  vacuum_ua: {table: discrete_input, address: 20}\n",
        "inputs.vacuum_ua.table: is discrete_input, allowed are registers: it is a number",
    ),
    "a register that both ends write": (
        "table: discrete_input, address: 7, reference: \"10008\"", "table: holding_register, address: 0, bit: 15",
        "outputs.source_cmd: shares holding_register 0 with inputs.flap_open_fb, which the device sets: "
        "a register is written whole, so by one end alone",
    ),
    "a number that cannot show a broken wire": (
        VACUUM, "  vacuum_ua: {table: input_register, address: 2, scale: 1.6, offset: 4000}\n",
        "inputs.vacuum_ua.type: is uint16 with scale 1.6 and offset 4000, which cannot show a broken wire "
        "(at or under 3600 uA): it shows 4000 uA then",
    ),
    "a scale of nothing": (
        VACUUM, "  vacuum_ua: {table: input_register, address: 2, scale: 0}\n",
        "inputs.vacuum_ua.scale: is 0: every reading would be the offset",
    ),
    "an output turned round": (
        HORN, "  horn: {table: coil, address: 9, invert: true}\n", "outputs.horn.invert: does not belong here",
    ),
    "a reply that may take too long": (
        "timeout_ms: 100", "timeout_ms: 300",
        "link.timeout_ms: is 300, at most half of watchdog_ms is allowed, 250: one lost reply must not drop the outputs",
    ),
    "more retries than one": ("retries: 1 ", "retries: 3 ", "link.retries: is 3, allowed whole numbers 0 to 1"),
    "an order of words that is none": (
        "  poll_ms: 10 ", "  word_order: ACBD\n  poll_ms: 10 ",
        "link.word_order: is 'ACBD', allowed ABCD or CDAB or BADC or DCBA",
    ),
    "a list of names": (
        "watchdog_ms: 500", "server:\n  allow: [mill]\nwatchdog_ms: 500",
        "server.allow[0]: is 'mill', allowed is an IP address as 192.168.10.5",
    ),
    "an unknown key": ("poll_ms: 10 ", "pol_ms: 10 ", "link.pol_ms: is not a key of this file - did you mean 'poll_ms'?"),
}  # fmt: skip


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_told_where_it_stands_and_alone(tmp_path, slip):
    before, after, said = SLIPS[slip]
    found = problems(tmp_path, "buckwheat_mill", (before, after))
    assert len(found) == 1
    assert said in found[0]


def test_all_slips_of_a_map_are_told_at_once(tmp_path):
    found = problems(
        tmp_path,
        "buckwheat_mill",
        (START, ""),
        ("bit: 8}", "bit: 7}"),
        ("timeout_ms: 100", "timeout_ms: 300"),
    )
    assert [line.split(": ")[1] for line in found] == ["link.timeout_ms", "inputs", "outputs.horn"]


def test_a_mistake_in_a_value_hides_none_between_values_and_is_told_once(tmp_path):
    """The row without its address is wrong by itself, the others in what they are to each other."""
    found = problems(
        tmp_path,
        "buckwheat_mill",
        ("role: client ", "role: master "),
        ("timeout_ms: 100", "timeout_ms: 5"),
        ("poll_ms: 10 ", "poll_ms: 300 "),
        ('address: 3, reference: "10004"', 'adress: 3, reference: "10004"'),
        (VACUUM, "  vacuum_ua: {table: input_register, address: 2, scale: 0}\n"),
        (HORN, "  horn: {table: holding_register, address: 0, bit: 16}\n"),
        ("fault_lamp: {table: holding_register, address: 0, bit: 7}", "fault_lamp: {table: holding_register, address: 0, bit: 6}"),
        (START, ""),
    )
    assert [line.split(": ")[1] for line in found] == [
        "link.role", "link.timeout_ms", "link.poll_ms", "inputs", "inputs.stop_healthy.address", "inputs.stop_healthy.adress",
        "inputs.vacuum_ua.scale", "outputs.fault_lamp", "outputs.horn.bit",
    ]  # fmt: skip


@pytest.mark.parametrize("wrong", ["bit: 16", "bits: 2"])
def test_a_row_that_is_wrong_tears_no_outputs_apart(tmp_path, wrong):
    """A scanner reads them in one request once it is put right."""
    text = (CONFIGS / "milk_powder_hall" / "modbus.yaml").read_text("utf-8")
    row = next(line for line in text.splitlines() if line.startswith("  pulse_1_cmd:"))
    assert "bit: " in row
    (found,) = problems(tmp_path, "milk_powder_hall", (row, re.sub(r"bit: \d+", wrong, row)))
    assert "outputs.pulse_1_cmd" in found


def test_outputs_that_a_scanner_may_read_from_two_scans_are_refused(tmp_path):
    (found,) = problems(tmp_path, "milk_powder_hall", ("    address: 102\n    reference: \"40103\"", "    address: 110"))
    assert "outputs: and life.controller must stand side by side in one table" in found


def test_a_controller_that_is_asked_needs_the_counter_that_ends_an_image(tmp_path):
    life = '  device:                          # directly after the inputs, so that one request writes all\n' \
           '    table: holding_register\n    address: 6\n    reference: "40007"\n'  # fmt: skip
    (found,) = problems(tmp_path, "milk_powder_hall", (life, ""))
    assert (
        "life: device is missing: where the controller is asked, it ends each image of the scanner" in found
    )


def test_a_controller_that_is_asked_from_outside_needs_a_list(tmp_path):
    (found,) = problems(tmp_path, "milk_powder_hall", ("host: 127.0.0.1 ", "host: 0.0.0.0 "))
    assert "link.host: can be reached by other machines" in found


def test_a_map_of_holding_registers_alone_serves_either_way_round(tmp_path):
    """The comment in the map of milk_powder_hall says so."""
    shutil.copy(CONFIGS / "milk_powder_hall" / "points.yaml", tmp_path)
    text = (CONFIGS / "milk_powder_hall" / "modbus.yaml").read_text("utf-8")
    assert text.count("role: server") == 1
    (tmp_path / "modbus.yaml").write_text(text.replace("role: server", "role: client"), "utf-8")
    assert load_point_map(tmp_path, load_points(tmp_path)).is_client("controller")


def test_a_map_that_cannot_serve_the_settings_is_refused(tmp_path):
    for file in ("points.yaml", "modbus.yaml", "receiver.yaml"):
        shutil.copy(CONFIGS / "sugar_kitchen" / file, tmp_path)
    load_station_map(tmp_path)
    text = (tmp_path / "receiver.yaml").read_text("utf-8")
    assert "backstops:" not in text
    text += "\nbackstops:\n  io_life_watched: true\n  io_lost_ms: 500\n"
    (tmp_path / "receiver.yaml").write_text(text, "utf-8")
    with pytest.raises(StationError) as caught:
        load_station_map(tmp_path)
    watched, lost = (str(one) for one in caught.value.problems)
    assert "io_life_watched: is true: the device has no life counter (life.device in " in watched
    assert "receiver.yaml:" in lost
    assert "backstops.io_lost_ms: is 500: watchdog_ms in " in lost
    assert "modbus.yaml is 500 and must be longer, so that the logic notices a lost link before" in lost
