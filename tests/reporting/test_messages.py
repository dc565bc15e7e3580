"""What goes to the broker, held against its shipped schema by an independent validator."""

import json
import math
from datetime import datetime, timedelta, timezone
from functools import cache
from pathlib import Path
from typing import get_args

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reporting.told import BOOT, HEAD, LINK, TOPICS, told_run

from controller.alarms.states import State as AlarmState
from controller.events import ALARM_IDS, EVENTS, INTERLOCK_IDS
from controller.records import CycleRecord, EventRecord, StepTaken
from controller.reporting import messages
from controller.reporting.message_models import MODELS
from controller.reporting.messages import AlarmNow, Answer, Head, rfc3339
from controller.reporting.station_now import Kind, LinkNow, Order, Reading, Signal, State, StationNow

SCHEMAS = Path(__file__).parents[2] / "configs" / "schemas" / "mqtt"


@cache
def validator(kind):
    schema = json.loads((SCHEMAS / f"{kind}.schema.json").read_text(encoding="utf-8"))
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    return jsonschema.Draft202012Validator(schema)


def no_constant(name):
    pytest.fail(f"{name} is not JSON (RFC 8259)")


def read(kind, message):
    """The document, after the shipped schema; strict JSON (RFC 8259: no NaN, no Infinity)."""
    document = json.loads(message.payload.decode("utf-8"), parse_constant=no_constant)
    validator(kind).validate(document)
    assert document["schema"] == f"receiver.{kind}/1"
    assert document["ts"].endswith("Z")
    assert datetime.fromisoformat(document["ts"]).utcoffset().total_seconds() == 0
    assert isinstance(document["simulated"], bool)
    assert isinstance(document["forced"], bool)
    return document


# ---- schemas ---------------------------------------------------------------------------------------------
def objects(node):
    if isinstance(node, dict):
        if node.get("type") == "object" and "properties" in node:
            yield node
        for item in node.values():
            yield from objects(item)
    elif isinstance(node, list):
        for item in node:
            yield from objects(item)


@pytest.mark.parametrize("kind", MODELS)
def test_a_schema_leaves_nothing_open_and_asks_for_everything(kind):
    for found in objects(validator(kind).schema):
        assert found["additionalProperties"] is False
        assert set(found["required"]) == set(found["properties"])


def test_a_strange_key_a_missing_one_and_a_local_time_are_refused_by_the_schema():
    good = read("status", messages.status(TOPICS, HEAD, LINK))
    for bad in (
        {**good, "more": 1},
        {key: value for key, value in good.items() if key != "boot"},
        {**good, "ts": "2026-01-05T07:00:00.000+01:00"},
        {**good, "simulated": "no"},
    ):
        with pytest.raises(jsonschema.ValidationError):
            validator("status").validate(bad)


# ---- of a real run ---------------------------------------------------------------------------------------
def test_every_line_of_a_run_is_a_valid_event_with_its_own_time():
    run = told_run()
    assert run.totals.trips
    for number, record in enumerate(run.events):
        message = messages.event(TOPICS, HEAD._replace(seq=number), record)
        document = read("event", message)
        assert (message.topic, message.qos, message.retain) == ("receiver/v1/mill/R-101/event", 1, False)
        assert (document["seq"], document["mono_ms"]) == (number, record.at_ms)
        assert datetime.fromisoformat(document["ts"]) == datetime.fromisoformat(record.utc)
        assert (document["id"], document["what"], document["detail"]) == (
            record.id,
            record.what,
            record.detail,
        )


def test_every_cycle_of_a_run_is_valid_and_says_what_the_record_says():
    run = told_run()
    assert {record.result.split()[0] for record in run.cycles} >= {"complete", "trip"}
    for record in run.cycles:
        message = messages.cycle(TOPICS, HEAD, record)
        document = read("cycle", message)
        assert (message.topic, message.qos, message.retain) == ("receiver/v1/mill/R-101/cycle", 1, False)
        assert document["mono_ms"] == record.start_ms + sum(step["ms"] for step in document["steps"])
        began = datetime.fromisoformat(document["start_utc"])
        assert round((datetime.fromisoformat(document["ts"]) - began).total_seconds() * 1_000) == record.ms
        for name in CycleRecord._fields:
            if name not in ("steps", "alarms", "start_utc"):
                assert document[name] == getattr(record, name), name
        assert document["steps"] == [step._asdict() for step in record.steps]


def test_the_moves_of_the_alarms_of_a_run_are_told_and_retained_with_what_to_do():
    moves = [(record, messages.alarm_now(record)) for record in told_run().events]
    told = [(record, now) for record, now in moves if now]
    assert {now.state for _, now in told} >= {"unacknowledged", "normal"}
    for record, now in told:
        message = messages.alarm(TOPICS, HEAD, now)
        document = read("alarm", message)
        assert message.topic == f"receiver/v1/mill/R-101/alarm/{record.id}"
        assert (message.qos, message.retain) == (1, True)
        assert record.what == f"{document['was']} -> {document['state']}"
        assert document["action"]
        assert document["mono_ms"] == record.at_ms


