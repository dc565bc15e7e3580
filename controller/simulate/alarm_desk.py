"""
The alarms of a run, and what its operator does with them: who presses reset has seen all that stands.

In a simulated run nobody acknowledges between resets, as on a night without a shift: what comes back calls
again.
"""

from collections.abc import Collection
from typing import Any

from controller.alarms.annunciator import Annunciator
from controller.alarms.metrics import Metrics, Report
from controller.alarms.move import Move
from controller.alarms.states import State
from controller.events import EVENTS
from controller.sequence.steps import STATES

UNSEEN = {State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED_UNACKNOWLEDGED}
IDLE_RULE = {State.NORMAL, State.SUPPRESSED}
_STATE_OF: dict[int, str] = {step: state for state, steps in STATES.items() for step in steps}


class AlarmDesk:
    """Alarms and their figures, fed after every segment."""

    def __init__(self) -> None:
        self._alarms, self._metrics = Annunciator(), Metrics()

    def look(self, now_ms: int, acting: Collection[str], step: int, first_out: str) -> list[Move]:
        """The moves up to the scan at `now_ms`; without those of rules that found nothing to suppress."""
        moves = self._noted(self._alarms.take(now_ms, acting, _STATE_OF[step], first_out))
        return [move for move in moves if {move.was, move.now} != IDLE_RULE]

    def heard(self, now_ms: int, command: str, place: str, accepted: bool) -> list[Move]:
        """What a command moves: who acknowledges or presses reset has seen all that stands."""
        if command not in ("acknowledge", "reset"):
            return []
        who = f"operator at {place}"
        moves = self._alarms.acknowledge(now_ms, who)
        if command == "reset" and accepted:
            moves += self._alarms.reset(now_ms, who)
        return self._noted(moves)

    @property
    def standing(self) -> tuple[str, ...]:
        """The alarms that are not normal."""
        return tuple(alarm.id for alarm in self._alarms.standing())

    @property
    def unseen(self) -> tuple[str, ...]:
        """The alarms that call: nobody has acknowledged them."""
        return tuple(alarm.id for alarm in self._alarms.standing() if alarm.state in UNSEEN)

    def report(self, now_ms: int) -> Report:
        """The figures of the run."""
        return self._metrics.report(now_ms)

    def _noted(self, moves: list[Move]) -> list[Move]:
        self._metrics.take(moves)
        return moves


def alarm_load(report: Report) -> dict[str, Any]:
    """The figures as they stand in JSON."""
    return {**report._asdict(), "floods": [flood._asdict() for flood in report.floods]}


def load_words(report: Report) -> list[str]:
    """What of the figures somebody should look into; nothing where all is as it should be."""
    said = []
    if report.floods:
        calls = sum(flood.calls for flood in report.floods)
        said.append(f"flood of {calls} calls, {report.in_flood_percent:.0f} % of the time")
    if report.chattering:
        said.append(f"chattering {', '.join(name for name, _ in report.chattering)}")
    if report.standing:
        said.append(f"standing for over a day {', '.join(report.standing)}")
    return said


def priority(move: Move) -> int:
    """Of the journal's line: that of the alarm where it calls, else none."""
    return int(EVENTS[move.id].priority) if move.calls else 0


def follower(move: Move, root: str) -> str:
    """The alarm that has just begun to follow `root`; empty if it did not."""
    return move.id if move.root == root and move.now is State.UNACKNOWLEDGED else ""
