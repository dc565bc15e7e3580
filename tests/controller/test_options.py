"""Presets and points tell one story: each option has its points, and what nothing can prove is refused."""

from pathlib import Path
from typing import Any

import pytest
import yaml

from controller.cli import station_folder
from controller.image import Inputs, Outputs
from controller.options import FREE, WIRED_WHEN, WRONG, impossible, misplaced
from controller.points import ALWAYS, CONTACTS, FROM_SHELL
from controller.sequence.presets import Presets, limits
from controller.settings import load_station
from controller.station_file import StationError

MILL = station_folder("buckwheat_mill")
TEXTS = {name: (MILL / name).read_text() for name in ("receiver.yaml", "points.yaml")}
EVERYTHING = {*WIRED_WHEN, *FREE, *ALWAYS}


def station(folder: Path, group: str, line: str, drop: str = "", add: str = "") -> Path:
    """The mill with one line more under a group of receiver.yaml, and a point less or more."""
    receiver = TEXTS["receiver.yaml"]
    key = line.split(":")[0]
    receiver = "\n".join(row for row in receiver.split("\n") if not row.startswith(f"  {key}:"))
    if f"\n{group}:\n" not in receiver:
        receiver += f"\n{group}:\n"
    (folder / "receiver.yaml").write_text(receiver.replace(f"\n{group}:\n", f"\n{group}:\n  {line}\n"))
    points: dict[str, Any] = yaml.safe_load(TEXTS["points.yaml"])
    for rows in points.values():
        rows.pop(drop, None)
    if add in Outputs._fields:
        points["outputs"][add] = {"tag": "XY-90", "description": "x", "energised": "x", "safe_value": False}
    elif add:
        points["inputs"][add] = {"tag": "ZS-90", "description": "x", "sense": CONTACTS[add][0]}
    (folder / "points.yaml").write_text(yaml.safe_dump(points, sort_keys=False))
    return folder


def problems_of(folder: Path) -> list[str]:
    with pytest.raises(StationError) as caught:
        load_station(folder)
    assert all(problem.line > 0 and problem.column > 0 for problem in caught.value.problems)
    return [f"{Path(problem.file).name}: {problem.key}: {problem.text}" for problem in caught.value.problems]


def test_every_point_is_always_there_or_decided_by_a_preset_or_free() -> None:
    wired = {name for name in Inputs._fields if name not in FROM_SHELL} | {*Outputs._fields}
    assert wired == EVERYTHING
    assert sum(map(len, (WIRED_WHEN, FREE, ALWAYS))) == len(wired)


def test_every_option_that_is_fitted_decides_a_point() -> None:
    deciding = {preset for preset, _ in WIRED_WHEN.values()}
    assert {name for name in Presets._fields if name.endswith("_fitted")} <= deciding
    assert deciding <= {*limits()}


def test_each_point_is_wanted_with_some_values_of_its_preset_and_not_with_others() -> None:
    for point, (preset, values) in WIRED_WHEN.items():
        allowed = range(limits()[preset].low, limits()[preset].high + 1)
        wanted = [value in values for value in allowed]
        assert any(wanted), point
        assert point == "pulse_1_cmd" or not all(wanted), point


@pytest.mark.parametrize(
    ("group", "line", "point", "place"),
    [
        ("convey", "receiver_full_fitted: true", "receiver_free", "inputs"),
        ("filter_clean", "pulse_groups: 2", "pulse_2_cmd", "outputs"),
        ("drain", "fluidise_on_ms: 500", "fluidise_cmd", "outputs"),
        ("supply_air", "supply_by: both", "supply_air_ok", "inputs"),
        ("level", "level_low_fitted: true", "level_low_covered", "inputs"),
    ],
)
def test_an_option_without_its_point_is_refused(tmp_path, group, line, point, place) -> None:
    key, value = line.split(": ")
    decides = f"{group}.{key} is {value} ({tmp_path}/receiver.yaml)"
    assert problems_of(station(tmp_path, group, line)) == [
        f"points.yaml: {place}.{point}: is missing: {decides}"
    ]
    assert point in load_station(station(tmp_path, group, line, add=point)).wired


@pytest.mark.parametrize(
    ("point", "decides"),
    [
        ("plant_enable", "start.plant_enable_fitted is false"),
        ("bypass_close_cmd", "source.bypass_fitted is false"),
        ("pulse_3_cmd", "filter_clean.pulse_groups is 1"),
        ("vacuum_switch", "proving.vacuum_by is transmitter"),
        ("fluidise_cmd", "drain.fluidise_on_ms is 0"),
    ],
)
def test_a_point_that_no_option_uses_is_refused(tmp_path, point, decides) -> None:
    (said,) = problems_of(station(tmp_path, "backstops", "override_ms: 200", add=point))
    assert f"{point}: is wired, and nothing uses it: {decides}" in said


