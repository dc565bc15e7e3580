"""
What goes to the broker: records and states as topic and JSON, each after a schema that is shipped.

Pure: neither clock nor socket. Who publishes brings boot id, number, date and monotonic milliseconds. Topics:
`receiver/v1/{site}/{unit}/` and then status, state, tags/TAG, event, alarm/ID, cycle, command, answer.
Delivery is "at least once" but for tags: a message that comes twice bears the same boot, kind and number.
Events and cycles share one count, that of the journal: a number that is missing from both is a line lost.

A number that is not finite becomes null; a value that no schema allows raises `ValueError`, for it is a
mistake of this program and not of the world.
"""

import math
from collections.abc import Container, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

from controller.alarms.states import State
from controller.events import ALARM_IDS, EVENTS, FITTED
from controller.records import CycleRecord, EventRecord, as_document
from controller.reporting.message_models import LONGEST, MODELS
from controller.reporting.station_now import LinkNow, Reading, StationNow
from controller.reporting.views.ne107 import device_status, signal_health
from controller.reporting.views.tr88 import machine_state

ROOT = "receiver/v1"
CONTENT_TYPE = "application/json"
_ALARM_STATES = {state.value for state in State}
_BETWEEN = " -> "


class Message(NamedTuple):
    """One publication."""

    topic: str
    payload: bytes  # JSON in UTF-8
    qos: int
    retain: bool


class Topics(NamedTuple):
    """The topics of one receiver."""

    site: str
    unit: str

    @property
    def base(self) -> str:
        """What all of them begin with."""
        return f"{ROOT}/{self.site}/{self.unit}"

    def of(self, kind: str, name: str = "") -> str:
        """
        The topic of a kind; of tags and alarms with the name.

        >>> Topics("mill", "R-101").of("alarm", "IO_LOST")
        'receiver/v1/mill/R-101/alarm/IO_LOST'
        """
        return "/".join(filter(None, (self.base, kind, name)))


class Head(NamedTuple):
    """What every message begins with."""

    station: str
    boot: str  # UUID of this power-up
    seq: int  # of this kind in this boot; of events and cycles the journal's line, counted over both
    utc: str  # ISO 8601 with its offset; of events, alarms and cycles the record's own is taken
    mono_ms: int  # since power-up; a clock that is set does not move it; of records their own
    simulated: bool  # no machine behind it
    forced: bool  # an input reads other than its wire, or a failure is put in; see `forced_after`


class AlarmNow(NamedTuple):
    """The state of one alarm; `alarm_now` reads it from the journal's line."""

    id: str
    state: str  # words of `alarms.states.State`
    was: str  # before; the same where nothing moved
    utc: str
    at_ms: int
    detail: str = ""


class Answer(NamedTuple):
    """What became of a command that came over the broker."""

    id: str  # that of the command
    command: str
    operator: str
    accepted: bool
    reasons: Sequence[str] = ()  # of a refusal


def rfc3339(utc: str) -> str:
    """
    A date as it stands in messages: UTC, whole milliseconds, Z.

    Raises ValueError: it is no date of ISO 8601, or says no offset.

    >>> rfc3339("2026-01-05T07:30:00.1234+01:30")
    '2026-01-05T06:00:00.123Z'
    """
    date = datetime.fromisoformat(utc)
    if date.tzinfo is None:
        msg = f"{utc}: without an offset from UTC nobody knows when that was"
        raise ValueError(msg)
    return date.astimezone(UTC).isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"


def status(topics: Topics, head: Head, link: LinkNow) -> Message:
    """Whether the receiver is told of: retained, QoS 1. The will is one with `online` false."""
    body = {**link._asdict(), "said": link.said[:LONGEST]}
    return _states(topics.of("status"), "status", head, body)


def state(topics: Topics, head: Head, now: StationNow, readings: Sequence[Reading] = ()) -> Message:
    """Where the receiver stands, with the standard views: retained, QoS 1. `readings`: its wired points."""
    there = machine_state(now)
    device = device_status(now, readings, simulated=head.simulated)
    told = now._asdict()
    forced, alarms = told.pop("forced"), told.pop("standing")
    body = {
        **told,
        "forced_inputs": dict(forced),
        "failures": {name: amount for name, amount in now.failures.items() if math.isfinite(amount)},
        "alarms": alarms,
        "alarm_priority": max((int(EVENTS[name].priority) for name in alarms), default=0),
        "machine_state": {**there._asdict(), "name": there.name, "mode": there.mode},
        "device_status": {
            "number": device.health.number, "name": device.health.words, "letter": str(device.health),
            "because": device.because,
        },
    }  # fmt: skip
    return _states(topics.of("state"), "state", head, body)


