"""`receiver alarms`: what of the tables and the dictionary applies to a station, and with which values."""

import csv
import io
import json
from types import SimpleNamespace

import pytest
from typer.testing import CliRunner

from controller.cli import app, station_folder
from controller.events import ALARM_IDS, EVENTS, FITTED
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import BY_TIMES, MOTOR_KIND, VACUUM_HELD
from controller.settings import load_station
from controller.sheets.alarm_sheet import alarm_sheet, as_csv
from controller.sheets.fitted import HAS
from controller.sheets.fitted import fitted as fitted_parts
from controller.sheets.io_list import NEEDS, io_list


@pytest.fixture(scope="module")
def logic():
    return Logic(RECEIVER)


@pytest.fixture(scope="module")
def station():
    return load_station(station_folder("buckwheat_mill"))


def fitted(station, *points, **presets):
    """The station with other presets and more points wired."""
    wired = [*station.points.points, *(SimpleNamespace(name=name, kind="contact") for name in points)]
    receiver = station.receiver._replace(presets=station.receiver.presets._replace(**presets))
    return station._replace(receiver=receiver, points=SimpleNamespace(points=wired))


def ids(sheet):
    return {entry.id for entry in sheet.entries}


def of(sheet, name):
    return next(entry for entry in sheet.entries if entry.id == name)


def test_each_interlock_is_in_the_list_or_said_to_be_never_there(logic, station):
    sheet = alarm_sheet(logic, station)
    assert sorted([*ids(sheet), *sheet.never]) == sorted(logic.interlock_names)


def test_the_most_urgent_stand_first(logic, station):
    order = [EVENTS[entry.id].priority for entry in alarm_sheet(logic, station).entries]
    assert order == sorted(order, reverse=True)


def test_delays_and_effects_are_those_of_the_station(logic, station):
    changed = fitted(station, supply_lost_ms=70, supply_low_effect=1)
    assert ("all but IDLE, LEVEL_HOLD, FAULT", "70 ms (supply_lost_ms)", "trip") in [
        (way.looked_at_in, way.after, way.effect)
        for way in of(alarm_sheet(logic, changed), "SUPPLY_AIR_LOST").acts
    ]
    low = {(way.looked_at_in, way.effect) for way in of(alarm_sheet(logic, changed), "SUPPLY_AIR_LOW").acts}
    assert {("SUCTION", "wait"), ("OPEN", "wait"), ("SUCTION", "trip")} <= low
    assert "wait" not in {way.effect for way in of(alarm_sheet(logic, station), "SUPPLY_AIR_LOW").acts}


@pytest.mark.parametrize(
    ("points", "presets", "come"),
    [
        (
            ["receiver_free"],
            {"receiver_full_fitted": True},
            {"RECEIVER_OVERFULL", "FILL_TOO_FAST", "FILL_TIME_OVER"},
        ),
        (["filter_dp_ua"], {"dp_fitted": True}, {"FILTER_DP_HIGH", "FILTER_DP_LOW"}),
        (["level_low_covered"], {"level_low_fitted": True}, {"LEVEL_DISAGREES"}),
        ([], {"not_seen_batches": 20}, {"LEVEL_NOT_SEEN"}),
        ([], {"source_kind": MOTOR_KIND}, {"SOURCE_NOT_READY"}),
        (
            ["source_running_fb"],
            {"source_kind": MOTOR_KIND, "run_feedback_fitted": True},
            {"SOURCE_NOT_RUNNING", "SOURCE_RUNS_UNCOMMANDED"},
        ),
        (["overload_healthy"], {"source_kind": MOTOR_KIND, "overload_fitted": True}, {"SOURCE_OVERLOAD"}),
    ],
)
def test_an_alarm_of_an_option_comes_with_the_option_and_not_without(logic, station, points, presets, come):
    assert not come & ids(alarm_sheet(logic, station))
    assert come <= ids(alarm_sheet(logic, fitted(station, *points, **presets)))


@pytest.mark.parametrize(
    ("presets", "go"),
    [
        # narrative of the machine: of a flap without command these are not looked at
        ({"flap_kind": VACUUM_HELD}, {"FLAP_MOVED", "FLAP_LOST_OPEN", "FLAP_DISAGREES"}),
        ({"vacuum_by": BY_TIMES}, {"NO_VACUUM", "VACUUM_TOO_HIGH", "NO_MATERIAL", "VACUUM_IN_IDLE"}),
    ],
)
def test_an_alarm_that_an_option_takes_away_goes(logic, station, presets, go):
    assert go <= ids(alarm_sheet(logic, station))
    assert not go & ids(alarm_sheet(logic, fitted(station, **presets)))


def test_the_conditions_kept_by_hand_are_of_causes_that_there_are(logic):
    assert set(NEEDS) <= {i.cause.name for i in logic.definition.interlocks}


def test_what_may_trip_is_said_to_latch(logic, station):
    sheet = alarm_sheet(logic, station)
    assert of(sheet, "NO_VACUUM").latches == "after a trip"
    assert of(sheet, "LEVEL_CHATTERS").latches == "no"
    assert {"FLAP_MOVED", "SUPPLY_AIR_LOST"} <= set(of(sheet, "SAFETY_CHAIN_OPEN").followers)


