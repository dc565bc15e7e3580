"""
Which commands from the broker are done: each one once, in its time, and not too many.

A broker keeps and repeats what it was given. So what was retained, what is over its time, what was issued
before this program started and what has come before does nothing, and who floods hears nothing.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import NamedTuple

from controller.reporting.commands import Unreadable, read_command
from controller.reporting.message_models import CommandAsked
from controller.reporting.messages import Answer
from controller.reporting.mqtt.connection import LARGEST_BYTES

LONGEST = timedelta(seconds=10)
"""A command is good for at most so long."""
AHEAD = timedelta(seconds=2)
"""The sender's clock may be so much before this one."""


class Rate:
    """Up to `burst` at once, and `per_s` a second in the long run."""

    def __init__(self, burst: int, per_s: float) -> None:
        self._burst, self._per_s = float(burst), per_s
        self._left, self._at_s = float(burst), 0.0

    def takes(self, now_s: float) -> bool:
        """Whether one more is within it; it counts."""
        self._left = min(self._burst, self._left + (now_s - self._at_s) * self._per_s)
        self._at_s = now_s
        if self._left < 1:
            return False
        self._left -= 1
        return True


class Refused(NamedTuple):
    """Not done."""

    answer: Answer
    asked: CommandAsked | None  # where it could be read


class Gate:
    """Judges each command that comes; `answered` says what became of one that was let through."""

    def __init__(self, date: Callable[[], datetime], now_s: Callable[[], float]) -> None:
        """`date`: of this machine, with its offset. `now_s`: seconds that no setting of the clock moves."""
        self._date, self._now_s = date, now_s
        self._not_before = date() + AHEAD  # an earlier one may have been done by whoever ran before
        self._commands, self._stops, self._refusals = Rate(5, 1), Rate(20, 10), Rate(5, 1)
        self._seen: dict[str, tuple[datetime, Answer | None]] = {}
        self.unheard = 0
        """What was dropped without an answer: too large, nobody to answer, or too many."""

    def judge(self, payload: bytes, *, retained: bool) -> CommandAsked | Refused | Answer | None:
        """The command to be done; or why not; or what was answered before; None: nothing is said."""
        if len(payload) > LARGEST_BYTES:
            self.unheard += 1
            return None
        asked = read_command(payload)
        if isinstance(asked, Unreadable):
            return self._refuse(asked.why, asked.id)
        date = self._date()
        self._seen = {id: seen for id, seen in self._seen.items() if seen[0] >= date}
        if asked.id in self._seen and not retained:
            return self._seen[asked.id][1]
        if why := self._why_not(asked, date, retained=retained):
            return self._refuse(why, asked.id, asked)
        rate = self._stops if asked.command in ("stop", "halt") else self._commands
        if not rate.takes(self._now_s()):
            return self._refuse("too many commands: one a second is taken", asked.id, asked)
        self._seen[asked.id] = (datetime.fromisoformat(asked.expires_at), None)
        return asked

    def answered(self, answer: Answer) -> None:
        """The same command once more gets the same answer, and does nothing."""
        if answer.id in self._seen:
            self._seen[answer.id] = (self._seen[answer.id][0], answer)

    def _why_not(self, asked: CommandAsked, date: datetime, *, retained: bool) -> str:
        if retained:
            return "was retained by the broker: a command is sent without the retain flag"
        issued, expires = (datetime.fromisoformat(stamp) for stamp in (asked.issued_at, asked.expires_at))
        if expires - issued > LONGEST or expires < issued:
            return f"expires_at must be after issued_at, by {LONGEST.seconds} s at most"
        if issued > date + AHEAD:
            return f"was issued in the future: it is {date:%H:%M:%S} UTC here"
        if expires < date:
            return f"came after its end: it is {date:%H:%M:%S} UTC here"
        if issued < self._not_before:
            return "was issued before this program was ready for it: ask again"
        return ""

    def _refuse(self, why: str, to: str, asked: CommandAsked | None = None) -> Refused | None:
        if not to or not self._refusals.takes(self._now_s()):
            self.unheard += 1
            return None
        command, operator = (asked.command, asked.operator) if asked else ("", "")
        return Refused(Answer(to, command, operator, False, (why,)), asked)
