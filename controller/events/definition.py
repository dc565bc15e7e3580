"""
What one row of the event dictionary says, and the classes of alarms.

The attributes are those that IEC 62682 (ISA-18.2) asks of the documentation of each alarm, as far as they
fit one machine; from memory of that standard. Tag, limit, deadband and delay of the condition are the
interlock's own: they stand in its tables and presets.
"""

from collections.abc import Container
from enum import IntEnum
from typing import NamedTuple

MINUTE_MS, HOUR_MS = 60_000, 3_600_000


class Priority(IntEnum):
    """How soon the operator is needed."""

    INFO = 0  # not at all
    LOW = 1  # at the next round
    MEDIUM = 2  # the receiver waits, or soon will
    HIGH = 3  # the receiver stands


class AlarmClass(NamedTuple):
    """Alarms that are handled alike. The times are common practice, no source."""

    name: str
    off_ms: int  # off-delay: the condition must be gone for so long; a flutter is one alarm, not ten
    shelf_max_ms: int  # longest time on the shelf; 0 = never shelved
    why: str


STANDS = AlarmClass("machine stands", 2_000, 0, "never on the shelf; looked at anew in fault, it calls once")
PROCESS = AlarmClass("process", 5_000, 8 * HOUR_MS, "comes and goes with product and air; a shift at most")
INSTRUMENT = AlarmClass("instrument", 10_000, 8 * HOUR_MS, "a loose wire flutters; a shift at most")
UPKEEP = AlarmClass("maintenance", 60_000, 24 * HOUR_MS, "one report for a whole run; a day at most")
NO_ALARM = AlarmClass("event", 0, 0, "nothing to do: written down, not announced")


class If(NamedTuple):
    """A piece of a text that is said only where the station has a part, one of `FITTED`."""

    part: str
    text: str


Text = str | tuple[str | If, ...]
"""A text, or its pieces in order; each piece brings its own comma or semicolon."""

FITTED = (
    "ejector", "motor", "bypass", "vent", "line purge", "driven flap", "hanging flap", "two coils",
    "spring", "closed switch", "open switch", "open switch alone", "vacuum transmitter", "vacuum switch",
    "clean side", "dp on the clean side", "low probe", "delivered count", "pulse groups",
)  # fmt: skip
"""The parts that texts ask for."""


def text_at(text: Text, fitted: Container[str] = FITTED) -> str:
    """
    A text as it reads where these parts are fitted; without them, where all are.

    >>> text_at(("hose off", If("motor", ", wrong rotation"), "; leak"), ("vent",))
    'hose off; leak'
    """
    pieces = (text,) if isinstance(text, str) else text
    return "".join(
        piece if isinstance(piece, str) else piece.text
        for piece in pieces
        if isinstance(piece, str) or piece.part in fitted
    )


class EventDef(NamedTuple):
    """One row of the dictionary."""

    id: str
    priority: Priority
    text: str  # what is the case
    cause: Text  # what it usually comes from, the commonest first
    action: Text  # what the operator does
    kind: AlarmClass = NO_ALARM
    consequence: str = ""  # what follows if nobody acts
    respond_min: int = 0  # time to respond: in it the consequence can still be kept off or small
    on_ms: int = 0  # on-delay of the alarm, over that of the interlock; never where it may trip
    again_ms: int = 0  # re-alarm: acknowledged and standing for so long, it calls again; 0 = never
    quiet_in: tuple[str, ...] = ()  # states of the sequence in which it is suppressed by design
    followers: tuple[str, ...] = ()  # ids, by their beginning, that this one drags along for a while

    def at(self, fitted: Container[str]) -> "EventDef":
        """The row where these parts are fitted."""
        return self._replace(cause=text_at(self.cause, fitted), action=text_at(self.action, fitted))

    @property
    def is_alarm(self) -> bool:
        """Whether it needs a person; no action, no alarm."""
        return self.priority > Priority.INFO and self.kind is not NO_ALARM
