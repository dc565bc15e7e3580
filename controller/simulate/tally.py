"""What a run is counted by: alarms raised, holds by their reason, commands refused."""

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from controller.events import ALARM_IDS
from controller.sequence.steps import (
    FULL_BELOW,
    LEVEL_HOLD,
    NO_AIR,
    NO_PRODUCT,
    NO_REASON,
    NOT_SEEN_BELOW,
    UNWANTED,
)
from controller.simulate.segment import Segment

HELD_BY = {
    FULL_BELOW: "vessel full",
    NOT_SEEN_BELOW: "vessel not seen",
    NO_PRODUCT: "no product",
    UNWANTED: "not wanted",
    NO_AIR: "no air",
}


class Hold(NamedTuple):
    """All holds of one reason."""

    reason: str
    times: int
    ms: int


class Refused(NamedTuple):
    """All refusals of one command."""

    command: str
    times: int
    newest: str  # why, the last time


class Tally:
    """Counts while the run goes on."""

    def __init__(self) -> None:
        self._alarms: Counter[str] = Counter()
        self._hold_times: Counter[int] = Counter()
        self._hold_ms: Counter[int] = Counter()
        self._refused: Counter[str] = Counter()
        self._newest: dict[str, str] = {}
        self._reason = NO_REASON

    def raised(self, names: Sequence[str]) -> None:
        """Interlocks that began to act."""
        self._alarms.update(name for name in names if name in ALARM_IDS)

    def refused(self, command: str, reasons: Sequence[str]) -> None:
        """A command was refused."""
        self._refused[command] += 1
        self._newest[command] = "; ".join(reasons)

    def passed(self, segment: Segment, step: int, reason: int) -> None:
        """Scans begun in `step`; `reason` holds after them. A reason that ends counts until the hold ends."""
        if step == LEVEL_HOLD:
            self._hold_ms[self._reason] += segment.scans * segment.scan_ms
        if reason not in (NO_REASON, self._reason) or (reason != NO_REASON and step != LEVEL_HOLD):
            self._hold_times[reason] += 1
            self._reason = reason

    @property
    def alarms(self) -> tuple[tuple[str, int], ...]:
        """Ids and how often each was raised, the most frequent first."""
        return tuple(self._alarms.most_common())

    @property
    def holds(self) -> tuple[Hold, ...]:
        """The reasons that held the receiver."""
        return tuple(
            Hold(word, self._hold_times[reason], self._hold_ms[reason])
            for reason, word in HELD_BY.items()
            if self._hold_times[reason]
        )

    @property
    def refusals(self) -> tuple[Refused, ...]:
        """The commands that were refused."""
        return tuple(Refused(name, times, self._newest[name]) for name, times in self._refused.items())
