"""
The lines of the journal as messages, in order, each kept until the broker has all of it.

An event or a cycle is one message. An alarm's move besides changes what is retained of that alarm, and a
power-up sets every alarm back to normal. What is retained bears the number of the line that made it so: told
again, it is the same message. What no line says is not told.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple, Protocol

from controller.events import ALARM_IDS
from controller.records import EventRecord
from controller.reporting import messages
from controller.reporting.forced import RELEVANT, forced_after
from controller.reporting.journal import Line
from controller.reporting.journal_file import latest_events
from controller.reporting.messages import AlarmNow, Head, Message, Topics
from controller.reporting.mqtt.about import About

POWER_UP = "POWER_UP"
AT_A_TIME = 8


class Outbox(Protocol):
    """What is needed of a `Journal` that was opened with `About.reader` among its readers."""

    @property
    def path(self) -> Path: ...
    @property
    def removed_untold(self) -> int: ...
    def waiting(self, reader: str, limit: int = 100, after: int = 0) -> list[Line]: ...
    def was_simulated(self, boot: str, otherwise: bool) -> bool: ...
    def behind(self, reader: str) -> int: ...
    def told_up_to(self, reader: str) -> int: ...
    def told(self, reader: str, up_to: int) -> None: ...
    def commit(self) -> None: ...


class OnItsWay(NamedTuple):
    """A line, as it is told."""

    n: int
    messages: list[Message]


class Standing(NamedTuple):
    """What is retained of an alarm, and the line that made it so."""

    now: AlarmNow
    boot: str
    n: int
    forced: bool = False  # when that line was written


class Lines:
    """What of the journal is on its way. Raises JournalError where that cannot be read or written."""

    def __init__(self, topics: Topics, about: About, journal: Outbox) -> None:
        self._topics, self._about, self._journal = topics, about, journal
        self._way: list[OnItsWay] = []
        self.wrong = ""
        """The last line that is no message after its schema, which is a mistake of this program."""
        self._told = journal.told_up_to(about.reader)
        self._read = self._told
        self._forced: frozenset[str] = frozenset()
        self._alarms: dict[str, Standing] = {}
        self._catch_up(journal)

    def next(self) -> list[OnItsWay]:
        """The next few lines; the same again until they were told, or removed from the journal."""
        if self._way:
            there = {line.n for line in self._journal.waiting(self._about.reader, len(self._way))}
            self._way = [line for line in self._way if line.n in there]
        if not self._way:
            lines = self._journal.waiting(self._about.reader, AT_A_TIME, after=self._read)
            self._way = [self._read_line(line) for line in lines]
        return self._way

    def told(self) -> None:
        """The broker has all of what `next` gave."""
        self._told = self._way[-1].n
        self._way = []
        self._journal.told(self._about.reader, self._told)

    def written(self) -> None:
        """What was told is on the disk; a mark that is lost is only told twice."""
        self._journal.commit()

    @property
    def waiting(self) -> int:
        """Lines that the broker has not acknowledged."""
        return self._journal.behind(self._about.reader)

    @property
    def removed(self) -> int:
        """Lines that left the journal before they were told."""
        return self._journal.removed_untold

    def alarms(self) -> list[Message]:
        """What is to be retained of every alarm that a line speaks of."""
        return [self._alarm(standing) for standing in self._alarms.values()]

    def _read_line(self, line: Line) -> OnItsWay:
        self._read = line.n
        try:
            return OnItsWay(line.n, list(self._messages(line)))
        except ValueError as error:
            self.wrong = f"line {line.n} of the journal is not told: {error}"
            return OnItsWay(line.n, [])

    def _messages(self, line: Line) -> Iterator[Message]:
        record = line.record
        if not isinstance(record, EventRecord):
            head = self._head(line.boot, line.n, forced=bool(self._forced))
            yield messages.cycle(self._topics, head, record)
            return
        moved = self._follow(line.boot, line.n, record)
        yield messages.event(self._topics, self._head(line.boot, line.n, forced=bool(self._forced)), record)
        for standing in moved:
            yield self._alarm(standing)

    def _follow(self, boot: str, n: int, record: EventRecord) -> list[Standing]:
        """What is forced and how the alarms stand after this line; those that it moved."""
        self._forced = forced_after(self._forced, record)
        if record.id == POWER_UP:
            normal = (AlarmNow(name, "normal", "normal", record.utc, record.at_ms) for name in ALARM_IDS)
            moved = [Standing(now, boot, n) for now in normal]
        else:
            now = messages.alarm_now(record)
            moved = [Standing(now, boot, n, bool(self._forced))] if now else []
        self._alarms.update({standing.now.id: standing for standing in moved})
        return moved

    def _alarm(self, standing: Standing) -> Message:
        head = self._head(standing.boot, standing.n, forced=standing.forced)
        return messages.alarm(self._topics, head, standing.now, self._about.fitted)

    def _head(self, boot: str, n: int, *, forced: bool) -> Head:
        """Its date and milliseconds are those of the record, which the messages take themselves."""
        about = self._about
        simulated = self._journal.was_simulated(boot, about.simulated)
        return Head(about.station, boot or about.boot, n, "", 0, simulated, forced)

    def _catch_up(self, journal: Outbox) -> None:
        """What was forced, and how the alarms stood, at the last line that was told."""
        since: list[tuple[str, int, EventRecord]] = []
        for line in latest_events(journal.path.parent, (POWER_UP, *RELEVANT, *ALARM_IDS), self._told):
            assert isinstance(line.record, EventRecord)
            since.append((line.boot, line.n, line.record))
            if line.record.id == POWER_UP:
                break
        for boot, n, record in reversed(since):
            self._follow(boot, n, record)
