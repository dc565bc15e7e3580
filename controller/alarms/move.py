"""One move of one alarm, for journal, page and metrics."""

from typing import NamedTuple

from controller.alarms.states import CALLS, Edge, State


class Move(NamedTuple):
    """An alarm changed its state."""

    at_ms: int
    id: str
    was: State
    now: State
    edge: Edge
    root: str = ""  # the alarm that it follows; empty if it is one of its own
    by: str = ""  # who, where a person did it
    why: str = ""

    @property
    def calls(self) -> bool:
        """It calls the operator; a follower stands in the list of its root and does not call by itself."""
        return self.now is CALLS and self.was is not CALLS and not self.root

    @property
    def words(self) -> str:
        """The move in words."""
        return f"{self.was} -> {self.now}"

    @property
    def detail(self) -> str:
        """What moved it, who and why, and what it follows."""
        said = [str(self.edge), f"by {self.by}" if self.by else "", self.why]
        return "; ".join(filter(None, [*said, f"follows {self.root}" if self.root else ""]))