def test_a_point_that_nothing_asks_back_from_may_be_left_out(tmp_path) -> None:
    for point in FREE:
        found = load_station(station(tmp_path, "backstops", "override_ms: 200", drop=point))
        assert point not in found.wired


def test_a_refusal_stands_at_its_key_and_a_missing_point_at_its_group(tmp_path) -> None:
    folder = station(tmp_path, "flap", "flap_feedback: open_only", drop="flap_open_fb")
    receiver = (folder / "receiver.yaml").read_text()
    (folder / "receiver.yaml").write_text(receiver.replace("\nproving:", "\nproving:\n  vacuum_by: none"))
    with pytest.raises(StationError) as caught:
        load_station(folder)
    at = {problem.key: problem for problem in caught.value.problems}
    lines = (folder / "receiver.yaml").read_text().split("\n")
    refused = at["flap.flap_feedback"]
    assert lines[refused.line - 1][refused.column - 1 :] == "open_only"
    assert refused.text.startswith("is open_only: nothing would tell a closed flap")
    assert set(at) == {
        "flap.flap_feedback", "inputs.flap_open_fb", "inputs.flap_closed_fb", "inputs.vacuum_ua",
    }  # fmt: skip


SOUND = Presets()
MOTOR = {"source_kind": 1}
HANGING = {"flap_kind": 2, "flap_feedback": 1}
REFUSED: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
    # preset, a combination that is refused, what makes it good again
    ("flap_feedback", {"flap_feedback": 2, "vacuum_by": 2}, {"vacuum_by": 1}),
    ("flap_feedback", {"flap_kind": 1}, {"flap_feedback": 1}),
    ("flap_feedback", {"flap_kind": 2, "flap_feedback": 2}, {"flap_feedback": 1}),
    ("flap_valve", {**HANGING, "flap_valve": 1}, {"flap_valve": 0}),
    ("clean_mode", {**HANGING, "clean_mode": 1}, {"clean_mode": 0}),
    ("level_policy", {**HANGING, "level_policy": 1}, {"level_policy": 0}),
    ("not_seen_batches", {**HANGING, "not_seen_batches": 1}, {"not_seen_batches": 0}),
    ("refill_on_low", {"refill_on_low": True}, {"level_low_fitted": True}),
    ("bypass_fitted", {"bypass_fitted": True}, MOTOR),
    ("run_feedback_fitted", {"run_feedback_fitted": True}, MOTOR),
    ("overload_fitted", {"overload_fitted": True}, MOTOR),
    ("no_material_relative", {"no_material_relative": True, "vacuum_by": 1}, {"vacuum_by": 0}),
    ("timed_running", {"timed_running": True, "vacuum_by": 2}, {"vacuum_by": 0}),
    ("vacuum_side", {"vacuum_side": 1, "vacuum_by": 1}, {"vacuum_by": 0}),
]


@pytest.mark.parametrize(("preset", "bad", "cure"), REFUSED)
def test_a_combination_that_nothing_can_prove_is_refused(preset, bad, cure) -> None:
    refused = impossible(SOUND._replace(**bad), EVERYTHING)
    assert [name for name, _ in refused] == [preset]
    assert all(why for _, why in refused)
    assert impossible(SOUND._replace(**{**bad, **cure}), EVERYTHING) == []


def test_cleaning_with_the_flap_shut_needs_a_vent() -> None:
    offline = SOUND._replace(clean_mode=2)
    assert [name for name, _ in impossible(offline, EVERYTHING - {"vent_close_cmd"})] == ["clean_mode"]
    assert impossible(offline, EVERYTHING) == []


def test_every_refusal_was_seen() -> None:
    seen = {preset for preset, *_ in REFUSED}
    assert seen == {wrong.preset for wrong in WRONG}
    cases = [(SOUND._replace(**bad), EVERYTHING) for _, bad, _ in REFUSED]
    cases.append((SOUND._replace(clean_mode=2), set()))
    assert [wrong.why for wrong in WRONG if not any(wrong.when(*case) for case in cases)] == []


def test_the_mill_wires_what_its_presets_want_and_no_more() -> None:
    found = load_station(MILL)
    assert misplaced(found.receiver.presets, found.wired) == []
    assert impossible(found.receiver.presets, found.wired) == []
