"""Records that the reporter has not acknowledged yet: in order, numbered, as many as there is room for."""

from collections import deque

from controller.events import Priority
from controller.records import EventRecord
from controller.reporter.lines import Record, record_line

ROOM = 20_000
"""Records: some 6 MB, hours of a busy receiver. A journal takes more than twice as many without a disk."""


class Unacknowledged:
    """
    Every record that was put in is either here or acknowledged; numbers go up by one and none is used twice.

    What finds no room is refused and counted, and has no number.
    """

    def __init__(self, room: int = ROOM) -> None:
        self._room = room
        self._unsent: deque[tuple[int, bytes]] = deque()
        self._sent: deque[tuple[int, bytes]] = deque()
        self.newest = 0
        """Number of the last record that was put in."""
        self.acknowledged = 0
        self.refused = 0

    def __len__(self) -> int:
        return len(self._sent) + len(self._unsent)

    @property
    def has_room(self) -> bool:
        """For more than the next few."""
        return len(self) <= self._room // 2

    def put(self, record: Record) -> bool:
        """Whether it found room; the last quarter is for what matters more than that a step changed."""
        is_news = isinstance(record, EventRecord) and record.priority == Priority.INFO
        if len(self) >= self._room - (self._room // 4 if is_news else 0):
            self.refused += 1
            return False
        self.newest += 1
        self._unsent.append((self.newest, record_line(self.newest, record)))
        return True

    def next_lines(self, most_bytes: int) -> bytes:
        """Lines that were not sent yet, from now on counted as sent: at least one, where one is left."""
        lines: list[bytes] = []
        size = 0
        while self._unsent and (not lines or size + len(self._unsent[0][1]) <= most_bytes):
            self._sent.append(self._unsent.popleft())
            lines.append(self._sent[-1][1])
            size += len(lines[-1])
        return b"".join(lines)

    def taken(self, number: int) -> None:
        """Those up to this number are on the disk."""
        self.acknowledged = max(self.acknowledged, min(number, self.newest))
        for waiting in (self._sent, self._unsent):
            while waiting and waiting[0][0] <= number:
                waiting.popleft()

    def again(self) -> None:
        """The connection is a new one: nothing was sent on it yet."""
        self._unsent.extendleft(reversed(self._sent))
        self._sent.clear()