def test_an_event_of_another_version_is_told_without_its_text():
    record = told_run().events[0]._replace(id="NOT_YET_INVENTED")
    assert read("event", messages.event(TOPICS, HEAD, record))["text"] == ""


def test_steps_commands_and_interlocks_are_no_moves_of_an_alarm():
    assert all(
        messages.alarm_now(record) is None
        for record in told_run().events
        if record.id not in ALARM_IDS or record.what.startswith(("raised", "gone", "no longer looked at"))
    )


@pytest.mark.parametrize("what", ["raised", "normal -> open", "shut -> normal", "normal", " -> ", ""])
def test_only_two_of_the_nine_states_make_a_move(what):
    assert messages.alarm_now(EventRecord(0, "2026-01-05T06:00:00Z", "NO_VACUUM", what, 3, "")) is None


def test_the_states_of_a_run_are_valid_retained_and_say_trip_and_views():
    run, seen = told_run(), {}
    for at_ms, now in run.nows:
        message = messages.state(TOPICS, HEAD._replace(mono_ms=at_ms), now, run.readings[0])
        assert (message.topic, message.qos, message.retain) == ("receiver/v1/mill/R-101/state", 1, True)
        document = read("state", message)
        seen[document["state"]] = document
    assert set(seen) == {"IDLE", "SUCTION", "EMPTYING", "FILTER_CLEAN", "FAULT"}
    assert seen["FAULT"]["told"] == run.totals.trips[0].id
    assert seen["FAULT"]["machine_state"]["number"] == 9
    assert seen["FAULT"]["device_status"]["letter"] == "F"
    assert run.totals.trips[0].id in seen["FAULT"]["device_status"]["because"]
    assert seen["SUCTION"]["device_status"]["letter"] == "C"  # a simulated receiver is not the process


def test_every_wired_point_of_a_run_is_a_valid_tag():
    tags = {}
    for readings in told_run().readings:
        for reading in readings:
            message = messages.tag(TOPICS, HEAD, reading)
            assert (message.topic, message.qos) == (f"receiver/v1/mill/R-101/tags/{reading.tag}", 0)
            assert not message.retain
            tags[reading.name] = read("tag", message)
    assert len(tags) == len(told_run().station.points.points)
    assert {tag["q"] for tag in tags.values()} == {"simulated"}
    assert tags["vacuum_ua"]["unit"] == "kPa vacuum"
    assert tags["stop_healthy"]["value"] == 1


# ---- quality ---------------------------------------------------------------------------------------------
VACUUM = Reading("PT-101", "vacuum_ua", "body vacuum", "4-20 mA", "good", 12_000, 25.0, "kPa vacuum")


@pytest.mark.parametrize(
    ("change", "simulated", "q", "status"),
    [
        ({}, False, "good", "N"),
        ({}, True, "simulated", "C"),
        ({"forced": True}, False, "forced", "C"),
        ({"forced": True, "signal": "failed", "value": None}, True, "forced", "F"),
        ({"signal": "failed", "value": None}, True, "bad", "F"),
        ({"signal": "unknown", "value": None}, False, "bad", "F"),
        ({"signal": "old"}, True, "stale", "F"),
        ({"signal": "doubtful"}, False, "bad", "S"),
        ({"value": math.nan}, False, "bad", "F"),
        ({"value": math.inf}, False, "bad", "F"),
    ],
)
def test_the_quality_of_a_tag(change, simulated, q, status):
    document = read(
        "tag", messages.tag(TOPICS, HEAD._replace(simulated=simulated), VACUUM._replace(**change))
    )
    assert (document["q"], document["status"]) == (q, status)


def test_what_is_forced_is_seen_in_every_message_and_named_in_the_state():
    head = HEAD._replace(simulated=False, forced=True)
    now = StationNow(
        "IDLE", "REST", forced={"level_free": 0}, failures={"flap_sticks": math.nan, "leak": 0.5}
    )
    state = read("state", messages.state(TOPICS, head, now))
    assert state["forced_inputs"] == {"level_free": 0}
    assert state["failures"] == {"leak": 0.5}
    assert state["device_status"]["letter"] == "C"
    assert read("status", messages.status(TOPICS, head, LINK))["forced"]


def test_the_will_is_the_status_retained_with_nobody_online_and_bears_its_boot():
    message = messages.status(TOPICS, HEAD, LINK._replace(online=False, said="x" * 1_000))
    document = read("status", message)
    assert (message.topic, message.qos, message.retain) == ("receiver/v1/mill/R-101/status", 1, True)
    assert (document["online"], document["boot"]) == (False, BOOT)