@pytest.mark.parametrize("name", ["buckwheat_mill", "sugar_kitchen", "milk_powder_hall"])
def test_a_point_decides_only_what_can_act_at_the_station(logic, name):
    there = load_station(station_folder(name))
    decided = {alarm for entry in io_list(logic, there) for alarm in entry.interlocks}
    assert decided <= ids(alarm_sheet(logic, there))


def test_steps_that_a_station_never_reaches_are_no_exceptions(logic):
    """The flap of the sugar kitchen has no valve: nothing opens it again on purpose."""
    sheet = alarm_sheet(logic, load_station(station_folder("sugar_kitchen")))
    texts = [way.looked_at_in for entry in sheet.entries for way in entry.acts]
    assert any(text.startswith("all but ") for text in texts)
    assert not [text for text in texts if "REOPEN" in text]


def test_a_text_names_no_part_that_the_station_has_not(logic, station):
    """Each part, and a word of it that only a station with it may read."""
    words = {"motor": "motor", "bypass": "bypass", "two coils": "two coils", "driven flap": "at the valve;",
             "hanging flap": "hinge", "ejector": "ejector", "line purge": "line-purge", "vent": "vent valve"}  # fmt: skip
    stations = [
        load_station(station_folder(n)) for n in ("sugar_kitchen", "buckwheat_mill", "milk_powder_hall")
    ]
    told = {part: [] for part in words}
    for there in stations:
        read = " ".join(f"{entry.cause} {entry.action}" for entry in alarm_sheet(logic, there).entries)
        for part, word in words.items():
            told[part].append((word in read, part in fitted_parts(there)))
    for part, both in told.items():
        assert all(read <= has for read, has in both), part
    assert told["motor"] == [(False, False), (False, False), (True, True)]
    assert [read for read, _ in told["hanging flap"]] == [True, False, False]


def test_every_part_of_the_texts_is_known_of_a_station():
    assert set(HAS) == set(FITTED)


def test_csv_has_one_line_a_way_of_acting(logic, station):
    sheet = alarm_sheet(logic, station)
    rows = list(csv.DictReader(io.StringIO(as_csv(sheet))))
    assert [(r["id"], r["effect"], r["after"]) for r in rows] == [
        (entry.id, way.effect, way.after) for entry in sheet.entries for way in entry.acts
    ]


def test_the_command_prints_table_csv_and_json_of_the_same_alarms():
    table, document, values = (
        CliRunner().invoke(app, ["alarms", "buckwheat_mill", *options])
        for options in ([], ["--json"], ["--csv"])
    )
    assert (table.exit_code, document.exit_code, values.exit_code) == (0, 0, 0)
    said = json.loads(document.stdout)
    named = [entry["id"] for entry in said["alarms"]]
    assert list(dict.fromkeys(row["id"] for row in csv.DictReader(io.StringIO(values.stdout)))) == named
    assert all(name in table.stdout for name in (*named, *said["never"]))
    alarms = [entry for entry in said["alarms"] if entry["priority"] != "event"]
    assert {entry["id"] for entry in alarms} <= set(ALARM_IDS)
    assert all(entry["action"] and entry["consequence"] for entry in alarms)


def test_csv_and_json_together_are_wrong_input():
    assert CliRunner().invoke(app, ["alarms", "buckwheat_mill", "--csv", "--json"]).exit_code == 2


def ways(logic, station, name):
    return {(way.looked_at_in, way.after, way.limits) for way in of(alarm_sheet(logic, station), name).acts}


@pytest.mark.parametrize(
    ("name", "preset", "value", "said"),
    [
        ("VACUUM_TOO_HIGH", "vacuum_high_pa", 33_000, "vacuum is at least 33 kPa (vacuum_high_kpa)"),
        (
            "SUPPLY_AIR_LOW",
            "supply_low_pa_g",
            440_000,
            "supply air is under 440 kPa gauge (supply_low_kpa_g)",
        ),
        (
            "SUPPLY_AIR_LOST",
            "supply_lost_pa_g",
            310_000,
            "supply air is under 310 kPa gauge (supply_lost_kpa_g)",
        ),
        (
            "NO_MATERIAL",
            "no_material_pa",
            6_100,
            "vacuum on the dirty side is under 6.1 kPa (no_material_kpa)",
        ),
    ],
)
def test_the_limit_of_a_measured_cause_is_said_with_the_value_of_the_station(
    logic, station, name, preset, value, said
):
    for there, is_said in ((fitted(station, **{preset: value}), True), (station, False)):
        assert all((said in limits) == is_said for _, _, limits in ways(logic, there, name))
    assert said in as_csv(alarm_sheet(logic, fitted(station, **{preset: value})))


def test_a_delay_within_the_cause_is_said_in_place_of_at_once(logic, station):
    there = fitted(station, flap_travel_ms=2_200, signal_failed_ms=400)
    flap = {steps: (after, limits) for steps, after, limits in ways(logic, there, "FLAP_NOT_CLOSED")}
    assert flap["SEAL"] == (
        "when time in the step is at least 2200 ms (flap_travel_ms)",
        "re-openings is at least 1 (flap_retries_max)",
    )
    for _, after, _ in ways(logic, there, "SIGNAL_BAD"):
        assert "current is at a failure value for 400 ms (signal_failed_ms)" in after or "stands" in after
    assert {after for _, after, _ in ways(logic, there, "SAFETY_CHAIN_OPEN")} == {"at once"}
