"""Explanations: the row that fired, what holds a step back, what stands behind a trip."""

import pytest

from controller.engines.as_written import AsWritten, on_rows
from controller.explain import Scene, words
from controller.image import Inputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import CLEAR, CONVEY, DRAIN, REST, SEAL


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
    assert waits(found, "fill_over") == ("filled_now_ms 5,010 < fill_ms 16,000",)


def test_a_missing_switch_is_named(engine):
    inputs = Inputs(flap_closed_fb=False, supply_air_ua=15_200)
    found = scene(engine, inputs, step=SEAL, step_ms=500, flap_closed=False)
    assert found.fired() is None
    assert any(ground.startswith("flap_closed is off") for ground in waits(found, "sealed"))


def test_rows_come_in_the_order_in_which_they_are_tried(engine):
    found = scene(engine, step=DRAIN)
    assert [w.guard for w in found.waiting()] == [r.guard.name for r in engine.logic.rows_from(DRAIN)]


def test_many_causes_that_do_not_stand_are_counted_not_listed(engine):
    (ground,) = waits(scene(engine, step=DRAIN), "trip")
    assert ground.startswith("none of its ")


def test_the_row_that_fired_is_given_in_words_down_to_the_alternative_that_stood(engine):
    found = scene(engine, step=CLEAR, step_ms=3_490)
    assert found.fired().guard.name == "cleared"
    assert found.reason() == "clear over"


def test_a_step_that_was_not_left_has_no_reason(engine):
    assert scene(engine, step=DRAIN).reason() == ""


def test_a_trip_gives_its_interlock_as_reason_and_values_against_limits(engine):
    inputs = Inputs(supply_air_ua=4_000)
    found = scene(engine, inputs, step=DRAIN, flap_open=True, flap_closed=False, supply_air_lost_seen=True,
                  supply_air_lost_held_ms=1_000)  # fmt: skip
    assert found.reason() == found.first_out() == "SUPPLY_AIR_LOST"
    grounds = found.grounds_of_interlock("SUPPLY_AIR_LOST")
    assert grounds == ("supply_pa_g 0 < supply_lost_pa_g 300,000", "for 1,010 ms")


def test_a_refused_start_names_each_missing_permissive(engine):
    inputs = Inputs(safety_chain_healthy=False, vacuum_ua=8_000, supply_air_ua=15_200)
    found = scene(engine, inputs, step=REST)
    assert found.refusals("start") == (
        "the safety chain is open",
        "body vacuum is not within the release threshold of zero",
    )


def test_every_fact_of_every_step_can_be_explained(engine):
    """No expression of the tables is one that the explanation cannot say."""
    for step in engine.logic.steps:
        found = scene(engine, step=int(step))
        for name, fact in engine.logic.facts.items():
            if fact.kind is bool:
                assert found.grounds_of(name), name


def test_names_are_shown_in_words():
    assert words("line_is_empty") == "line is empty"
