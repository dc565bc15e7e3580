"""
What reporting is told of a running station besides its records: where it stands, and each wired point.

Plain values, so that they pass between processes; whoever runs the station fills them in. The words are
those of the panel socket.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal, NamedTuple

State = Literal["IDLE", "SUCTION", "EMPTYING", "FILTER_CLEAN", "LEVEL_HOLD", "FAULT"]
Order = Literal["none", "run", "clean", "empty"]
Signal = Literal["good", "doubtful", "failed", "old", "unknown"]
Kind = Literal["contact", "4-20 mA", "output"]

NOTHING: Mapping[str, int] = MappingProxyType({})
NO_FAILURE: Mapping[str, float] = MappingProxyType({})


class Reading(NamedTuple):
    """One wired point, as of a scan."""

    tag: str  # on the drawing: "PT-101"
    name: str  # in the process image
    description: str
    kind: Kind
    signal: Signal  # how far the signal itself can be trusted, after NAMUR NE 43
    raw: int  # what the sequence read: 0 or 1, or whole microamperes
    value: float | None  # in `unit`; None for contacts and outputs, and where no value can be trusted
    unit: str
    forced: bool = False


class StationNow(NamedTuple):
    """Where a station stands, as of a scan."""

    state: State
    step: str
    told: str = ""  # in a hold its reason in words, in a fault the id of its first-out
    order: Order = "none"  # what was asked for at rest and is being done
    runs_on: bool = False  # the run latch: another batch follows; off after a stop, while the last ends
    ready: bool = True  # at rest: nothing refuses a start
    remote_in_control: bool = False  # the remote place has control, not the machine
    manual: bool = False
    held: str = ""  # the output that is held in manual mode
    forced: Mapping[str, int] = NOTHING  # inputs that read other than their wire, and what they read
    failures: Mapping[str, float] = NO_FAILURE  # put into the simulated plant, with their amounts
    acting: tuple[str, ...] = ()  # ids of the interlocks that act
    standing: tuple[str, ...] = ()  # ids of the alarms that are not normal
    due: tuple[str, ...] = ()  # counters of wear over their limit
    rate: float = 1.0  # seconds of the station in one of the room; other than 1 only simulated


class LinkNow(NamedTuple):
    """What the publishing side says of itself."""

    online: bool
    said: str  # why, in words: "started", "the controller ended", "the connection was lost"
    software: str
    io: str  # what the station runs on: "simulated", "modbus 127.0.0.1:1502"
    commands: Literal["refused", "allowed"] = "refused"  # over the broker
    waiting: int = 0  # events and cycle records that no broker has acknowledged yet
    tags_dropped: int = 0  # in this boot
    lines_removed: int = 0  # events and cycle records that left a journal of twice its size untold
    commands_unheard: int = 0  # since it publishes: no answer: too many, too large, of nobody, or not taken
