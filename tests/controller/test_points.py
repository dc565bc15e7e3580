"""points.yaml names every wired point once and may not contradict the process image."""

from pathlib import Path

import pytest

from controller.cli import station_folder
from controller.image import Inputs, Outputs
from controller.points import ALWAYS, ANALOGS, CONTACTS, FROM_SHELL, load_points
from controller.station_file import StationError

GOOD = (station_folder("buckwheat_mill") / "points.yaml").read_text()


def problems_of(folder: Path, text: str) -> list[str]:
    (folder / "points.yaml").write_text(text)
    with pytest.raises(StationError) as caught:
        load_points(folder)
    return [f"{problem.key}: {problem.text}" for problem in caught.value.problems]


def test_the_list_of_the_example_station_follows_the_process_image():
    points = load_points(station_folder("buckwheat_mill")).points
    wired = [name for name in Inputs._fields if name not in FROM_SHELL]
    names = [point.name for point in points]
    assert names == [name for name in (*wired, *Outputs._fields) if name in names]
    assert {*ALWAYS} < {*names}
    vacuum = next(point for point in points if point.name == "vacuum_ua")
    assert (vacuum.tag, vacuum.kind, vacuum.unit, vacuum.range) == (
        "PT-101",
        "4-20 mA",
        "kPa vacuum",
        (0, 100),
    )


def test_every_input_is_a_contact_a_signal_or_comes_from_the_shell():
    assert sorted((*CONTACTS, *ANALOGS, *FROM_SHELL)) == sorted(Inputs._fields)


def test_a_broken_wire_at_rest_is_the_cautious_side():
    """A contact that is closed at rest must be one whose loss stops or holds: common practice, no source."""
    closed_at_rest = {name for name, (sense, _) in CONTACTS.items() if sense == "normally_closed"}
    assert closed_at_rest == {
        "stop_healthy", "safety_chain_healthy", "level_free", "receiver_free", "overload_healthy",
    }  # fmt: skip
    assert all(Inputs._field_defaults[name] is True for name in closed_at_rest)


def test_every_safe_value_is_the_one_of_the_process_image():
    points = load_points(station_folder("buckwheat_mill")).points
    safe = {point.name: point.safe_value for point in points if point.kind == "output"}
    assert safe == {name: Outputs._field_defaults[name] for name in safe}


NO_ROW = "is missing: every receiver has it"
EDITS = [
    (
        "tag: PT-101",
        "tag: pt101",
        ["inputs.vacuum_ua.tag: is 'pt101', allowed 1 to 12 characters (letters, a dash, a number"],
    ),
    ("tag: XY-104", "tag: XY-101", ["outputs.pulse_1_cmd.tag: is XY-101, already the tag of source_cmd"]),
    (
        "unit: kPa gauge",
        "unit: bar",
        ["inputs.supply_air_ua.unit: is 'bar', allowed kPa gauge (unit of the range)"],
    ),
    (
        "range: [0, 100]",
        "range: [0, 100, 200]",
        ["inputs.vacuum_ua.range: has 3 of them, allowed a list: two numbers, the readings at"],
    ),
    (
        "range: [0, 100]",
        "range: 0-100",
        ["inputs.vacuum_ua.range: is '0-100', allowed a list: two numbers, the readings at 4 and 20 mA"],
    ),
    (
        "sense: normally_closed         # a broken wire stops",
        "sense: normally_open",
        [
            "inputs.stop_healthy.sense: is 'normally_open', allowed normally_closed "
            "(then a broken wire reads as: stop pressed)"
        ],
    ),
    (
        "sense: normally_closed         # a broken wire stops",
        "sense: NC",
        ["inputs.stop_healthy.sense: is 'NC', allowed normally_closed (then a broken wire reads as"],
    ),
    (
        "energised: ejector draws\n    safe_value: false",
        "energised: ejector draws\n    safe_value: true",
        ["outputs.source_cmd.safe_value: is true, allowed false (value in FAULT, without I/O"],
    ),
    (
        "energised: ejector draws\n    safe_value: false",
        "energised: ejector draws\n    safe_value: off",
        [
            "outputs.source_cmd.safe_value: off is true or false to some YAML readers and text to others: "
            'write false, or as text "off"'
        ],
    ),
    (
        "  horn:\n",
        "  hron:\n",
        [f"outputs.horn: {NO_ROW}", "outputs.hron: is not a key of this file - did you mean 'horn'?"],
    ),
    (
        "  level_free:\n",
        "  level_high:\n",
        [
            f"inputs.level_free: {NO_ROW}",
            "inputs.level_high: is not a key of this file - did you mean 'level_free'?",
        ],
    ),
    (
        "outputs:\n",
        "outputs:\n  start_request: {tag: X-1}\n",
        ["outputs.start_request: is not a key of this file"],
    ),
]


@pytest.mark.parametrize(
    ("good", "bad", "messages"),
    EDITS,
    ids=[bad.split("\n")[-1].strip() or bad.strip() for _, bad, _ in EDITS],
)
def test_one_wrong_line_is_named(tmp_path, good, bad, messages):
    assert GOOD.count(good) >= 1
    found = problems_of(tmp_path, GOOD.replace(good, bad, 1))
    assert len(found) == len(messages)
    for said, message in zip(found, messages, strict=True):
        assert said.startswith(message)


def test_a_row_without_its_values_says_what_each_would_be(tmp_path):
    text = GOOD.replace("    tag: HS-101\n    description: start push button\n", "")
    assert problems_of(tmp_path, text) == [
        "inputs.start_pb.tag: is missing: letters, a dash, a number, as LSH-101",
        "inputs.start_pb.description: is missing: what it is and where",
    ]


def test_every_problem_comes_at_once_in_the_order_of_the_file(tmp_path):
    text = GOOD.replace("tag: ", "tag: #").replace("horn:", "hron:")
    (tmp_path / "points.yaml").write_text(text)
    with pytest.raises(StationError) as caught:
        load_points(tmp_path)
    places = [problem[1:3] for problem in caught.value.problems]
    assert len(places) == GOOD.count("tag: ") - 1 + 2
    assert places == sorted(places)
