"""The event dictionary against the tables."""

from collections import Counter

from controller.events import _INTERLOCKS, _MOVES, ALARM_IDS, EVENTS, Priority
from controller.sequence.interlocks import INTERLOCKS


def test_each_interlock_has_exactly_one_row_and_each_row_an_interlock():
    assert Counter(ALARM_IDS) == Counter({i.name for i in INTERLOCKS})


def test_no_id_stands_twice():
    assert len(EVENTS) == len(_INTERLOCKS) + len(_MOVES)


def test_an_alarm_says_what_where_from_and_what_to_do():
    for name in ALARM_IDS:
        row = EVENTS[name]
        assert row.priority > Priority.INFO, name
        assert min(len(row.text), len(row.cause), len(row.action)) > 15, name


def test_what_can_only_trip_has_the_highest_priority():
    effects = {}
    for i in INTERLOCKS:
        effects.setdefault(i.name, set()).add(i.effect)
    only_trip = {name for name, found in effects.items() if found == {"trip"}}
    assert only_trip
    assert {EVENTS[name].priority for name in only_trip} == {Priority.HIGH}


def test_a_trip_on_vacuum_sends_the_operator_to_the_transmitter_too():
    """Common practice, no source: a reading that does not move may be the instrument's."""
    for name in ("NO_VACUUM", "VACUUM_NOT_RELEASED"):
        assert "transmitter frozen or its zero drifted" in EVENTS[name].cause, name
        assert "transmitter" in EVENTS[name].action, name


def test_a_line_that_fills_up_is_looked_for_below_the_receiver_too():
    for name in ("LINE_BLOCKED", "VACUUM_TOO_HIGH"):
        assert "vessel below full or its probe failed" in EVENTS[name].cause, name
