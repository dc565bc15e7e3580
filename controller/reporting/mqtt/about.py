"""Who publishes: what stands in the head of every message, and its numbers."""

from collections import Counter
from collections.abc import Callable, Container
from typing import NamedTuple

from controller.events import FITTED
from controller.reporting.messages import Head

READER = "mqtt"
"""In the journal, of the broker that services.yaml names."""

RESTART = 10
"""
A number begins at so many times the milliseconds since power-up: a publisher that was killed and started
again in the same boot must not use a number twice, and no kind of message comes as often as that.
"""


class About(NamedTuple):
    """The receiver that is told of."""

    station: str
    boot: str  # UUID of this power-up
    software: str
    io: str  # what it runs on: "simulated", "modbus 127.0.0.1:1502"
    simulated: bool
    when: Callable[[], tuple[str, int]]  # ISO 8601 with its offset, and ms since power-up
    fitted: Container[str] = FITTED  # the parts of the station, for the words of its alarms
    reader: str = READER  # under which the journal keeps what was told


class Heads:
    """Makes the head of messages that are no records."""

    def __init__(self, about: About) -> None:
        self.about = about
        self.forced = False
        """Now: an input reads other than its wire, or a failure is put in."""
        self._first = about.when()[1] * RESTART
        self._count: Counter[str] = Counter()

    def head(self, kind: str, when: tuple[str, int] | None = None) -> Head:
        """The next of its kind; as of now, or of `when`."""
        self._count[kind] += 1
        utc, mono_ms = when or self.about.when()
        return Head(
            self.about.station, self.about.boot, self._first + self._count[kind], utc, mono_ms,
            self.about.simulated, self.forced,
        )  # fmt: skip
