"""
What leaves the scan for disk or screen: done in another thread, in order, behind a bounded queue.

Nothing out there can delay a scan: what finds the queue full is dropped and counted, and what fails is told.
"""

from collections.abc import Callable
from contextlib import suppress
from queue import Full, Queue
from threading import Thread

ROOM = 10_000
PATIENCE_S = 10.0
"""For what still waits at the end."""


class Outbox:
    """One thread that does what it is given. `close` at the end."""

    def __init__(self, name: str, room: int = ROOM) -> None:
        self._queue: Queue[Callable[[], None] | None] = Queue(room)
        self.dropped = 0
        self.failed: list[str] = []
        """What went wrong, in words; after the first nothing more is done."""
        self._thread = Thread(target=self._work, name=name, daemon=True)
        self._thread.start()

    def put(self, work: Callable[[], None]) -> bool:
        """To be done, later and elsewhere; whether it was taken."""
        try:
            if not self.failed:
                self._queue.put_nowait(work)
                return True
        except Full:
            pass
        self.dropped += 1
        return False

    def close(self) -> bool:
        """Waits for what still waits, for a while; whether all of it was done."""
        with suppress(Full):
            self._queue.put(None, timeout=PATIENCE_S)
            self._thread.join(PATIENCE_S)
        return not (self._thread.is_alive() or self.dropped or self.failed)

    def _work(self) -> None:
        while work := self._queue.get():
            if self.failed:
                self.dropped += 1
                continue
            try:
                work()
            except Exception as error:  # whatever it is, the machine goes on and somebody is told
                self.failed.append(str(error) or type(error).__name__)
