"""receiver.yaml becomes presets: one key for each, whole Pa and ms, every problem at once."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.cli import station_folder
from controller.sequence.presets import Presets, limits
from controller.settings import GROUPS, keys, load_receiver, load_station
from controller.station_file import StationError
from controller.station_keys import code_value, typed

IDENTITY = "station:\n  name: R-101\n  description: feeds the mixer\n  product: buckwheat flour\n"
MILL = station_folder("buckwheat_mill")


def receiver(folder: Path, text: str) -> Path:
    (folder / "receiver.yaml").write_text(text)
    return folder


def problems_of(folder: Path, text: str) -> list[str]:
    with pytest.raises(StationError) as caught:
        load_receiver(receiver(folder, text))
    return [str(problem).removeprefix(f"{folder}/receiver.yaml") for problem in caught.value.problems]


def test_every_preset_may_be_left_out(tmp_path):
    settings = load_receiver(receiver(tmp_path, IDENTITY))
    assert settings.presets == Presets()
    assert settings[:3] == ("R-101", "feeds the mixer", "buckwheat flour")


def test_who_the_station_is_may_not_be_left_out(tmp_path):
    assert problems_of(tmp_path, "drain:\n  drain_s: 4\n") == [
        ":1:1: station: is missing: who the station is"
    ]
    assert problems_of(tmp_path, "station:\n  name: R-101\n") == [
        ":1:1: station.description: is missing: where it stands and what it feeds",
        ":1:1: station.product: is missing: what it conveys",
    ]


def test_each_kind_of_value_arrives_in_the_unit_of_the_program(tmp_path):
    text = IDENTITY + (
        "flap: {flap_travel_ms: 1800, flap_retries_max: 0}\n"
        "supply_air: {supply_low_kpa_g: 465.5, supply_low_effect: wait, open_air_wait_s: 90}\n"
        "convey: {fill_s: 12.5, finish_fill_on_stop: true, vacuum_high_kpa: 33}\n"
        "signals: {vacuum_range_kpa: 80, supply_range_kpa: 1600}\n"
        "backstops: {step_bound_percent: 200}\n"
    )
    changed = {
        "flap_travel_ms": 1_800,
        "flap_retries_max": 0,
        "supply_low_pa_g": 465_500,
        "supply_low_effect": 1,
        "open_air_wait_ms": 90_000,
        "fill_ms": 12_500,
        "finish_fill_on_stop": True,
        "vacuum_high_pa": 33_000,
        "step_bound_percent": 200,
        "vacuum_pa_per_100ua": 500,  # 4 to 20 mA are 160 steps of 100 uA
        "supply_pa_per_100ua": 10_000,
    }
    assert load_receiver(receiver(tmp_path, text)).presets == Presets()._replace(**changed)


def test_a_value_that_is_not_whole_to_the_program_is_refused(tmp_path):
    text = IDENTITY + "proving: {proving_kpa: 1.2, proving_s: 3.0001}\nsignals: {vacuum_range_kpa: 50}\n"
    text += "vent: {release_kpa: 1.00001}\n"
    assert problems_of(tmp_path, text) == [
        ":5:40: proving.proving_s: is 3.0001, which is 3000.1 to the program: only steps of 0.001 s",
        ":6:29: signals.vacuum_range_kpa: is 50, which is 312.5 to the program: only steps of 0.16 kPa",
        ":7:21: vent.release_kpa: is 1.00001, which is 1000.01 to the program: only steps of 0.001 kPa",
    ]


def test_half_a_pascal_is_refused(tmp_path):
    assert problems_of(tmp_path, IDENTITY + "proving:\n  proving_kpa: 1.2005\n") == [
        ":6:16: proving.proving_kpa: is 1.2005, which is 1200.5 to the program: only steps of 0.001 kPa"
    ]


def test_a_preset_typed_in_the_unit_of_the_program_is_shown_the_right_key(tmp_path):
    text = (
        IDENTITY
        + "convey:\n  vacuum_high_pa: 35000\n  fill_ms: 16000\nvacuum_high_kpa: 35\nvacuum_high_s: 1\n"
    )
    assert problems_of(tmp_path, text) == [
        ":6:3: convey.vacuum_high_pa: is typed in kPa: vacuum_high_kpa: 35",
        ":7:3: convey.fill_ms: is typed in s: fill_s: 16",
        ":8:1: vacuum_high_kpa: does not belong here: put it under convey",
        ":9:1: vacuum_high_s: is typed in ms: convey.vacuum_high_ms: 1000",
    ]


def test_the_reason_for_a_limit_stands_in_the_message(tmp_path):
    (message,) = problems_of(tmp_path, IDENTITY + "convey:\n  vacuum_high_kpa: 95\n")
    why = limits()["vacuum_high_pa"].why
    assert message == f":6:20: convey.vacuum_high_kpa: is 95, allowed numbers 5 to 90 kPa ({why})"


def test_every_preset_has_one_key_in_one_group():
    assert [item.name for item in keys()] == list(Presets._fields)
    assert len({item.loc for item in keys()}) == len(Presets._fields)
    assert {item.loc[0] for item in keys()} == set(GROUPS)


def test_times_of_a_minute_or_more_are_typed_in_seconds_and_pressures_in_kpa():
    for item in keys():
        key = str(item.loc[-1])
        if item.name.endswith("_ms"):
            assert key.endswith("_s") == (limits()[item.name].high >= 60_000), key
        assert not key.endswith(("_pa", "_pa_g")), key


@pytest.mark.parametrize("item", keys(), ids=lambda item: item.name)
def test_a_default_and_its_limits_survive_typing(item):
    """What is typed comes back as the program had it: a round trip through the unit."""
    for value in (item.default, item.limits.low, item.limits.high):
        assert code_value(item, typed(item, value)) == value


@given(st.integers(5_000, 90_000))
def test_every_whole_pascal_can_be_typed(pascal):
    item = next(item for item in keys() if item.name == "vacuum_high_pa")
    assert code_value(item, typed(item, pascal)) == pascal


def test_the_example_station_is_good():
    station = load_station(MILL)
    assert station.receiver.name == "R-101"
    assert station.receiver.product == "buckwheat flour"
    assert station.receiver.presets == Presets()  # the medium station


def test_problems_of_both_files_come_together_in_order(tmp_path):
    receiver(tmp_path, IDENTITY + "drain: {drain_s: 0}\n")
    points = (MILL / "points.yaml").read_text().replace("tag: XY-104", "tag: 104")
    (tmp_path / "points.yaml").write_text(points)
    with pytest.raises(StationError) as caught:
        load_station(tmp_path)
    assert [(Path(p.file).name, p.key) for p in caught.value.problems] == [
        ("receiver.yaml", "drain.drain_s"),
        ("points.yaml", "outputs.pulse_1_cmd.tag"),
    ]


def test_a_transmitter_with_two_ranges_is_refused(tmp_path):
    receiver(tmp_path, IDENTITY + "signals: {supply_range_kpa: 1600}\n")
    (tmp_path / "points.yaml").write_text((MILL / "points.yaml").read_text())
    with pytest.raises(StationError) as caught:
        load_station(tmp_path)
    (problem,) = caught.value.problems
    assert problem.key == "inputs.supply_air_ua.range"
    assert problem.text == (
        "is 0 to 1000, but signals.supply_range_kpa is 1600: both describe one transmitter, from 0 to that"
    )


def test_an_empty_folder_says_which_files_are_missing(tmp_path):
    with pytest.raises(StationError) as caught:
        load_station(tmp_path)
    assert str(caught.value) == (
        f"{tmp_path}/receiver.yaml: no such file\n{tmp_path}/points.yaml: no such file"
    )
