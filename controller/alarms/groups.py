"""
First-out: which alarm is the root, and which only follow it.

The first trip is the root; what comes soon after it follows. An alarm that drags others along, as the safety
circuit does with air, flap and source, is the root of those whether it tripped or not.
"""

from controller.events import EventDef

SOON_MS = 2_000
"""After a trip: whatever comes follows it."""
FOLLOWERS_MS = 5_000
"""After an alarm that drags others along: those of its list follow it."""


class Groups:
    """Keeps the trip that stands, and the newest alarm that drags others along."""

    def __init__(self) -> None:
        self._trip: tuple[EventDef, int] | None = None
        self._drags: tuple[EventDef, int] | None = None

    def tripped(self, root: EventDef, now_ms: int) -> None:
        """A trip: its first-out is the root until the fault is reset."""
        self._trip = root, now_ms

    def fault_gone(self) -> None:
        """No fault stands: nothing follows its trip any more."""
        self._trip = None

    def root_of(self, row: EventDef, now_ms: int) -> str:
        """The root that an alarm raised now follows; empty if it is one of its own."""
        root = ""
        if self._trip and self._trip[0].id != row.id and now_ms - self._trip[1] <= SOON_MS:
            root = self._trip[0].id
        elif self._drags and now_ms - self._drags[1] <= FOLLOWERS_MS and _listed(row, self._drags[0]):
            root = self._drags[0].id
        if row.followers:
            self._drags = row, now_ms
        return root


def _listed(row: EventDef, root: EventDef) -> bool:
    return row.id != root.id and row.id.startswith(root.followers)
