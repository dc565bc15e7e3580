"""Explanations: the row that fired, what holds a step back, what stands behind a trip."""

import random
import re

import pytest

from controller.cli import station_folder
from controller.engines.as_written import AsWritten, on_rows
from controller.explain import Scene
from controller.image import Inputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import CLEAR, CONVEY, DRAIN, FAULT, REST, SEAL
from controller.settings import keys, load_station


@pytest.fixture(scope="module")
def engine():
    return AsWritten(Logic(RECEIVER), on_rows)


def scene(engine, inputs=None, **memory):
    quiet = {"powered": True, "flap_closed": True, "run": True, "on_board": 0, "line_loaded": False}
    was = engine.logic.power_up()._replace(
        **{**quiet, "vessel_full": False, "supply_under_limit": False, **memory}
    )
    return Scene(engine, was, inputs or Inputs(supply_air_ua=15_200), Presets(), 10)


def waits(found, guard):
    return next(w.holds_back for w in found.waiting() if w.guard == guard)


def test_a_time_that_is_not_over_is_shown_with_its_limit(engine):
    found = scene(engine, step=CONVEY, proved=True, vacuum_pa=13_000, filled_ms=5_000, flap_open=False)
    assert waits(found, "fill_over") == ("time filled 5.01 s < 16 s (fill_s)",)


def test_a_missing_switch_is_named(engine):
    inputs = Inputs(flap_closed_fb=False, supply_air_ua=15_200)
    found = scene(engine, inputs, step=SEAL, step_ms=500, flap_closed=False)
    assert found.fired() is None
    assert any(ground == "the flap's closed switch is off" for ground in waits(found, "sealed"))


def test_rows_come_in_the_order_in_which_they_are_tried(engine):
    found = scene(engine, step=DRAIN)
    rows = [r.guard.name for r in engine.logic.rows_from(DRAIN)]
    shown = [w.guard for w in found.waiting()]
    assert shown == [name for name in rows if name in shown]
    assert set(rows) - set(shown) <= {"over_and_unwanted"}, "no plant enable is fitted here"


def test_many_causes_that_do_not_stand_are_counted_not_listed(engine):
    (ground,) = waits(scene(engine, step=DRAIN), "tripped")
    assert ground.startswith("none of its ")


def test_the_row_that_fired_is_given_in_words_down_to_the_alternative_that_stood(engine):
    found = scene(engine, step=CLEAR, step_ms=3_490)
    assert found.fired().guard.name == "cleared"
    assert found.reason() == "clear over"


def test_a_step_that_was_not_left_has_no_reason(engine):
    assert scene(engine, step=DRAIN).reason() == ""


def test_a_trip_gives_its_interlock_as_reason_and_values_against_limits(engine):
    inputs = Inputs(supply_air_ua=4_000)
    found = scene(engine, inputs, step=DRAIN, flap_open=True, flap_closed=False, supply_air_lost_1_seen=True,
                  supply_air_lost_1_held_ms=1_000)  # fmt: skip
    assert found.reason() == found.first_out() == "SUPPLY_AIR_LOST"
    grounds = found.grounds_of_interlock("SUPPLY_AIR_LOST")
    assert grounds == (
        "supply air 0 kPa < 300 kPa (supply_lost_kpa_g)",
        "for 1,010 ms of 100 ms (supply_lost_ms)",
    )


