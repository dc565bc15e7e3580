"""The event dictionary against the tables."""

import re
from collections import Counter

import pytest

from controller.events import ALARM_IDS, EVENTS, FITTED, INTERLOCK_IDS, INTERLOCK_ROWS, If, Priority, text_at
from controller.events.moves import MOVES
from controller.sequence.interlocks import INTERLOCKS
from controller.sequence.steps import STATES


def test_each_interlock_has_exactly_one_row_and_each_row_an_interlock():
    assert Counter(INTERLOCK_IDS) == Counter({i.name: 1 for i in INTERLOCKS})


def test_no_id_stands_twice():
    assert len(EVENTS) == len(INTERLOCK_ROWS) + len(MOVES)


@pytest.mark.parametrize("row", [EVENTS[name] for name in ALARM_IDS], ids=lambda row: row.id)
def test_an_alarm_says_what_where_from_what_to_do_and_what_follows_if_nobody_does(row):
    """The attributes that IEC 62682 asks for; from memory of the standard."""
    texts = (row.text, text_at(row.cause, ()), text_at(row.action, ()), row.consequence)
    assert min(map(len, texts)) > 15
    assert row.respond_min > 0
    assert row.kind.name != "event"


def test_what_needs_nobody_is_an_event_and_no_alarm():
    """IEC 62682, from memory: no action, no alarm."""
    needs_nobody = {row.id for row in INTERLOCK_ROWS if text_at(row.action).startswith("none")}
    assert needs_nobody == set(INTERLOCK_IDS) - set(ALARM_IDS) == {"LEVEL_HIGH", "SOURCE_NOT_READY"}


def test_the_higher_the_priority_the_shorter_the_time_to_respond():
    """IEC 62682, from memory: priority follows from consequence and time to respond."""
    times = {
        p: [EVENTS[name].respond_min for name in ALARM_IDS if EVENTS[name].priority == p] for p in Priority
    }
    assert max(times[Priority.HIGH]) <= min(times[Priority.MEDIUM]) <= 15
    assert max(times[Priority.MEDIUM]) <= min(times[Priority.LOW])


def test_what_can_only_trip_has_the_highest_priority():
    effects = {}
    for i in INTERLOCKS:
        effects.setdefault(i.name, set()).add(i.effect)
    only_trip = {name for name, found in effects.items() if found == {"trip"}}
    assert only_trip
    assert {EVENTS[name].priority for name in only_trip} == {Priority.HIGH}


def test_what_can_trip_has_no_delay_of_the_alarm_and_no_state_in_which_it_is_not_told():
    """Common practice, no source: an alarm of a trip is never later than the trip."""
    trips = {i.name for i in INTERLOCKS if i.effect == "trip" or "trip" in i.allowed}
    for name in trips & set(ALARM_IDS):
        assert EVENTS[name].on_ms == 0, name
        assert set(EVENTS[name].quiet_in) <= {"IDLE"}, name


def test_the_states_in_which_an_alarm_is_not_told_are_states_of_the_sequence():
    assert {state for row in INTERLOCK_ROWS for state in row.quiet_in} <= set(STATES)


def test_followers_are_begun_by_ids_that_there_are():
    beginnings = [b for row in INTERLOCK_ROWS for b in row.followers]
    assert beginnings
    assert all(any(name.startswith(b) for name in INTERLOCK_IDS) for b in beginnings)


def test_a_trip_on_vacuum_sends_the_operator_to_the_transmitter_too():
    """Common practice, no source: a reading that does not move may be the instrument's."""
    for name in ("NO_VACUUM", "VACUUM_NOT_RELEASED"):
        assert "transmitter frozen or its zero drifted" in text_at(EVENTS[name].cause), name
        assert "transmitter" in text_at(EVENTS[name].action), name
        bare = EVENTS[name].at(())
        assert "transmitter" not in f"{bare.cause} {bare.action}", name


def both(name, *parts):
    """Cause and action of a row where these parts are fitted."""
    row = EVENTS[name].at(parts)
    return f"{row.cause} | {row.action}"


def test_vacuum_that_does_not_fall_is_taken_for_real_and_a_good_current_for_no_proof():
    """A plug holds vacuum behind it as a frozen transmitter shows it; common practice, no source."""
    action = text_at(EVENTS["SIGNAL_BAD"].action, ["vacuum transmitter"])
    assert action.index("do not open by hand") < action.index("loop current")
    assert "compare it with a gauge" in action
    assert "behind a plug" not in both("SIGNAL_BAD")


