"""
The alarms of a receiver over time: delays, latch, shelf, suppression, first-out.

Sources, unless said otherwise: IEC 62682 / ISA-18.2, from memory; the definitions of acknowledge, latching,
on-delay, off-delay and re-alarm time: OPC UA part 9 (alarms and conditions).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.alarms.annunciator import Annunciator, NotAllowed, dictionary
from controller.alarms.states import Edge, State
from controller.events import EVENTS
from controller.events.definition import HOUR_MS, PROCESS, STANDS, EventDef, Priority

SLOW = PROCESS._replace(off_ms=3_000)
TRIPS = STANDS._replace(off_ms=0)
ROWS = (
    EventDef("CHAIN", Priority.HIGH, "", "", "", TRIPS, followers=("AIR_", "FLAP_")),
    EventDef("FLAP_LOST", Priority.HIGH, "", "", "", TRIPS),
    EventDef("AIR_LOW", Priority.MEDIUM, "", "", "", SLOW, quiet_in=("IDLE",)),
    EventDef("DRIFT", Priority.LOW, "", "", "", SLOW, on_ms=2_000, again_ms=HOUR_MS),
    EventDef("LINE", Priority.HIGH, "", "", "", TRIPS),
)


class Desk:
    """The alarms, fed on change only, and all that they did."""

    def __init__(self, rows=ROWS):
        self.alarms, self.moves = Annunciator(rows), []

    def see(self, now_ms, *acting, place="SUCTION", first_out=""):
        return self.keep(self.alarms.take(now_ms, acting, place, first_out))

    def keep(self, moves):
        self.moves += moves
        return moves

    def states(self, name):
        return [(move.at_ms, move.now) for move in self.moves if move.id == name]

    @property
    def calls(self):
        return [(move.at_ms, move.id) for move in self.moves if move.calls]


@pytest.fixture
def desk():
    return Desk()


# ---- delays --------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("pulse_ms", "raised"), [(1_900, []), (1_990, []), (2_000, []), (2_010, [(3_000, "DRIFT")])]
)
def test_a_pulse_shorter_than_the_on_delay_of_two_seconds_is_no_alarm(desk, pulse_ms, raised):
    """TON of IEC 61131-3: true when the cause has stood for the time and still stands."""
    desk.see(1_000, "DRIFT")
    desk.see(1_000 + pulse_ms)
    desk.see(60_000)
    assert desk.calls == raised


def test_an_alarm_that_comes_back_within_its_off_delay_calls_once(desk):
    desk.see(1_000, "AIR_LOW")
    for at_ms in (2_000, 5_000, 8_000):
        desk.see(at_ms)
        desk.see(at_ms + 2_900, "AIR_LOW")
    desk.see(20_000)
    desk.see(60_000)
    assert desk.states("AIR_LOW") == [(1_000, State.UNACKNOWLEDGED), (23_000, State.RETURNED)]


def test_it_calls_again_when_it_comes_back_after_its_off_delay(desk):
    desk.see(1_000, "AIR_LOW")
    desk.see(2_000)
    desk.see(6_000, "AIR_LOW")
    assert desk.calls == [(1_000, "AIR_LOW"), (6_000, "AIR_LOW")]


def test_what_was_acknowledged_and_stands_calls_again_after_its_re_alarm_time(desk):
    desk.see(0, "DRIFT")
    desk.see(2_000, "DRIFT")
    desk.keep(desk.alarms.acknowledge(5_000, "anna"))
    desk.see(4 * HOUR_MS, "DRIFT")
    assert desk.calls == [(2_000, "DRIFT"), (5_000 + HOUR_MS, "DRIFT")]


def test_acknowledged_and_gone_it_does_not_call_again(desk):
    desk.see(0, "DRIFT")
    desk.see(2_000, "DRIFT")
    desk.keep(desk.alarms.acknowledge(5_000, "anna"))
    desk.see(6_000)
    desk.see(4 * HOUR_MS)
    assert desk.calls == [(2_000, "DRIFT")]
    assert desk.alarms.standing() == []


# ---- latch ---------------------------------------------------------------------------------------------
def test_the_alarm_of_a_trip_stays_until_it_is_acknowledged_and_then_reset(desk):
    desk.see(1_000, "LINE", place="FAULT", first_out="LINE")
    desk.see(1_010, place="FAULT", first_out="LINE")
    assert desk.alarms.reset(2_000, "anna") == []
    desk.keep(desk.alarms.acknowledge(3_000, "anna"))
    desk.keep(desk.alarms.reset(4_000, "anna"))
    assert desk.states("LINE") == [
        (1_000, State.UNACKNOWLEDGED),
        (1_010, State.LATCHED_UNACKNOWLEDGED),
        (3_000, State.LATCHED),
        (4_000, State.NORMAL),
    ]


def test_what_only_warned_is_not_latched(desk):
    desk.see(1_000, "CHAIN", place="IDLE")
    desk.see(1_010, place="IDLE")
    desk.keep(desk.alarms.acknowledge(3_000, "anna"))
    assert desk.alarms.standing() == []


def test_what_tripped_once_and_was_reset_does_not_latch_when_it_only_warns(desk):
    desk.see(1_000, "LINE", place="FAULT", first_out="LINE")
    desk.see(1_010, place="FAULT", first_out="LINE")
    desk.keep(desk.alarms.acknowledge(2_000, "anna"))
    desk.keep(desk.alarms.reset(3_000, "anna"))
    desk.see(4_000, "LINE")
    desk.see(4_010)
    assert [s.state for s in desk.alarms.standing()] == [State.RETURNED]


def test_an_alarm_that_was_seen_as_a_warning_calls_again_when_it_trips(desk):
    desk.see(1_000, "AIR_LOW")
    desk.keep(desk.alarms.acknowledge(2_000, "anna"))
    desk.see(9_000, "AIR_LOW", place="FAULT", first_out="AIR_LOW")
    assert desk.calls == [(1_000, "AIR_LOW"), (9_000, "AIR_LOW")]


def test_a_fault_kept_through_a_power_cycle_stands_latched_at_power_up(desk):
    desk.see(0, place="FAULT", first_out="LINE")
    assert [s.state for s in desk.alarms.standing()] == [State.LATCHED_UNACKNOWLEDGED]


def test_after_a_reset_while_the_off_delay_runs_nothing_latches_any_more(desk):
    desk.see(1_000, "AIR_LOW", place="FAULT", first_out="AIR_LOW")
    desk.see(1_010, place="FAULT", first_out="AIR_LOW")
    desk.keep(desk.alarms.acknowledge(2_000, "anna"))
    desk.keep(desk.alarms.reset(2_100, "anna"))
    desk.see(60_000, place="SUCTION")
    assert desk.alarms.standing() == []


# ---- shelf, service, suppression -----------------------------------------------------------------------
def test_on_the_shelf_it_is_silent_and_when_the_time_is_over_it_calls_again(desk):
    desk.see(1_000, "AIR_LOW")
    desk.keep(desk.alarms.shelve(2_000, "anna", "AIR_LOW", HOUR_MS, "compressor in service"))
    desk.see(3_000)
    desk.see(60_000, "AIR_LOW")
    assert desk.calls == [(1_000, "AIR_LOW")]
    desk.see(5 * HOUR_MS, "AIR_LOW")
    assert desk.calls == [(1_000, "AIR_LOW"), (2_000 + HOUR_MS, "AIR_LOW")]


def test_on_the_shelf_and_gone_it_comes_off_as_normal(desk):
    desk.see(1_000, "AIR_LOW")
    desk.keep(desk.alarms.shelve(2_000, "anna", "AIR_LOW", 60_000, "compressor in service"))
    desk.see(3_000)
    desk.see(HOUR_MS)
    assert desk.states("AIR_LOW")[-1] == (62_000, State.NORMAL)


def test_the_journal_says_who_shelved_and_why(desk):
    (move,) = desk.alarms.shelve(2_000, "anna", "AIR_LOW", 60_000, "compressor in service")
    assert (move.by, move.why, move.edge) == ("anna", "compressor in service", Edge.SHELVE)
    assert move.detail == "shelve; by anna; compressor in service"


@pytest.mark.parametrize(
    ("name", "for_ms", "who", "why", "said"),
    [
        ("LINE", 60_000, "anna", "noise", "never shelved"),
        ("AIR_LOW", 9 * HOUR_MS, "anna", "noise", "is shelved for 1 to 28,800,000 ms"),
        ("AIR_LOW", 0, "anna", "noise", "is shelved for 1 to 28,800,000 ms"),
        ("AIR_LOW", 60_000, "anna", " ", "say who and why"),
        ("AIR_LOW", 60_000, "", "noise", "say who and why"),
        ("AIR_LOWW", 60_000, "anna", "noise", "did you mean 'AIR_LOW'"),
    ],
)
def test_a_shelf_without_limit_reason_or_name_is_refused_in_words(desk, name, for_ms, who, why, said):
    with pytest.raises(NotAllowed, match=said):
        desk.alarms.shelve(2_000, who, name, for_ms, why)
    assert desk.alarms.standing() == []


def test_a_trip_takes_its_alarm_off_the_shelf(desk):
    desk.alarms.shelve(2_000, "anna", "AIR_LOW", HOUR_MS, "compressor in service")
    desk.see(3_000, "AIR_LOW", place="FAULT", first_out="AIR_LOW")
    assert desk.calls == [(3_000, "AIR_LOW")]


def test_out_of_service_it_never_calls_until_it_is_put_back(desk):
    desk.keep(desk.alarms.take_out(1_000, "bert", "AIR_LOW", "transmitter changed"))
    desk.see(2_000, "AIR_LOW")
    desk.see(50 * HOUR_MS, "AIR_LOW")
    assert desk.calls == []
    desk.keep(desk.alarms.put_back(51 * HOUR_MS, "bert", "AIR_LOW"))
    assert desk.calls == [(51 * HOUR_MS, "AIR_LOW")]


def test_what_is_latched_is_neither_shelved_nor_taken_out(desk):
    desk.see(1_000, "AIR_LOW", place="FAULT", first_out="AIR_LOW")
    desk.see(1_010, place="FAULT", first_out="AIR_LOW")
    desk.see(10_000, place="FAULT", first_out="AIR_LOW")
    with pytest.raises(NotAllowed, match="not while it is latched"):
        desk.alarms.shelve(11_000, "anna", "AIR_LOW", 60_000, "noise")
    with pytest.raises(NotAllowed, match="not while it is latched"):
        desk.alarms.take_out(11_000, "anna", "AIR_LOW", "noise")


def test_suppressed_by_design_in_idle_and_told_when_idle_ends(desk):
    desk.see(1_000, place="IDLE")
    desk.see(2_000, "AIR_LOW", place="IDLE")
    assert desk.calls == []
    assert [s.state for s in desk.alarms.standing()] == [State.SUPPRESSED]
    desk.see(9_000, "AIR_LOW", place="SUCTION")
    assert desk.calls == [(9_000, "AIR_LOW")]


def test_what_comes_in_the_very_scan_in_which_idle_begins_does_not_call(desk):
    desk.see(1_000, place="SUCTION")
    desk.see(2_000, "AIR_LOW", place="IDLE")
    assert desk.calls == []


# ---- first-out -----------------------------------------------------------------------------------------
def test_what_comes_within_two_seconds_of_the_first_trip_follows_it(desk):
    """Narrative of the machine: the first cause is kept, followers of one cause stand under it."""
    desk.see(1_000, "LINE", place="FAULT", first_out="LINE")
    desk.see(3_000, "LINE", "AIR_LOW", place="FAULT", first_out="LINE")
    desk.see(3_010, "LINE", "AIR_LOW", "FLAP_LOST", place="FAULT", first_out="LINE")
    assert {s.id: s.root for s in desk.alarms.standing()} == {"LINE": "", "AIR_LOW": "LINE", "FLAP_LOST": ""}
    assert desk.calls == [(1_000, "LINE"), (3_010, "FLAP_LOST")]


def test_within_five_seconds_of_the_safety_circuit_air_and_flap_follow_and_others_do_not(desk):
    trip = {"place": "FAULT", "first_out": "CHAIN"}
    desk.see(1_000, "CHAIN", **trip)
    desk.see(6_000, "CHAIN", "AIR_LOW", "LINE", **trip)
    desk.see(6_010, "CHAIN", "AIR_LOW", "LINE", "FLAP_LOST", **trip)
    assert [s.id for s in desk.alarms.standing() if s.root == "CHAIN"] == ["AIR_LOW"]


def test_the_safety_circuit_is_a_root_without_a_trip_too(desk):
    desk.see(1_000, "CHAIN", place="LEVEL_HOLD")
    desk.see(4_000, "CHAIN", "AIR_LOW", place="LEVEL_HOLD")
    assert desk.calls == [(1_000, "CHAIN")]


def test_what_trips_in_the_same_scan_follows_the_first_out_whatever_its_name(desk):
    desk.see(1_000, "AIR_LOW", "FLAP_LOST", "LINE", place="FAULT", first_out="LINE")
    assert desk.calls == [(1_000, "LINE")]
    assert {s.id: s.root for s in desk.alarms.standing()}["FLAP_LOST"] == "LINE"


def test_what_the_safety_circuit_does_not_drag_along_is_no_follower_of_its_warning(desk):
    desk.see(1_000, "CHAIN", place="LEVEL_HOLD")
    desk.see(2_000, "CHAIN", "LINE", place="LEVEL_HOLD")
    assert desk.calls == [(1_000, "CHAIN"), (2_000, "LINE")]


def test_opened_during_another_fault_the_safety_circuit_drags_its_own_along(desk):
    desk.see(1_000, "LINE", place="FAULT", first_out="LINE")
    desk.see(9_000, "LINE", "CHAIN", place="FAULT", first_out="LINE")
    desk.see(11_000, "LINE", "CHAIN", "AIR_LOW", place="FAULT", first_out="LINE")
    assert desk.calls == [(1_000, "LINE"), (9_000, "CHAIN")]
    assert {s.id: s.root for s in desk.alarms.standing()}["AIR_LOW"] == "CHAIN"


def test_after_the_reset_of_the_fault_nothing_follows_it(desk):
    desk.see(1_000, "LINE", place="FAULT", first_out="LINE")
    desk.see(1_500, place="SUCTION")
    desk.see(2_000, "AIR_LOW", place="SUCTION")
    assert desk.calls[-1] == (2_000, "AIR_LOW")


# ---- the whole -----------------------------------------------------------------------------------------
def test_the_most_urgent_stands_first(desk):
    desk.see(1_000, "AIR_LOW")
    desk.see(2_000, "AIR_LOW", "FLAP_LOST")
    assert [s.id for s in desk.alarms.standing()] == ["FLAP_LOST", "AIR_LOW"]


def test_the_dictionary_is_what_is_taken_by_default():
    assert {row.id for row in dictionary()} < set(EVENTS)
    assert Annunciator().take(0, ["LEVEL_HIGH"], "SUCTION") == []  # an event, no alarm
    assert [m.id for m in Annunciator().take(0, ["NO_VACUUM"], "SUCTION")] == ["NO_VACUUM"]


FAULTS = {"IDLE": "", "SUCTION": "", "FAULT": "LINE"}
CHANGES = st.lists(
    st.tuples(
        st.integers(1, 400),
        st.frozensets(st.sampled_from([row.id for row in ROWS])),
        st.sampled_from(["IDLE", "SUCTION", "FAULT"]),
        st.sampled_from(["", "", "acknowledge", "reset", "shelve"]),
    ),
    max_size=25,
)


@given(CHANGES)
def test_fed_every_scan_or_only_on_changes_the_moves_are_the_same(changes):
    def run(every_scan):
        desk, now_ms = Desk(), 0
        seen, place = (), "IDLE"
        desk.see(0, place=place)
        for scans, acting, next_place, act in changes:
            for k in range(1, scans if every_scan else 1):
                desk.see(now_ms + k * 10, *seen, place=place, first_out=FAULTS[place])
            now_ms += scans * 10
            seen, place = acting, next_place
            desk.see(now_ms, *seen, place=place, first_out=FAULTS[place])
            if act == "shelve" and desk.alarms.standing() == []:
                desk.keep(desk.alarms.shelve(now_ms, "anna", "AIR_LOW", 1_234, "noise"))
            elif act in ("acknowledge", "reset"):
                desk.keep(getattr(desk.alarms, act)(now_ms, "anna"))
        return desk.moves

    assert run(every_scan=True) == run(every_scan=False)