def supply_low(engine, *, before, **presets):
    """Supply at 465 kPa: over the low limit of 450 kPa, not over the limit and its hysteresis of 30 kPa."""
    was = engine.logic.power_up()._replace(powered=True, supply_under_limit=before, step=CONVEY)
    inputs = Inputs(supply_air_ua=4_000 + 465_000 * 100 // 6_250)
    return Scene(engine, was, inputs, Presets()._replace(**presets), 10)


def test_the_limit_that_counts_is_one_number_with_or_without_hysteresis(engine):
    good, low = (supply_low(engine, before=before) for before in (False, True))
    assert good.grounds_of("supply_under_limit")[-1] == "supply air 465 kPa >= 450 kPa (supply_low_kpa_g)"
    assert low.grounds_of("supply_under_limit") == (
        "supply air 465 kPa < 480 kPa (supply_low_kpa_g + supply_band_kpa)",
    )


def test_a_choice_is_said_by_its_word(engine):
    found = supply_low(engine, before=True, supply_low_effect=1)
    assert found.grounds_of("waits_for_air") == ("supply_low_effect is wait",)


def test_values_that_differ_by_a_pascal_are_told_apart(engine):
    was = engine.logic.power_up()._replace(powered=True, step=CONVEY, proved=True)
    inputs = Inputs(vacuum_ua=4_191, supply_air_ua=15_200)  # 191 x 6.25 Pa = 1,193 Pa
    for limit_pa, said in ((1_194, "1.193 kPa < 1.194 kPa"), (1_250, "1.19 kPa < 1.25 kPa")):
        found = Scene(engine, was, inputs, Presets()._replace(proving_pa=limit_pa), 10)
        assert found.grounds_of("vacuum_gone")[-1] == f"vacuum {said} (proving_kpa)"


def test_a_delay_says_for_how_long_of_how_long_and_not_how_it_counts(engine):
    was = engine.logic.power_up()._replace(
        powered=True, step=SEAL, level_free_long_seen=True, level_free_long_held_ms=1_490, since_pour_ms=5_000
    )
    found = Scene(engine, was, Inputs(supply_air_ua=15_200), Presets(), 10)
    assert found.grounds_of("level_free_long") == (
        "the high probe below is seen free for 1,500 ms of 2,000 ms (level_on_ms)",
    )


@pytest.fixture(scope="module")
def grounds(engine):
    """Of every fact of every step."""
    scenes = {step.name: scene(engine, step=int(step)) for step in engine.logic.steps}
    names = [name for name, fact in engine.logic.facts.items() if fact.kind is bool]
    return {(step, name): found.grounds_of(name) for step, found in scenes.items() for name in names}


def test_no_fact_of_any_step_is_said_in_pascals_or_by_the_names_of_the_code(grounds):
    for fact, grounds_of_it in grounds.items():
        said = "; ".join(grounds_of_it)
        assert not re.search(r"_pa\b|_pa_g\b|held_ms|dt_ms|s\.(now|set|was)|\bif\b", said), (fact, said)


def test_a_fact_of_many_grounds_is_named_with_the_value_against_its_preset(engine):
    found = scene(engine, Inputs(vacuum_ua=4_400, supply_air_ua=15_200), step=FAULT)
    assert found.grounds_of("reset_accepted")[-1] == (
        "vacuum is over the release threshold: vacuum 2.5 kPa >= 1 kPa (release_kpa)"
    )


def test_a_refused_start_names_each_missing_permissive(engine):
    inputs = Inputs(safety_chain_healthy=False, vacuum_ua=8_000, supply_air_ua=15_200)
    found = scene(engine, inputs, step=REST, start_held=False)
    assert found.refusals("start") == (
        "the safety chain is open",
        "body vacuum is not within the release threshold of zero",
    )


def test_a_start_refused_while_the_flap_closes_after_a_drain_says_nothing_of_who_opened_it(engine):
    """The program opened it itself; what is true is that it is not told to open now."""
    inputs = Inputs(supply_air_ua=15_200, flap_open_fb=True, flap_closed_fb=False)
    found = scene(engine, inputs, step=SEAL, start_held=False, flap_open=True, flap_closed=False)
    assert found.refusals("start") == (
        "the receiver is not at rest",
        "the open switch is on, and the flap is not told to open",
    )


def test_every_fact_of_every_step_can_be_explained(engine, grounds):
    """No expression of the tables is one that the explanation cannot say."""
    assert len(grounds) > 500 * len(engine.logic.steps)
    assert [fact for fact, said in grounds.items() if not said] == []


def test_memory_that_this_scan_changed_is_said_to_hold_until_now(engine):
    was = {"step": CLEAR, "proved": True, "flap_closed": False}
    found = scene(engine, Inputs(vacuum_ua=4_000, supply_air_ua=15_200), **was)
    assert not found.facts["proved"]
    assert "vacuum has been proved until now" in found.grounds_of("has_vacuum")


def without_keys(ground):
    """What is left of a ground without the keys of receiver.yaml and the ids of interlocks and steps."""
    of_file = "|".join(str(item.loc[-1]) for item in keys())
    told = re.sub(rf"\b({of_file})\b", "", ground)
    return re.sub(r"\b[A-Z_]+\b", "", told)


@pytest.mark.parametrize("name", ["buckwheat_mill", "sugar_kitchen", "milk_powder_hall"])
def test_trips_and_waits_of_the_stations_are_said_in_words(engine, name):
    """Whatever memory and inputs are, no name of the code stands in what is said of them."""
    presets, rnd = load_station(station_folder(name)).receiver.presets, random.Random(11)
    memory = engine.logic.power_up()
    told = []
    for k in range(6 * len(engine.logic.steps)):
        flags = {n: bool(rnd.randrange(2)) for n, v in memory._asdict().items() if isinstance(v, bool)}
        times = {n: rnd.choice((0, 6_000, 600_000)) for n in memory._fields if n.endswith("_ms")}
        was = memory._replace(**flags, **times)._replace(step=k % len(engine.logic.steps))
        inputs = {n: bool(rnd.randrange(2)) for n, v in Inputs()._asdict().items() if isinstance(v, bool)}
        found = Scene(engine, was, Inputs(**inputs, vacuum_ua=rnd.choice((4_000, 9_000))), presets, 10)
        told += [ground for row in found.waiting() for ground in row.holds_back]
        told += [ground for i in engine.logic.interlock_names for ground in found.grounds_of_interlock(i)]
    assert len(set(told)) > 100
    assert not {ground for ground in told if "_" in without_keys(ground)}
