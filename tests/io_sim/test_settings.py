"""plant.yaml becomes the parameters of the plant in SI, every problem at once."""

import math
from pathlib import Path

import pytest

from controller.cli import station_folder
from controller.station_file import StationError
from controller.station_keys import code_value, typed
from io_sim.parameters import PlantParameters, limits
from io_sim.settings import GROUPS, keys, load_plant, rows


def plant(folder: Path, text: str) -> Path:
    (folder / "plant.yaml").write_text(text)
    return folder


def problems_of(folder: Path, text: str) -> list[str]:
    with pytest.raises(StationError) as caught:
        load_plant(plant(folder, text))
    return [str(problem).removeprefix(f"{folder}/plant.yaml") for problem in caught.value.problems]


def test_every_value_may_be_left_out(tmp_path):
    assert load_plant(plant(tmp_path, "line: {bore_mm: 50}\n")) == PlantParameters()


def test_the_example_station_is_the_medium_one():
    given = load_plant(station_folder("buckwheat_mill"))
    for name, value, default in zip(given._fields, given, PlantParameters(), strict=True):
        assert math.isclose(value, default, rel_tol=0.005), name


CONVERSIONS = [
    # typed, parameter, SI value; units: SI Brochure 9th edition; conductance in dm3/(s bar): ISO 6358-1
    ("site: {temperature_c: 25}", "site_temperature_k", 298.15),
    ("body: {gas_volume_l: 55}", "body_gas_volume_m3", 0.055),
    ("line: {bore_mm: 76}", "line_bore_m", 0.076),
    ("line: {length_m: 30}", "line_length_m", 30.0),
    ("body: {leak_mm2: 20}", "body_leak_m2", 20e-6),
    ("source: {free_flow_kg_h: 360}", "source_free_flow_kg_s", 0.1),
    ("source: {vacuum_max_kpa_v: 75.5}", "source_vacuum_max_pa_v", 75_500.0),
    ("source: {motive_l_s_bar: 3}", "source_motive_m3_s_pa", 3e-8),
    ("source: {check_valve: none}", "source_check_valve", 0.0),
    ("source: {bypass_mm2: 300}", "source_bypass_m2", 3e-4),
    ("source: {relief_kpa_v: 25}", "source_relief_pa_v", 25_000.0),
    ("flap: {kind: vacuum_held}", "flap_kind", 2.0),
    ("flap: {valve: two_coils}", "flap_valve", 1.0),
    ("vent: {fitted: none}", "vent_fitted", 0.0),
    ("tank: {groups: 3}", "tank_groups", 3.0),
    ("filter: {clean_drag_kpa_s_m: 35}", "filter_clean_drag_pa_s_m", 35_000.0),
    ("supply: {network_kpa_g: 350}", "supply_network_pa_g", 350_000.0),
    ("supply: {network_ramp_kpa_s: 50}", "supply_network_ramp_pa_s", 50_000.0),
    ("material: {repose_deg: 45}", "material_repose_rad", math.pi / 4),
    ("feed: {limit_kg_h: 900}", "feed_limit_kg_s", 0.25),
    ("vessel: {demand_kg_h: 400}", "vessel_demand_kg_h", 400.0),
]


@pytest.mark.parametrize(("text", "name", "si"), CONVERSIONS, ids=[c[1] for c in CONVERSIONS])
def test_what_people_type_arrives_in_si(tmp_path, text, name, si):
    given = load_plant(plant(tmp_path, text + "\n"))
    assert getattr(given, name) == pytest.approx(si, rel=1e-15)
    assert given._replace(**{name: 0.0}) == PlantParameters()._replace(**{name: 0.0})


def test_the_curve_of_the_source_is_typed_as_two_lists(tmp_path):
    flow = [1, 0.9, 0.8, 0.7, 0.6, 0.4, 0.3, 0.1, 0]
    given = load_plant(plant(tmp_path, f"source: {{flow_share: {flow}}}\n"))
    assert [given[given._fields.index(f"source_flow_share_{i}")] for i in range(9)] == flow


MESSAGES = [
    (
        "line:\n  bore_mm: 500\n",
        [":2:12: line.bore_mm: is 500, allowed numbers 20 to 200 mm (inside)"],
    ),
    ("line:\n  bore_m: 0.05\n", [":2:3: line.bore_m: is typed in mm: bore_mm: 50"]),
    ("body:\n  gas_volume_m3: 0.04\n", [":2:3: body.gas_volume_m3: is typed in l: gas_volume_l: 40"]),
    ("feed:\n  limit_kg_s: 0.5\n", [":2:3: feed.limit_kg_s: is typed in kg/h: limit_kg_h: 1800"]),
    ("feed:\n  limit_t_h: 1.8\n", [":2:3: feed.limit_t_h: is typed in kg/h: limit_kg_h: 1800"]),
    (
        "supply:\n  network_bar_g: 7\n",
        [":2:3: supply.network_bar_g: is typed in kPa gauge: network_kpa_g: 700"],
    ),
    ("supply:\n  network_kpa: 700\n", [":2:3: supply.network_kpa: is typed in kPa gauge: network_kpa_g"]),
    (
        "source:\n  check_valve: non\n",
        [":2:16: source.check_valve: is 'non', allowed none or fitted - did you mean 'none'?"],
    ),
    (
        "line:\n  lift_m: 20\nvessel:\n  probe_radius_m: 1\n",
        [
            ":2:11: line.lift_m: is part of line.length_m and cannot be over it",
            ":4:19: vessel.probe_radius_m: puts the probe outside the vessel (vessel.bore_m)",
        ],
    ),
    (
        "source:\n  flow_share: [1, 0.5, 0.6, 0.3, 0.2, 0.1, 0.05, 0.02, 0]\n",
        [":2:24: source.flow_share[2]: must not be over source.flow_share[1]"],
    ),
    (
        "source:\n  vacuum_share: [0, 0.1, 2, 0.36, 0.48, 0.6, 0.75, 0.9, 1]\n",
        [
            ":2:26: source.vacuum_share[2]: = 2 is outside 0 .. 1 (rising)",
            ":2:29: source.vacuum_share[3]: must be over source.vacuum_share[2]",
        ],
    ),
    (
        "source:\n  flow_share: [1, 0]\n",
        [":2:15: source.flow_share: has 2 of them, allowed a list: 9 numbers, "],
    ),
]


@pytest.mark.parametrize(("text", "messages"), MESSAGES, ids=[m[0].replace("\n", " ") for m in MESSAGES])
def test_what_is_wrong_is_said_in_the_words_of_the_file(tmp_path, text, messages):
    found = problems_of(tmp_path, text)
    assert len(found) == len(messages)
    for said, message in zip(found, messages, strict=True):
        assert said.startswith(message)


def test_every_parameter_has_one_place_in_one_group():
    numbered = [name for names in rows().values() for name in names]
    assert sorted([item.name for item in keys()] + numbered) == sorted(PlantParameters._fields)
    assert len({item.loc for item in keys()}) == len(keys())
    assert {item.loc[0] for item in keys()} == set(GROUPS)


@pytest.mark.parametrize("item", keys(), ids=lambda item: item.name)
def test_a_default_survives_typing_to_the_digits_shown(item):
    assert code_value(item, typed(item, item.default)) == pytest.approx(item.default, rel=1e-6)
    assert limits()[item.name].low <= item.default <= limits()[item.name].high
