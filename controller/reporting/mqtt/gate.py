"""
Which commands from the broker are done: each one once, in its time, and not too many.

A broker keeps and repeats what it was given. So what was retained, what is over its time, what was issued
before this program started and what has come before does nothing, and who floods hears nothing. What came
before is known whatever is done to the clock; a stop is let through where all else is doubtful.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import NamedTuple

from controller.reporting.commands import Unreadable, read_command
from controller.reporting.message_models import CommandAsked
from controller.reporting.messages import Answer

LONGEST = timedelta(seconds=10)
"""A command is good for at most so long."""
AHEAD = timedelta(seconds=2)
"""The sender's clock may be so much before this one."""
KEPT_S, MOST_IDS = 86_400.0, 4_096
"""What has come is remembered for so long, and so much of it: an hour of as many starts as are taken."""
STOPS = ("stop", "halt")


class Rate:
    """Up to `burst` at once, and `per_s` a second in the long run."""

    def __init__(self, burst: int, per_s: int) -> None:
        self._burst, self.per_s = float(burst), per_s
        self._left, self._at_s = float(burst), 0.0

    def takes(self, now_s: float) -> bool:
        """Whether one more is within it; it counts."""
        self._left = min(self._burst, self._left + (now_s - self._at_s) * self.per_s)
        self._at_s = now_s
        if self._left < 1:
            return False
        self._left -= 1
        return True


class Refused(NamedTuple):
    """Not done."""

    answer: Answer
    asked: CommandAsked | None  # where it could be read


class Seen:
    """A command that was let through, and what was answered once that is known."""

    def __init__(self, asked: CommandAsked, at_s: float) -> None:
        self.asked, self.at_s = asked, at_s
        self.answer: Answer | None = None


class Gate:
    """Judges each command that comes; `answered` says what became of one that was let through."""

    def __init__(self, date: Callable[[], datetime], now_s: Callable[[], float]) -> None:
        """`date`: of this machine, with its offset. `now_s`: seconds that no setting of the clock moves."""
        self._date, self._now_s = date, now_s
        self._not_before = date() + AHEAD  # an earlier one may have been done by whoever ran before
        self._commands, self._stops, self._answers = Rate(5, 1), Rate(20, 10), Rate(5, 1)
        self._seen: dict[str, Seen] = {}  # the oldest first
        self.unheard = 0
        """What got no answer: too large, nobody to answer, too many, or the broker did not take it."""

    def judge(self, payload: bytes, *, retained: bool) -> CommandAsked | Refused | Answer | None:
        """The command to be done; or why not; or what was answered before; None: nothing is said."""
        asked = read_command(payload)
        if isinstance(asked, Unreadable):
            return self._refuse(asked.why, asked.id)
        self._forget()
        seen = self._seen.get(asked.id)
        if seen and seen.asked == asked and not retained:
            return seen.answer if seen.answer and self._may_answer() else None
        is_stop = asked.command in STOPS
        if why := self._why_not(asked, retained=retained):
            return self._refuse(why, asked.id, asked)
        if seen and not is_stop:
            return self._refuse("id: another command came under it: take a new one", asked.id, asked)
        rate = self._stops if is_stop else self._commands
        if not rate.takes(self._now_s()):
            return self._refuse(f"too many commands: at most {rate.per_s} a second", asked.id, asked)
        if not seen:
            self._seen[asked.id] = Seen(asked, self._now_s())
        return asked

    def left_s(self, asked: CommandAsked) -> float:
        """Until it expires."""
        return (datetime.fromisoformat(asked.expires_at) - self._date()).total_seconds()

    def answered(self, asked: CommandAsked, answer: Answer) -> None:
        """The same command once more gets the same answer, and does nothing."""
        seen = self._seen.get(asked.id)
        if seen and seen.asked == asked:
            seen.answer = answer

    def _forget(self) -> None:
        while self._seen:
            oldest = next(iter(self._seen))
            if len(self._seen) < MOST_IDS and self._seen[oldest].at_s > self._now_s() - KEPT_S:
                return
            del self._seen[oldest]

    def _why_not(self, asked: CommandAsked, *, retained: bool) -> str:
        if retained:
            return "was retained by the broker: a command is sent without the retain flag"
        date = self._date()
        issued, expires = (datetime.fromisoformat(stamp) for stamp in (asked.issued_at, asked.expires_at))
        if expires - issued > LONGEST or expires < issued:
            return f"expires_at must be after issued_at, by {LONGEST.seconds} s at most"
        if issued > date + AHEAD:
            return f"was issued in the future: it is {date:%H:%M:%S} UTC here"
        if expires < date:
            return f"came after its end: it is {date:%H:%M:%S} UTC here"
        if issued < self._not_before and asked.command not in STOPS:
            since = self._not_before + timedelta(seconds=1)  # no second that is said is too early
            taken = f"taken are those issued from {since:%H:%M:%S} UTC on"
            return f"may have been done already: look at the state; {taken}"
        return ""

    def _may_answer(self) -> bool:
        may = self._answers.takes(self._now_s())
        self.unheard += not may
        return may

    def _refuse(self, why: str, to: str, asked: CommandAsked | None = None) -> Refused | None:
        if not to or not self._may_answer():
            self.unheard += not to
            return None
        command, operator = (asked.command, asked.operator) if asked else ("", "")
        return Refused(Answer(to, command, operator, False, (why,)), asked)
