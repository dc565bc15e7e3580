"""
The figures of the alarms against those of the standards.

Above 10 calls in 10 minutes a flood begins, below 5 it ends: ISA-18.2 / EEMUA 191 as quoted on a public page
of an alarm package. Chattering 3 in 60 s, standing 24 h: ISA-18.2, from memory.
"""

import pytest

from controller.alarms.metrics import Flood, Metrics
from controller.alarms.move import Move
from controller.alarms.states import Edge, State

MINUTE = 60_000
DAY = 86_400_000


def call(at_ms, name="AIR_LOW", root=""):
    return Move(at_ms, name, State.NORMAL, State.UNACKNOWLEDGED, Edge.RAISED, root)


def gone(at_ms, name="AIR_LOW", now=State.RETURNED):
    return Move(at_ms, name, State.UNACKNOWLEDGED, now, Edge.CLEARED)


def figures(moves, now_ms):
    metrics = Metrics()
    metrics.take(moves)
    return metrics.report(now_ms)


def test_eleven_calls_in_ten_minutes_are_a_flood_until_fewer_than_five_are_left():
    calls = [call(k * 50_000, f"A{k}") for k in range(11)]
    # the seventh of them leaves the ten minutes at 300 s + 600 s; four are left
    assert figures(calls, 30 * MINUTE).floods == (Flood(500_000, 900_000, 11),)


def test_ten_calls_in_ten_minutes_are_no_flood():
    assert figures([call(k * 50_000, f"A{k}") for k in range(10)], 30 * MINUTE).floods == ()


def test_eleven_calls_in_a_little_more_than_ten_minutes_are_no_flood():
    assert figures([call(k * MINUTE, f"A{k}") for k in range(11)], 30 * MINUTE).floods == ()


def test_a_flood_goes_on_while_five_are_left():
    calls = [call(k * 1_000, f"A{k}") for k in range(11)]
    calls += [call(k * 100_000, f"B{k}") for k in range(1, 21)]  # one in 100 s: six in ten minutes
    assert figures(calls, 2_190_000).floods == (Flood(10_000, None, 31),)
    # the last of them came at 2,000 s; four are left when that of 1,600 s leaves
    report = figures(calls, 3_100_000)
    assert report.floods == (Flood(10_000, 2_200_000, 31),)
    assert report.in_flood_percent == pytest.approx(100 * 2_190 / 3_100, abs=0.01)


def test_followers_are_no_calls():
    calls = [call(k * 1_000, f"A{k}", root="SAFETY_CHAIN_OPEN") for k in range(1, 20)]
    report = figures([call(0, "SAFETY_CHAIN_OPEN"), *calls], 10 * MINUTE)
    assert (report.calls, report.floods) == (1, ())


@pytest.mark.parametrize(
    ("times", "often"), [((0, 20, 59), 1), ((0, 20, 60), 0), ((0, 59), 0), (range(0, 60, 10), 2)]
)
def test_three_of_one_alarm_in_sixty_seconds_are_chattering(times, often):
    moves = [m for t in times for m in (call(t * 1_000), gone(t * 1_000 + 500))]
    assert dict(figures(moves, 10 * MINUTE).chattering).get("AIR_LOW", 0) == often


def test_three_different_alarms_in_sixty_seconds_are_not():
    assert figures([call(k, f"A{k}") for k in range(3)], MINUTE).chattering == ()


def test_what_is_gone_before_anybody_can_act_is_fleeting_unless_it_is_latched():
    moves = [call(0), gone(9_990), call(20_000, "LEVEL"), gone(30_000, "LEVEL")]
    moves += [call(40_000, "TRIP"), gone(40_010, "TRIP", State.LATCHED_UNACKNOWLEDGED)]
    assert figures(moves, MINUTE).fleeting == (("AIR_LOW", 1),)


def test_what_somebody_acknowledged_in_time_was_acted_on_and_is_not_fleeting():
    """A trip that is acknowledged and reset at once clears two seconds later, not latched any more."""
    seen = Move(1_000, "TRIP", State.UNACKNOWLEDGED, State.ACKNOWLEDGED, Edge.ACKNOWLEDGE)
    over = Move(2_000, "TRIP", State.ACKNOWLEDGED, State.NORMAL, Edge.CLEARED)
    assert figures([call(0, "TRIP"), seen, over], MINUTE).fleeting == ()


def test_what_stands_for_more_than_a_day_is_standing_even_if_it_was_acknowledged():
    seen = Move(5_000, "AIR_LOW", State.UNACKNOWLEDGED, State.ACKNOWLEDGED, Edge.ACKNOWLEDGE)
    assert figures([call(0), seen], DAY).standing == ()
    assert figures([call(0), seen], DAY + 1).standing == ("AIR_LOW",)
    assert figures([call(0), seen, gone(DAY)], DAY + 1).standing == ()


def test_rate_and_top_ten():
    calls = [call(k * MINUTE, f"A{k % 12}") for k in range(60)] + [call(60 * MINUTE, "A0")]
    report = figures(calls, 61 * MINUTE)
    assert report.calls == 61
    assert report.per_10_min == 10.0
    assert report.most_in_10_min == 10
    assert len(report.top) == 10
    assert report.top[0] == ("A0", 6, 9.8)


def test_what_stood_for_more_than_a_day_is_named_although_it_is_gone():
    assert figures([call(0), gone(DAY + 1)], 30 * DAY).standing == ("AIR_LOW",)
    twice = [call(0), gone(DAY // 2), call(DAY // 2 + 1), gone(DAY + 1)]
    assert figures(twice, 30 * DAY).standing == ()


@pytest.mark.parametrize(("again_ms", "standing"), [(5_000, ("AIR_LOW",)), (11 * MINUTE, ())])
def test_a_restart_ends_no_alarm_that_is_there_again_at_once(again_ms, standing):
    """Half a day before it and 13 hours after it; the three days in which the controller was off do not count."""
    hour, on = DAY // 24, 3 * DAY + DAY // 2
    metrics = Metrics()
    metrics.take([call(0)])
    metrics.restart(DAY // 2, on)
    metrics.take([call(on + again_ms)])
    assert metrics.report(on + 11 * hour).standing == ()
    assert metrics.report(on + 13 * hour).standing == standing
