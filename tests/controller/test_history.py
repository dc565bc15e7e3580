"""
`receiver history`: the figures of a journal beside those that a person counts.

The limits: EEMUA 191 / IEC 62682 as public pages quote them (flood above 10 calls in 10 minutes, over under 5;
about 1 in 10 minutes acceptable, 2 manageable); chattering as 3 in 60 s and standing over 24 h from memory.
"""

import csv
import io
import json
import sqlite3
from datetime import UTC, datetime, timedelta

import pytest
from test_journal import cycle, event
from typer.testing import CliRunner

from controller.alarms.move import Move
from controller.alarms.states import Edge, State
from controller.alarms.told import move_told
from controller.cli import app
from controller.history.figures import read
from controller.records import EventRecord
from controller.reporting.journal import Journal
from controller.simulate.alarm_desk import priority

MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000


def utc(at_ms, day=5):
    date = datetime(2025, 12, 31, tzinfo=UTC) + timedelta(days=day, milliseconds=at_ms)
    return date.isoformat(timespec="milliseconds")


def moved(at_ms, name, was, now, edge, root="", day=5):
    move = Move(at_ms, name, was, now, edge, root)
    return EventRecord(at_ms, utc(at_ms, day), name, move.words, priority(move), move.detail)


def call(at_ms, name="NO_VACUUM", day=5):
    """Raised, and acknowledged and gone 20 s later."""
    return [
        moved(at_ms, name, State.NORMAL, State.UNACKNOWLEDGED, Edge.RAISED, day=day),
        moved(at_ms + 20_000, name, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, Edge.ACKNOWLEDGE, day=day),
        moved(at_ms + 20_000, name, State.ACKNOWLEDGED, State.NORMAL, Edge.CLEARED, day=day),
    ]


def written(folder, *calls, lasted=None, boot=""):
    events = sorted((record for records in calls for record in records), key=lambda record: record.at_ms)
    with Journal(folder, boot=boot) as journal:
        journal.add_events(events)
        if lasted is not None:
            journal.lasted(lasted)
    return folder


def invoke(*arguments):
    return CliRunner().invoke(app, [*map(str, arguments)])


def test_the_mean_is_over_the_time_that_the_run_lasted_not_to_its_last_event(tmp_path):
    """Six calls in two hours: 12 periods of ten minutes, 0.5 each."""
    minutes = (1, 12, 14, 30, 31, 58)
    found = read(written(tmp_path, *(call(m * MINUTE) for m in minutes), lasted=2 * HOUR))
    assert (found.alarms.calls, found.alarms.per_10_min, found.alarms.ms) == (6, 0.5, 2 * HOUR)
    assert found.alarms.most_in_10_min == 2
    assert [period.counted for period in found.periods] == [8, 4, 0, 0]
    assert (found.begin_utc, found.end_utc) == (
        "2026-01-05T00:00:00.000+00:00",
        "2026-01-05T02:00:00.000+00:00",
    )
    assert found.by_priority == (("HIGH", 6), ("MEDIUM", 0), ("LOW", 0))


def test_eleven_calls_in_ten_minutes_are_a_flood_until_fewer_than_five_are_left(tmp_path):
    """
    A call each 50 s from minute 60 on; the eleventh comes 500 s after the first. Then silence: the 4 newest
    of 12 are left in the window once the eighth (at 350 s) is ten minutes old: at 950 s.
    """
    ids = ("NO_VACUUM", "FLAP_NOT_CLOSED")
    calls = [call(HOUR + k * 50_000, ids[k % 2]) for k in range(12)]
    found = read(written(tmp_path, *calls, lasted=2 * HOUR))
    (flood,) = found.alarms.floods
    assert flood.end_ms - flood.begin_ms == 450_000
    assert (flood.calls, found.alarms.most_in_10_min) == (12, 12)
    assert found.alarms.in_flood_percent == pytest.approx(100 * 450 / 7_200, abs=0.01)
    said = invoke("history", tmp_path).stdout
    assert "Floods (over 10 calls in 10 min, until under 5), 6.2 % of the time:" in said
    assert "2026-01-05 01:08:20" in said
    assert "2026-01-05 01:15:50" in said


