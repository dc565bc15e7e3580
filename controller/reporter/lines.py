"""
What passes between the rig and its reporter: one JSON array on a line, its kind first.

    rig to reporter   open   what this is, and where it is written: the first line of a connection
                      event, cycle, deed   a record with its number; each stays with the rig until it is taken
                      now, points, figures   of this moment; a newer one takes the place of one that waits
                      ran   the milliseconds since power-up, each minute
                      answer   what became of a command
                      end   there will be no more; why
    reporter to rig   ready   it is open; up to which number it had taken the records of this start before
                      no   it cannot be opened; why
                      taken   up to which number the records are on the disk; said every second besides
                      never   the number of a record that can never be written, and counts as taken; why
                      ask   a command from elsewhere
                      problem, problem over, say   words for people
"""

import json
from collections.abc import Sequence
from typing import Any, NamedTuple

from controller.records import CycleRecord, Deed, EventRecord, as_document, from_document

Record = EventRecord | CycleRecord | Deed


class Opening(NamedTuple):
    """What a reporter is to do, and for whom."""

    run: str  # folder of journal and audit log; empty: none is written
    kept: bool  # that folder goes on over all starts
    station: str  # folder of the station, with its points
    services: str  # whom it tells, as the rig read it at its start: a `Services` in JSON
    fitted: Sequence[str]  # the parts of the station, for the words of its alarms
    name: str
    boot: str  # UUID of this power-up
    software: str
    io: str  # what the station runs on, in words
    simulated: bool
    rate: float  # seconds of the station in one of the room
    old_ms: int  # an image older than this is not to be trusted
    broker: bool  # the one of `services` is in the reporter's process


class Numbered(NamedTuple):
    """A record as it came."""

    number: int
    record: Record


def line(kind: str, *values: Any) -> bytes:
    """
    A line with its end.

    >>> line("taken", 12)
    b'["taken",12]\\n'
    """
    return json.dumps([kind, *values], separators=(",", ":")).encode("ascii") + b"\n"


def record_line(number: int, record: Record) -> bytes:
    """A record with its number."""
    if isinstance(record, EventRecord):
        return line("event", number, record)
    if isinstance(record, CycleRecord):
        return line("cycle", number, as_document(record))
    return line("deed", number, record)


def read(raw: bytes) -> tuple[str, list[Any]]:
    """
    Kind and values of a line.

    Raises:
        ValueError: It is none.
    """
    found = json.loads(raw)
    if not isinstance(found, list) or not found or not isinstance(found[0], str):
        msg = f"{raw[:60]!r} is no line of the channel"
        raise ValueError(msg)
    return found[0], found[1:]


def read_record(kind: str, values: list[Any]) -> Numbered | None:
    """The record of a line; None where it bears none."""
    if kind == "event":
        return Numbered(values[0], EventRecord(*values[1]))
    if kind == "cycle":
        return Numbered(values[0], from_document(values[1]))
    if kind == "deed":
        deed = Deed(*values[1])
        return Numbered(values[0], deed._replace(reasons=tuple(deed.reasons)))
    return None