def tag(topics: Topics, head: Head, reading: Reading) -> Message:
    """One wired point: not retained, QoS 0."""
    body = reading._asdict()
    forced = body.pop("forced")
    value = reading.value if reading.kind == "4-20 mA" else float(reading.raw)
    body["value"] = finite = _finite(value)
    lost = reading.kind == "4-20 mA" and finite is None
    told = reading._replace(signal="unknown") if lost and reading.signal in ("good", "doubtful") else reading
    body["signal"] = told.signal
    body["q"] = _quality(told.signal, forced=forced, simulated=head.simulated)
    body["status"] = str(signal_health(told, simulated=head.simulated))
    return Message(topics.of("tags", reading.tag), _json("tag", head, body), 0, retain=False)


def event(topics: Topics, head: Head, record: EventRecord) -> Message:
    """A line of the journal: QoS 1, not retained."""
    head = head._replace(utc=record.utc, mono_ms=record.at_ms)
    row = EVENTS.get(record.id)  # a journal of another version may know more
    body = {
        "id": record.id, "what": record.what, "text": row.text if row else "", "priority": record.priority,
        "detail": record.detail,
    }  # fmt: skip
    return Message(topics.of("event"), _json("event", head, body), 1, retain=False)


def alarm_now(record: EventRecord) -> AlarmNow | None:
    """The alarm whose move this line of the journal tells; None where it tells something else."""
    was, between, now = record.what.partition(_BETWEEN)
    if record.id not in ALARM_IDS or not between or {was, now} - _ALARM_STATES:
        return None
    return AlarmNow(record.id, now, was, record.utc, record.at_ms, record.detail)


def alarm(topics: Topics, head: Head, now: AlarmNow, fitted: Container[str] = FITTED) -> Message:
    """One alarm with what to do: retained, QoS 1. `fitted`: the parts of the station, for its words."""
    row = EVENTS[now.id].at(fitted)
    head = head._replace(utc=now.utc, mono_ms=now.at_ms)
    body = {
        "id": row.id, "state": now.state, "was": now.was, "priority": int(row.priority), "text": row.text,
        "cause": row.cause, "action": row.action, "consequence": row.consequence,
        "respond_min": row.respond_min, "detail": now.detail,
    }  # fmt: skip
    return _states(topics.of("alarm", row.id), "alarm", head, body)


def cycle(topics: Topics, head: Head, record: CycleRecord) -> Message:
    """A finished cycle: QoS 1, not retained; its date is that of its end."""
    end = datetime.fromisoformat(record.start_utc) + timedelta(milliseconds=record.ms)
    end_ms = record.start_ms + record.ms
    head = head._replace(utc=end.isoformat(), mono_ms=end_ms, simulated=record.simulated)
    document = as_document(record)
    body = {
        **{name: _finite(value) if isinstance(value, float) else value for name, value in document.items()},
        "start_utc": rfc3339(record.start_utc),
        "steps": tuple(document["steps"]),
        "alarms": record.alarms,
    }
    body.pop("simulated")  # stands in the head
    return Message(topics.of("cycle"), _json("cycle", head, body), 1, retain=False)


def answer(topics: Topics, head: Head, answer: Answer) -> Message:
    """Accepted or refused with the reasons: QoS 1, not retained."""
    body = {**answer._asdict(), "reasons": tuple(answer.reasons)}
    return Message(topics.of("answer"), _json("answer", head, body), 1, retain=False)


def _states(topic: str, kind: str, head: Head, body: Mapping[str, Any]) -> Message:
    return Message(topic, _json(kind, head, body), 1, retain=True)


def _json(kind: str, head: Head, body: Mapping[str, Any]) -> bytes:
    document = {
        "schema": f"receiver.{kind}/1", "ts": rfc3339(head.utc), "mono_ms": head.mono_ms, "boot": head.boot,
        "seq": head.seq, "station": head.station, "simulated": head.simulated, "forced": head.forced, **body,
    }  # fmt: skip
    return MODELS[kind].model_validate(document).model_dump_json(by_alias=True).encode()


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _quality(signal: str, *, forced: bool, simulated: bool) -> str:
    """A person's number is no measurement; then what is bad is bad, simulated or not."""
    if forced:
        return "forced"
    if signal == "old":
        return "stale"
    if signal != "good":
        return "bad"
    return "simulated" if simulated else "good"