def test_three_calls_of_one_alarm_within_a_minute_chatter(tmp_path):
    calls = [call(MINUTE + k * 25_000) for k in range(3)]
    others = [call(HOUR, "FLAP_NOT_CLOSED"), call(HOUR + 5 * MINUTE, "FLAP_NOT_CLOSED")]
    found = read(written(tmp_path, *calls, *others))
    assert found.alarms.chattering == (("NO_VACUUM", 1),)
    assert found.alarms.top == (("NO_VACUUM", 3, 60.0), ("FLAP_NOT_CLOSED", 2, 40.0))


def test_what_stands_for_over_a_day_is_named_and_what_is_gone_in_nine_seconds_too(tmp_path):
    standing = [moved(MINUTE, "SUPPLY_AIR_LOW", State.NORMAL, State.UNACKNOWLEDGED, Edge.RAISED)]
    short = [
        moved(HOUR, "NO_VACUUM", State.NORMAL, State.UNACKNOWLEDGED, Edge.RAISED),
        moved(HOUR + 9_000, "NO_VACUUM", State.UNACKNOWLEDGED, State.RETURNED, Edge.CLEARED),
    ]
    found = read(written(tmp_path, standing, short, lasted=DAY + 2 * MINUTE))
    assert found.alarms.standing == ("SUPPLY_AIR_LOW",)
    assert found.alarms.fleeting == (("NO_VACUUM", 1),)


def storm(name, times):
    """One call, in which the interlock comes 100 ms after it went, again and again."""
    raised = [EventRecord(k * 100, utc(k * 100), name, "raised", 3, "") for k in range(times)]
    ended = [EventRecord(k * 100 + 50, utc(k * 100 + 50), name, "gone", 0, "") for k in range(times)]
    return [moved(0, name, State.NORMAL, State.UNACKNOWLEDGED, Edge.RAISED), *raised, *ended]


def test_a_storm_within_one_call_is_counted_and_said_and_so_is_what_a_call_is(tmp_path):
    run = written(tmp_path, storm("IO_LOST", 157), call(HOUR), lasted=2 * HOUR)
    found = read(run)
    assert found.raised == (("IO_LOST", 157, 1),)
    said = " ".join(invoke("history", run).output.split())
    assert "IO_LOST raised 157 times in 1 call" in said
    assert "within its off-delay" in said
    assert json.loads(invoke("history", run, "--json").output)["raised"] == {"IO_LOST": 157}


def test_what_came_and_went_calls_nobody_gone_by_its_word_alone(tmp_path):
    short = [
        moved(HOUR, "NO_VACUUM", State.NORMAL, State.UNACKNOWLEDGED, Edge.RAISED),
        moved(HOUR + 9_000, "NO_VACUUM", State.UNACKNOWLEDGED, State.RETURNED, Edge.CLEARED),
    ]
    said = " ".join(invoke("history", written(tmp_path, short, lasted=2 * HOUR)).output.split())
    assert "Over within 10 s, before anybody acts (gone, or looked at no longer): NO_VACUUM (1 time)" in said


def test_a_follower_calls_nobody(tmp_path):
    follower = moved(MINUTE, "NO_VACUUM", State.NORMAL, State.UNACKNOWLEDGED, Edge.RAISED, "SUPPLY_AIR_LOST")
    found = read(written(tmp_path, [follower], call(2 * MINUTE)))
    assert found.alarms.calls == 1


def test_a_second_start_the_next_day_counts_its_own_time_and_begins_without_alarms(tmp_path):
    standing = [moved(MINUTE, "SUPPLY_AIR_LOW", State.NORMAL, State.UNACKNOWLEDGED, Edge.RAISED)]
    written(tmp_path, standing, lasted=HOUR, boot="b1")
    written(tmp_path, call(MINUTE, day=7), lasted=HOUR, boot="b2")
    found = read(tmp_path)
    assert (found.starts, found.alarms.ms, found.alarms.calls) == (2, 2 * HOUR, 2)
    assert found.alarms.per_10_min == pytest.approx(2 / 12, abs=0.001)
    assert found.alarms.standing == ()
    assert (found.begin_utc[:10], found.end_utc[:16]) == ("2026-01-05", "2026-01-07T01:00")


