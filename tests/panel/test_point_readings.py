"""
Points as they are now, and inputs forced over them.

Currents: IEC 60381-1 (4 to 20 mA); what a current says of its own quality: NAMUR NE 43 (3.8 to 20.5 mA
measures, 3.6 mA and under or 21 mA and over has failed).
"""

import pytest
from panel.rigs import POINTS

from controller.image import Inputs, Outputs
from controller.panel.forcing import Forcing
from controller.panel.live_points import age_text, raw_text, value_text
from controller.panel.point_readings import readings
from controller.panel.watch import now
from controller.port import NEVER_MS


@pytest.mark.parametrize(("value", "said"), [(-0.04, "0.0 kPa"), (-0.06, "-0.1 kPa"), (None, "-")])
def test_nothing_reads_as_less_than_nothing(value, said):
    signal = next(p for p in readings(POINTS, Inputs(), Outputs(), {}, 300) if p.kind == "4-20 mA")
    assert value_text(signal.model_copy(update={"value": value, "unit": "kPa"})) == said


def point(name, wire=None, **inputs):
    found = readings(POINTS, Inputs(**inputs), Outputs(horn=True), wire or {}, old_ms=300)
    return next(p for p in found if p.name == name)


def test_every_wired_point_has_one_reading_in_the_order_of_the_image():
    found = [p.name for p in readings(POINTS, Inputs(), Outputs(), {}, 300)]
    assert found == [p.name for p in POINTS.points]
    assert found == sorted(found, key=[*Inputs._fields, *Outputs._fields].index)


@pytest.mark.parametrize(
    ("raw_ua", "quality", "kpa"),
    [
        (4_000, "good", 0.0), (8_000, "good", 25.0), (12_000, "good", 50.0), (20_000, "good", 100.0),
        (3_800, "good", -1.25), (20_500, "good", 103.125), (3_799, "doubtful", -1.25625),
        (20_501, "doubtful", 103.13125), (3_601, "doubtful", -2.49375), (3_600, "failed", None),
        (21_000, "failed", None), (0, "failed", None), (22_000, "failed", None), (20_999, "doubtful", 106.24375),
    ],
)  # fmt: skip
def test_a_current_reads_after_the_standards(raw_ua, quality, kpa):
    """PT-101 of the mill: 0 to 100 kPa vacuum."""
    found = point("vacuum_ua", vacuum_ua=raw_ua)
    assert (found.quality, found.value) == (quality, kpa)
    assert found.unit == "kPa vacuum"


def test_a_failed_signal_shows_its_current_and_no_value():
    found = point("vacuum_ua", vacuum_ua=3_500)
    assert (raw_text(found), value_text(found)) == ("3.50 mA", "-")


def test_an_image_older_than_its_limit_makes_every_input_old():
    assert point("level_free", image_age_ms=300).quality == "good"
    found = point("level_free", image_age_ms=301)
    assert (found.quality, found.age_ms) == ("old", 301)
    assert point("horn", image_age_ms=301).quality == "good"


def test_without_an_image_there_is_no_age():
    found = point("level_free", image_age_ms=NEVER_MS)
    assert (found.quality, found.age_ms, age_text(found)) == ("old", None, "none")
    assert now(found).endswith("old, age none")


def test_a_forced_input_shows_what_its_wire_carries():
    found = point("level_free", {"level_free": 1}, level_free=False)
    assert (found.raw, found.forced, found.wire) == (0, True, 1)
    assert not point("horn").forced
    assert point("horn").raw == 1


def test_a_force_reaches_the_sequence_as_the_kind_its_point_has():
    forcing = Forcing(real=False)
    forcing.put({"level_free": 0, "vacuum_ua": 9_000})
    seen = forcing.over(Inputs(vacuum_ua=4_100), manual=False)
    assert seen.level_free is False
    assert seen.vacuum_ua == 9_000
    assert forcing.wire == {"level_free": 1, "vacuum_ua": 4_100}
    assert seen._replace(level_free=True, vacuum_ua=4_100) == Inputs(vacuum_ua=4_100)


@pytest.mark.parametrize(
    ("manual", "asked"),
    [(False, {}), (True, {"automatic_request": True})],
    ids=["automatic", "leaving manual"],
)
def test_on_real_io_no_scan_outside_manual_mode_sees_a_force_and_it_does_not_come_back(manual, asked):
    forcing = Forcing(real=True)
    forcing.put({"level_free": 0})
    assert forcing.over(Inputs(**asked), manual=manual).level_free
    assert forcing.over(Inputs(), manual=True).level_free
    assert forcing.forced == {}


@pytest.mark.parametrize("point", ["stop_healthy", "safety_chain_healthy"])
def test_on_real_io_stop_and_safety_chain_are_never_forced_whoever_asks(point):
    forcing = Forcing(real=True)
    forcing.put({point: 1})
    assert getattr(forcing.over(Inputs(**{point: False}), manual=True), point) is False
