"""One alarm: its state, and the times at which it moves by itself."""

from dataclasses import dataclass

from controller.alarms.move import Move
from controller.alarms.states import COVERED, Edge, State, after
from controller.events import EventDef


@dataclass(slots=True)
class Alarm:
    """`acts` is the interlock; `stands` is the condition of the alarm, after its own delays."""

    row: EventDef
    state: State = State.NORMAL
    acts: bool = False
    stands: bool = False
    latches: bool = False
    quiet: bool = False
    root: str = ""
    since_ms: int = 0  # in this state
    delay_ms: int | None = None  # the end of an on-delay or off-delay
    again_at_ms: int | None = None
    shelf_ms: int | None = None  # the end of its time on the shelf

    @property
    def covered(self) -> bool:
        """Shelved, suppressed or out of service: it does not call."""
        return self.state in COVERED

    @property
    def due_ms(self) -> int | None:
        """When it moves next if nothing else happens."""
        if self.delay_ms is self.again_at_ms is self.shelf_ms is None:  # nearly always, and asked every scan
            return None
        times = (self.delay_ms, self.again_at_ms, self.shelf_ms)
        return min((ms for ms in times if ms is not None), default=None)

    def see(self, acts: bool, now_ms: int) -> None:
        """The interlock acts, or no longer; starts or stops a delay."""
        self.acts = acts
        wait_ms = self.row.on_ms if acts else self.row.kind.off_ms
        self.delay_ms = None if acts == self.stands else now_ms + wait_ms

    def due_edge(self, now_ms: int) -> Edge:
        """The edge that is due now, its time taken off."""
        if self.delay_ms == now_ms:
            self.delay_ms, self.stands = None, self.acts
            return Edge.RAISED if self.stands else Edge.CLEARED
        if self.shelf_ms == now_ms:
            self.shelf_ms = None
            return Edge.UNSHELVE
        self.again_at_ms = None
        return Edge.AGAIN

    def move(self, edge: Edge, now_ms: int, by: str = "", why: str = "") -> Move | None:
        """Takes an edge; None if that leaves the state alone."""
        was = self.state
        now = after(was, edge, latches=self.latches, stands=self.stands, quiet=self.quiet)
        if now is was:
            return None
        self.state, self.since_ms = now, now_ms
        again = now is State.ACKNOWLEDGED and self.row.again_ms
        self.again_at_ms = now_ms + self.row.again_ms if again else None
        if now is State.NORMAL:
            self.latches = False
        return Move(now_ms, self.row.id, was, now, edge, self.root, by, why)