# ---- dates -----------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("date", "told"),
    [
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520Z"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57.000Z"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870Z"),
    ],
)
def test_the_examples_of_rfc_3339_section_5_8_are_told_in_utc(date, told):
    """Their sense in UTC as the RFC says it; the examples are from memory of that section."""
    assert rfc3339(date) == told


def test_a_date_without_an_offset_is_refused():
    with pytest.raises(ValueError, match="without an offset"):
        rfc3339("2026-01-05T06:00:00")


# ---- of anything that the types allow --------------------------------------------------------------------
TEXT = st.text(max_size=12)
NAMES = st.text(min_size=1, max_size=12)
COUNT = st.integers(0, 2**53 - 1)
NUMBER = st.floats() | st.none()
MAYBE = st.none() | COUNT
DATES = st.builds(
    lambda seconds, minutes: datetime.fromtimestamp(seconds, timezone(timedelta(minutes=minutes))).isoformat(),
    st.floats(0, 7e9), st.integers(-1_439, 1_439),
)  # fmt: skip
HEADS = st.builds(Head, NAMES, st.uuids().map(str), COUNT, DATES, COUNT, st.booleans(), st.booleans())
IDS = st.lists(st.sampled_from(INTERLOCK_IDS), max_size=4).map(tuple)


def one_of(literal):
    return st.sampled_from(get_args(literal))


NOWS = st.builds(
    StationNow, one_of(State), NAMES, TEXT, one_of(Order), st.booleans(), st.booleans(), st.booleans(),
    st.booleans(), TEXT,
    st.dictionaries(NAMES, st.integers(0, 24_000), max_size=3), st.dictionaries(NAMES, st.floats(), max_size=3),
    IDS, IDS, st.lists(NAMES, max_size=3).map(tuple), st.floats(0.01, 1_000),
)  # fmt: skip
READINGS = st.builds(
    Reading, st.from_regex(r"\A[A-Z]{1,5}-[0-9]{1,5}\Z"), NAMES, TEXT, one_of(Kind), one_of(Signal),
    st.integers(0, 65_535), NUMBER, TEXT, st.booleans(),
)  # fmt: skip
LINKS = st.builds(
    LinkNow,
    st.booleans(),
    st.text(max_size=600),
    TEXT,
    TEXT,
    st.sampled_from(["refused", "allowed"]),
    *[COUNT] * 4,
)
EVENT_RECORDS = st.builds(
    EventRecord, COUNT, DATES, st.sampled_from(list(EVENTS)), TEXT, st.integers(0, 3), st.text(max_size=200)
)
ALARMS = st.builds(
    AlarmNow,
    st.sampled_from(ALARM_IDS),
    st.sampled_from([s.value for s in AlarmState]),
    TEXT,
    DATES,
    COUNT,
    TEXT,
)
STEPS = st.lists(st.builds(StepTaken, NAMES, st.integers(0, 10**9), TEXT), max_size=4).map(tuple)
CYCLES = st.builds(
    CycleRecord, COUNT, TEXT, DATES, st.integers(0, 10**12), STEPS, TEXT, TEXT, MAYBE, MAYBE, MAYBE, MAYBE, MAYBE,
    MAYBE, MAYBE, MAYBE, MAYBE, COUNT, MAYBE, MAYBE, NUMBER, NUMBER, NUMBER, COUNT, COUNT, TEXT, st.booleans(),
    st.lists(TEXT, max_size=3).map(tuple), TEXT, TEXT, st.booleans(),
)  # fmt: skip
ANSWERS = st.builds(
    Answer, st.from_regex(r"\A[A-Za-z0-9_.:-]{8,64}\Z"), TEXT, TEXT, st.booleans(), st.lists(TEXT, max_size=3)
)
EVERY = {
    "status": st.tuples(LINKS), "state": st.tuples(NOWS, st.lists(READINGS, max_size=3)),
    "tag": st.tuples(READINGS), "event": st.tuples(EVENT_RECORDS), "alarm": st.tuples(ALARMS),
    "cycle": st.tuples(CYCLES), "answer": st.tuples(ANSWERS),
}  # fmt: skip


def test_every_kind_that_is_published_is_tried():
    assert {*EVERY, "command"} == {*MODELS}


@pytest.mark.parametrize("kind", EVERY)
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_whatever_the_types_allow_is_valid_and_never_nan(kind, data):
    told = data.draw(EVERY[kind])
    message = getattr(messages, kind)(TOPICS, data.draw(HEADS), *told)
    read(kind, message)
    assert message.topic.startswith("receiver/v1/mill/R-101/")
    assert not set("+#\0") & set(message.topic)  # MQTT 5.0, clause 4.7: never in the name of a topic
    assert message.retain == (kind in ("status", "state", "alarm"))
