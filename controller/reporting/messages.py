"""
What goes to the broker: records and states as topic and JSON, each after a schema that is shipped.

Pure: neither clock nor socket. Who publishes brings boot id, number, date and monotonic milliseconds. Topics:
`receiver/v1/{site}/{unit}/` and then status, state, tags/TAG, event, alarm/ID, cycle, command, answer.
Delivery is "at least once" but for tags: a message that comes twice bears the same boot, kind and number.
"""

from collections.abc import Container, Sequence
from datetime import datetime
from typing import NamedTuple

from controller.events import FITTED
from controller.records import CycleRecord, EventRecord
from controller.reporting.station_now import LinkNow, Reading, StationNow

ROOT = "receiver/v1"
CONTENT_TYPE = "application/json"


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
    seq: int  # counts the messages of one kind in this boot; a repeat is a duplicate, a gap in events a loss
    utc: str  # ISO 8601 with its offset; of events and cycles the record's own is taken
    mono_ms: int  # since power-up; a clock that is set does not move it; of records their own
    simulated: bool  # no machine behind it
    forced: bool  # an input reads other than its wire, or a failure is put in


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
    """A date of a record as it stands in messages. Raises ValueError: no date, or without its offset."""
    raise NotImplementedError


def status(topics: Topics, head: Head, link: LinkNow) -> Message:
    """Whether the receiver is told of: retained, QoS 1. The will is one with `online` false."""
    raise NotImplementedError


def state(topics: Topics, head: Head, now: StationNow) -> Message:
    """Where the receiver stands, with the standard views: retained, QoS 1."""
    raise NotImplementedError


def tag(topics: Topics, head: Head, reading: Reading) -> Message:
    """One wired point: not retained, QoS 0."""
    raise NotImplementedError


def event(topics: Topics, head: Head, record: EventRecord) -> Message:
    """A line of the journal: QoS 1, not retained."""
    raise NotImplementedError


def alarm_now(record: EventRecord) -> AlarmNow | None:
    """The alarm whose move this line of the journal tells; None where it tells something else."""
    raise NotImplementedError


def alarm(topics: Topics, head: Head, now: AlarmNow, fitted: Container[str] = FITTED) -> Message:
    """One alarm with what to do: retained, QoS 1. `fitted`: the parts of the station, for its words."""
    raise NotImplementedError


def cycle(topics: Topics, head: Head, record: CycleRecord) -> Message:
    """A finished cycle: QoS 1, not retained; its date is that of its end."""
    raise NotImplementedError


def answer(topics: Topics, head: Head, answer: Answer) -> Message:
    """Accepted or refused with the reasons: QoS 1, not retained."""
    raise NotImplementedError


_ = datetime
