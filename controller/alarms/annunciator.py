"""
The alarms of one receiver: interlocks and operators come in, moves come out.

No clock and no I/O: time comes in as whole milliseconds that never run back. Called every scan or only when
something changes, the moves are the same and bear the same times.
"""

from collections.abc import Callable, Collection, Iterable
from typing import NamedTuple

from controller.alarms.alarm import Alarm
from controller.alarms.groups import Groups
from controller.alarms.move import Move
from controller.alarms.states import Edge, State
from controller.events import ALARM_IDS, EVENTS, EventDef
from controller.problems import did_you_mean


class NotAllowed(Exception):  # noqa: N818
    """An operator asks for what an alarm does not allow; says why, and what he can do."""


class Standing(NamedTuple):
    """An alarm that is not normal, as a list of alarms shows it."""

    id: str
    priority: int
    state: State
    since_ms: int
    root: str


def dictionary() -> list[EventDef]:
    """The rows of the event dictionary that are alarms."""
    return [EVENTS[name] for name in ALARM_IDS]


class Annunciator:
    """Every alarm of `rows` with its state. What is no alarm is passed over."""

    def __init__(self, rows: Iterable[EventDef] | None = None) -> None:
        self._alarms = {row.id: Alarm(row) for row in (dictionary() if rows is None else rows)}
        self._ruled = [alarm for alarm in self._alarms.values() if alarm.row.quiet_in]
        self._groups = Groups()
        self._first_out = ""

    # ---- what the machine does -------------------------------------------------------------------------
    def take(self, now_ms: int, acting: Collection[str], place: str, first_out: str = "") -> list[Move]:
        """
        Takes note of a scan.

        Args:
            now_ms: Its time.
            acting: The interlocks that act in it.
            place: The state of the sequence, for what is suppressed by design in it.
            first_out: The interlock that tripped, while the fault stands.
        """
        moves = self._run_to(now_ms - 1)  # what was due before this scan happened before it
        for alarm in self._ruled:
            alarm.quiet = place in alarm.row.quiet_in
        moves += self._each(self._ruled, Edge.SUPPRESS, now_ms, lambda alarm: alarm.quiet)
        tripped = self._alarms.get(first_out) if first_out != self._first_out else None
        self._first_out = first_out
        if tripped:
            moves += self._trip(tripped, now_ms)
        elif not first_out:
            self._groups.fault_gone()
        seen = frozenset(acting)
        for name, alarm in self._alarms.items():
            if (name in seen) != alarm.acts:
                alarm.see(name in seen, now_ms)
        moves += self._run_to(now_ms)
        if tripped and tripped.state is State.NORMAL:  # a fault from before the power-up: its cause is gone
            moves += self._edge(tripped, Edge.RAISED, now_ms) + self._edge(tripped, Edge.CLEARED, now_ms)
        return moves + self._each(self._ruled, Edge.RELEASE, now_ms, lambda alarm: not alarm.quiet)

    def _trip(self, alarm: Alarm, now_ms: int) -> list[Move]:
        """An interlock tripped: its alarm latches, comes off the shelf, and calls again if it was seen."""
        self._groups.tripped(alarm.row, now_ms)
        moves = self._edge(alarm, Edge.UNSHELVE, now_ms)
        alarm.latches = not alarm.covered
        return moves + self._edge(alarm, Edge.AGAIN, now_ms)

    def _run_to(self, now_ms: int) -> list[Move]:
        """All that moves by itself up to now, in order of time."""
        moves: list[Move] = []
        while waiting := [a for a in self._alarms.values() if a.due_ms is not None and a.due_ms <= now_ms]:
            alarm = min(waiting, key=lambda a: a.due_ms or 0)
            at_ms = alarm.due_ms or 0
            moves += self._edge(alarm, alarm.due_edge(at_ms), at_ms)
        return moves

    def _edge(self, alarm: Alarm, edge: Edge, now_ms: int, by: str = "", why: str = "") -> list[Move]:
        if edge is Edge.RAISED and not alarm.covered:
            alarm.root = self._groups.root_of(alarm.row, now_ms)
        move = alarm.move(edge, now_ms, by, why)
        return [move] if move else []

    def _each(
        self, alarms: Iterable[Alarm], edge: Edge, now_ms: int, where: Callable[[Alarm], bool], by: str = ""
    ) -> list[Move]:
        return [move for alarm in alarms if where(alarm) for move in self._edge(alarm, edge, now_ms, by)]

    # ---- what people do --------------------------------------------------------------------------------
    def acknowledge(self, now_ms: int, by: str, name: str = "") -> list[Move]:
        """Somebody has seen it; without a name, all of them."""
        moves = self._run_to(now_ms)
        return moves + self._each(self._named(name), Edge.ACKNOWLEDGE, now_ms, lambda _: True, by)

    def reset(self, now_ms: int, by: str) -> list[Move]:
        """Lets go of what is latched and acknowledged; what nobody has seen stays."""
        moves = self._run_to(now_ms)
        moves += self._each(self._alarms.values(), Edge.RESET, now_ms, lambda _: True, by)
        for alarm in self._alarms.values():
            if alarm.state is State.ACKNOWLEDGED:
                alarm.latches = False
        return moves

    def shelve(self, now_ms: int, by: str, name: str, for_ms: int, why: str) -> list[Move]:
        """
        Silences one alarm for a while.

        Raises:
            NotAllowed: It is latched, its class is never shelved, the time is too long, no reason is given.
        """
        moves, alarm = self._run_to(now_ms), self._one(name)
        most_ms = alarm.row.kind.shelf_max_ms
        if not most_ms:
            msg = f'{name}: is of the class "{alarm.row.kind.name}", which is never shelved: find its cause'
            raise NotAllowed(msg)
        if not 0 < for_ms <= most_ms:
            msg = f"{name}: for {for_ms:,} ms: its class is shelved for 1 to {most_ms:,} ms"
            raise NotAllowed(msg)
        moves += self._asked(alarm, Edge.SHELVE, now_ms, by, why)
        alarm.shelf_ms = now_ms + for_ms
        return moves

    def unshelve(self, now_ms: int, by: str, name: str) -> list[Move]:
        """Takes it off the shelf before its time."""
        moves = self._run_to(now_ms)
        return moves + self._edge(self._one(name), Edge.UNSHELVE, now_ms, by)

    def take_out(self, now_ms: int, by: str, name: str, why: str) -> list[Move]:
        """
        Out of service, for maintenance: no call until it is put back. The interlock acts as ever.

        Raises:
            NotAllowed: No reason is given, or it is latched.
        """
        moves = self._run_to(now_ms)
        return moves + self._asked(self._one(name), Edge.TAKE_OUT, now_ms, by, why)

    def put_back(self, now_ms: int, by: str, name: str) -> list[Move]:
        """Into service again."""
        moves = self._run_to(now_ms)
        return moves + self._edge(self._one(name), Edge.PUT_BACK, now_ms, by)

    def _asked(self, alarm: Alarm, edge: Edge, now_ms: int, by: str, why: str) -> list[Move]:
        if not by.strip() or not why.strip():
            msg = f"{alarm.row.id}: {edge}: say who and why"
            raise NotAllowed(msg)
        moves = self._edge(alarm, edge, now_ms, by, why)
        if not moves:
            msg = f"{alarm.row.id}: {edge}: not while it is {alarm.state}"
            raise NotAllowed(msg)
        return moves

    def _named(self, name: str) -> Iterable[Alarm]:
        return [self._one(name)] if name else self._alarms.values()

    def _one(self, name: str) -> Alarm:
        if name not in self._alarms:
            msg = f"{name}: there is no such alarm{did_you_mean(name, self._alarms)}"
            raise NotAllowed(msg)
        return self._alarms[name]

    # ---- what is shown ---------------------------------------------------------------------------------
    def standing(self) -> list[Standing]:
        """All that is not normal, or would not be without a rule: the most urgent first, then the oldest."""
        found = [
            Standing(alarm.row.id, int(alarm.row.priority), alarm.state, alarm.since_ms, alarm.root)
            for alarm in self._alarms.values()
            if alarm.stands or alarm.state not in (State.NORMAL, State.SUPPRESSED)
        ]
        return sorted(found, key=lambda s: (-s.priority, s.since_ms))