def test_ten_calls_before_a_stop_and_ten_a_day_later_are_no_flood(tmp_path):
    many = [call(k * 10_000) for k in range(10)]
    written(tmp_path, *many, boot="b1")
    written(
        tmp_path, *([record._replace(utc=utc(record.at_ms, 6)) for record in one] for one in many), boot="b2"
    )
    assert read(tmp_path).alarms.floods == ()
    assert read(tmp_path).alarms.most_in_10_min == 10


def test_a_clock_that_was_set_back_between_two_starts_lets_no_time_run_backwards(tmp_path):
    written(tmp_path, call(MINUTE), lasted=HOUR, boot="b1")
    written(tmp_path, *(call(MINUTE * k, day=2) for k in range(1, 4)), lasted=HOUR, boot="b2")
    found = read(tmp_path)
    assert (found.alarms.ms, found.alarms.calls, found.alarms.most_in_10_min) == (2 * HOUR, 4, 3)


def test_where_old_lines_were_removed_the_time_counts_from_the_first_that_is_left(tmp_path):
    """A start of 800 days, of which the last day is left: a call each 5 minutes, 288 in 144 periods."""
    written(
        tmp_path,
        [event()],
        *(call(800 * DAY + k * 5 * MINUTE, day=-794) for k in range(288)),
        lasted=801 * DAY,
    )
    with sqlite3.connect(tmp_path / "journal.sqlite") as db:
        db.execute("DELETE FROM event WHERE n = 1")
    db.close()
    found = read(tmp_path)
    assert (found.alarms.calls, found.alarms.ms, found.alarms.per_10_min) == (288, DAY, 2.0)
    assert [period.counted for period in found.periods] == [0, 144, 0, 0]
    assert (found.begin_utc[:16], found.end_utc[:16]) == ("2026-01-06T00:00", "2026-01-07T00:00")


def test_an_alarm_that_stood_for_a_day_and_more_is_named_although_it_is_gone_and_the_controller_restarted(
    tmp_path,
):
    def raised(at_ms, day):
        return moved(at_ms, "SUPPLY_AIR_LOW", State.NORMAL, State.UNACKNOWLEDGED, Edge.RAISED, day=day)

    written(tmp_path, [raised(MINUTE, 5)], lasted=20 * HOUR, boot="b1")
    gone = moved(5 * HOUR, "SUPPLY_AIR_LOW", State.UNACKNOWLEDGED, State.RETURNED, Edge.CLEARED, day=6)
    written(tmp_path, [raised(MINUTE, 6), gone], lasted=9 * HOUR, boot="b2")
    assert read(tmp_path).alarms.standing == ("SUPPLY_AIR_LOW",)
    assert read(tmp_path).alarms.fleeting == ()


def test_a_start_whose_clock_was_set_bears_the_dates_of_the_right_one(tmp_path):
    """Powered up without a clock, in 1970; after an hour the time came from the network."""
    changed = EventRecord(HOUR, utc(12 * HOUR), "CLOCK_CHANGED", "set by +56 years", 0, "")
    wrong = [record._replace(utc="1970-01-01T00:01:00.000+00:00") for record in call(MINUTE)]
    written(tmp_path, wrong, [changed], call(2 * HOUR), lasted=3 * HOUR)
    found = read(tmp_path)
    assert (found.begin_utc[:16], found.end_utc[:16]) == ("2026-01-05T11:00", "2026-01-05T14:00")
    assert (found.alarms.ms, found.alarms.calls) == (3 * HOUR, 2)


@pytest.mark.parametrize("was", State)
@pytest.mark.parametrize("root", ["", "LINE"])
def test_a_move_is_read_back_from_the_line_that_tells_it(was, root):
    for now in State:
        for edge in Edge:
            move = Move(70, "NO_VACUUM", was, now, edge, root, "operator at the panel", "air; in service")
            assert move_told(70, move.id, move.words, move.detail) == move._replace(by="", why="")