@pytest.mark.parametrize("name", ["NO_VACUUM", "VACUUM_NOT_RELEASED", "VACUUM_IN_IDLE"])
def test_vacuum_told_by_a_switch_sends_to_the_switch_and_to_no_zero(name):
    said = both(name, "vacuum switch")
    assert "vacuum switch stuck" in said
    assert not re.search("zero moved|set the zero|transmitter", said)
    assert "vacuum switch" not in both(name, "vacuum transmitter")


@pytest.mark.parametrize(
    ("name", "parts", "read", "unread"),
    [
        (
            "FLAP_NOT_CLOSED",
            ["driven flap", "open switch", "open switch alone"],
            "the open switch",
            "the closed",
        ),
        ("FLAP_NOT_CLOSED", ["driven flap", "closed switch"], "the closed switch", "the open switch"),
        ("FLAP_LOST_CLOSED", ["driven flap", "two coils"], "supply weak", "spring"),
        ("FLAP_LOST_CLOSED", ["driven flap", "spring"], "spring", "coil"),
        ("FLAP_LOST_OPEN", ["driven flap", "closed switch"], "supply fell", "open switch"),
        ("VACUUM_NOT_RELEASED", ["bypass"], "bypass valve stuck shut", "vent valve"),
        ("VACUUM_TOO_HIGH", ["clean side", "dp on the clean side"], "filter dp is high", "bypass"),
        ("VACUUM_TOO_HIGH", ["clean side"], "filter blinded", "dp"),
    ],
)
def test_a_text_names_the_part_there_is_and_not_the_other(name, parts, read, unread):
    said = both(name, *parts)
    assert read in said
    assert unread not in said


def test_no_air_moves_a_hanging_flap():
    row = EVENTS["SUPPLY_AIR_LOST"].at(["hanging flap"])
    assert "the flap may move" not in f"{row.text} {row.action} {row.consequence}"


def test_a_line_that_fills_up_is_looked_for_below_the_receiver_too():
    for name in ("LINE_BLOCKED", "VACUUM_TOO_HIGH"):
        assert "vessel below full or its probe failed" in text_at(EVENTS[name].cause), name


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("FLAP_NOT_CLOSED", "look under the flap"),
        ("FLAP_NOT_CLOSED", "vessel backed up"),
        ("FLAP_NOT_CLOSED", "moves the wrong way"),
        ("FLAP_LOST_CLOSED", "look at the seat"),
        ("FLAP_MOVED", "two coils"),
        ("SUPPLY_WEAK", "pressure good at rest"),
        ("NO_VACUUM", "wrong rotation"),
        ("NO_VACUUM", "bypass valve open"),
        ("LINE_BLOCKED", "the riser's content"),
        ("NO_MATERIAL", "line-purge valve"),
        ("FILL_TOO_FAST", "not vented"),
        ("FILTER_DP_LOW", "product at the exhaust"),
        ("CLEANING_WEAK", "drain the separator"),
        ("LEVEL_DISAGREES", "rat-hole"),
        ("LEVEL_NOT_SEEN", "vessel looked at"),
        ("RECEIVER_OVERFULL", "vessel backed up into the receiver"),
        ("SOURCE_RUNS_UNCOMMANDED", "contactor welded"),
    ],
)
def test_the_words_that_send_the_operator_to_the_right_place(name, words):
    """Field failures, common practice, no source: what experience says to look at first."""
    row = EVENTS[name]
    assert words in " | ".join((row.text, text_at(row.cause), text_at(row.action)))


def test_whoever_is_sent_to_the_flap_or_into_the_body_isolates_first():
    """ISO 14118 (prevention of unexpected start-up), from memory."""
    hands_on = [
        name
        for name in ALARM_IDS
        if re.search(r"\b(look under|free the|look into the body)", text_at(EVENTS[name].action))
    ]
    assert hands_on
    for name in hands_on:
        if EVENTS[name].priority == Priority.HIGH:
            assert text_at(EVENTS[name].action).startswith("isolate"), name


def pieces(row):
    texts = (row.cause, row.action)
    return [p for text in texts if not isinstance(text, str) for p in text if isinstance(p, If)]


def test_a_text_asks_only_for_parts_that_there_are_and_each_part_is_asked_for():
    asked = {piece.part for row in INTERLOCK_ROWS for piece in pieces(row)}
    assert asked == set(FITTED)


def test_a_text_reads_on_whatever_part_is_missing():
    for row in INTERLOCK_ROWS:
        for parts in (FITTED, (), *([part] for part in FITTED)):
            for text in (text_at(row.cause, parts), text_at(row.action, parts)):
                assert not re.search(r"^[,;]|[,;]\s*[,;]|  |[,;] ?$|\w[,;]\w", text), (row.id, parts, text)
