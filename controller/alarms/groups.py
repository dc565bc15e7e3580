"""
First-out: which alarm is the root, and which only follow it.

The first trip is the root; what comes soon after it follows. The safety circuit is a root without a trip
too: it takes air, flap and source with it.
"""

from controller.events import EventDef

SOON_MS = 2_000
"""After a trip: whatever comes follows it."""
FOLLOWERS_MS = 5_000
"""After an alarm that drags others along: those of its list follow it."""


class Groups:
    """Keeps the newest root."""

    def __init__(self) -> None:
        self._root: EventDef | None = None
        self._since_ms = 0
        self._tripped = False

    def tripped(self, root: EventDef, now_ms: int) -> None:
        """A trip: its first-out is the root until the fault is reset."""
        self._root, self._since_ms, self._tripped = root, now_ms, True

    def fault_gone(self) -> None:
        """No fault stands: a trip drags nothing along any more."""
        if self._tripped:
            self._root, self._tripped = None, False

    def root_of(self, row: EventDef, now_ms: int) -> str:
        """The root that an alarm raised now follows; empty if it is one of its own. May become the root."""
        if self._root is not None and self._root.id != row.id and self._follows(row.id, now_ms):
            return self._root.id
        if row.followers and not self._tripped:
            self._root, self._since_ms = row, now_ms
        return ""

    def _follows(self, name: str, now_ms: int) -> bool:
        assert self._root is not None
        age_ms = now_ms - self._since_ms
        listed = name.startswith(self._root.followers) if self._root.followers else False
        return (self._tripped and age_ms <= SOON_MS) or (listed and age_ms <= FOLLOWERS_MS)