# ---- beside the run itself -----------------------------------------------------------------------------
def test_the_history_of_a_simulated_run_is_what_the_run_said_of_its_alarms(tmp_path):
    out = tmp_path / "run"
    done = invoke(
        "simulate", "buckwheat_mill", "--for", "20m", "--fail", "line_blocked@3m+2m", "--fail",
        "flap_sticks_closed@9m", "--reset-after", "30s", "--out", out, "--json",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)["totals"]["alarm_load"]
    history = json.loads(invoke("history", out, "--json").stdout)
    assert said["calls"] >= 2
    for figure in (
        "calls",
        "per_10_min",
        "most_in_10_min",
        "ms",
        "top",
        "chattering",
        "fleeting",
        "standing",
    ):
        assert history["alarms"][figure] == said[figure], figure
    assert history["about"]["simulated"] is True


# ---- the command ---------------------------------------------------------------------------------------
def test_an_empty_journal_and_a_quiet_one_have_a_history(tmp_path):
    written(tmp_path)
    assert "Alarms: 0 calls, 0.00 in 10 min: acceptable" in invoke("history", tmp_path).stdout
    written(tmp_path, [event()])
    said = invoke("history", tmp_path).stdout
    assert "Floods (over 10 calls in 10 min, until under 5): none." in said
    assert "Standing for more than a day: none." in said


def test_the_csv_has_every_event_with_its_number_and_no_cycle(tmp_path):
    with Journal(tmp_path, boot="b1") as journal:
        journal.add_events([event()])
        journal.add_cycle(cycle(1))
        journal.add_events([event()._replace(detail='a "word", and\na line')])
    rows = list(csv.DictReader(io.StringIO(invoke("history", tmp_path, "--csv").stdout)))
    assert [row["n"] for row in rows] == ["1", "3"]
    assert [row["boot"] for row in rows] == ["b1", "b1"]
    assert EventRecord(**{name: rows[1][name] for name in EventRecord._fields})._replace(
        at_ms=int(rows[1]["at_ms"]), priority=int(rows[1]["priority"])
    ) == event()._replace(detail='a "word", and\na line')


def test_lines_that_went_untold_are_said(tmp_path):
    written(tmp_path, [event()])
    journal = Journal(tmp_path)
    journal._marks["removed untold", ""] = 512
    journal.close()
    assert "512 lines went before they were told" in invoke("history", tmp_path).stdout


def test_what_cannot_be_is_refused(tmp_path):
    written(tmp_path, [event()])
    assert "choose one" in invoke("history", tmp_path, "--csv", "--json").stderr
    done = invoke("history", tmp_path / "none")
    assert (done.exit_code, "no such file; a run folder holds a journal.sqlite" in done.stderr) == (2, True)


def test_without_duckdb_the_extra_is_named(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "duckdb", None)
    written(tmp_path, [event()])
    done = invoke("history", tmp_path, "--parquet", tmp_path / "events.parquet")
    assert done.exit_code == 2
    assert "needs duckdb, which is not installed" in done.stderr
    assert "[parquet]" in done.stderr
    assert not (tmp_path / "events.parquet").exists()


def test_the_parquet_file_holds_every_event_as_it_was_and_is_never_written_over(tmp_path):
    duckdb = pytest.importorskip("duckdb", reason="needs the extra `parquet`")
    odd = event()._replace(detail='a "word", \\N and\na line', what="")
    written(tmp_path, [event(), odd], boot="b1")
    path = tmp_path / "it's.parquet"
    done = invoke("history", tmp_path, "--parquet", path)
    assert done.exit_code == 0, done.output
    assert done.stdout.endswith("2 events\n")
    rows = duckdb.read_parquet(str(path)).order("n").fetchall()
    assert [row[:3] for row in rows] == [(1, "b1", 10), (2, "b1", 10)]
    assert rows[0][3].timestamp() == 1_767_592_800
    assert [row[4:] for row in rows] == [event()[2:], odd[2:]]
    again = invoke("history", tmp_path, "--parquet", path)
    assert (again.exit_code, "File exists" in again.stderr) == (2, True)
