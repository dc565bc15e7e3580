"""
How well the alarms serve one operator: rate, floods, chattering, fleeting and standing alarms, the top ten.

Figures of ISA-18.2 / EEMUA 191 as public pages quote them: about 1 call in 10 minutes is acceptable, 2 are
manageable; a flood begins above 10 in 10 minutes and ends below 5. Chattering as 3 in 60 s, standing as in
force for over 24 h, whether it goes afterwards or not, are from memory; what is fleeting the standard leaves
open, here it is gone in under 10 s.
"""

from collections import Counter, defaultdict, deque
from collections.abc import Iterable
from typing import NamedTuple

from controller.alarms.move import Move
from controller.alarms.states import Edge, State

WINDOW_MS = 600_000
FLOOD_ABOVE, FLOOD_ENDS_BELOW = 10, 5
CHATTERS, CHATTER_WINDOW_MS = 3, 60_000
FLEETING_MS = 10_000
STANDING_MS = 86_400_000
TOP = 10


class Flood(NamedTuple):
    """A time with more calls than a person can follow; `end_ms` is None while it goes on."""

    begin_ms: int
    end_ms: int | None
    calls: int


class Report(NamedTuple):
    """The figures of a run or of a shift."""

    ms: int
    calls: int
    per_10_min: float  # mean
    most_in_10_min: int
    floods: tuple[Flood, ...]
    in_flood_percent: float
    chattering: tuple[tuple[str, int], ...]  # id, how often three came within a minute
    fleeting: tuple[tuple[str, int], ...]  # id, how often it was gone before anybody could act
    standing: tuple[str, ...]  # in force for more than a day, now or at any time
    top: tuple[tuple[str, int, float], ...]  # id, calls, percent of all


class Metrics:
    """Takes every move, in order of time; tells the figures at any time."""

    def __init__(self, from_ms: int = 0) -> None:
        self._from_ms = from_ms
        self._calls: Counter[str] = Counter()
        self._window: deque[int] = deque()
        self._most = 0
        self._floods: list[Flood] = []
        self._newest: dict[str, deque[int]] = defaultdict(lambda: deque(maxlen=CHATTERS))
        self._chattering: Counter[str] = Counter()
        self._fleeting: Counter[str] = Counter()
        self._raised_ms: dict[str, int] = {}
        self._stood: dict[str, None] = {}
        self._stood_ms: dict[str, int] = {}  # what was in force at the restart, and for how long
        self._restarted_ms = from_ms

    def take(self, moves: Iterable[Move]) -> None:
        """Takes note of moves."""
        for move in moves:
            if move.calls:
                self._call(move)
            if move.now is State.UNACKNOWLEDGED:
                again = move.at_ms - self._restarted_ms < WINDOW_MS
                stood_ms = self._stood_ms.pop(move.id, 0) if again else 0
                self._raised_ms.setdefault(move.id, move.at_ms - stood_ms)
            elif move.now is not State.ACKNOWLEDGED:
                self._stand(move.at_ms)
                self._gone(move, self._raised_ms.pop(move.id, None))

    def restart(self, end_ms: int, at_ms: int) -> None:
        """
        The controller ended, and started again without knowing an alarm.

        What is raised again within ten minutes goes on; the time in between does not count.
        """
        self._stand(end_ms)
        self._stood_ms = {name: end_ms - since for name, since in self._raised_ms.items()}
        self._raised_ms, self._restarted_ms = {}, at_ms

    def _stand(self, now_ms: int) -> None:
        """Takes note of what is in force for more than a day."""
        for name, since in self._raised_ms.items():
            if now_ms - since > STANDING_MS:
                self._stood[name] = None

    def _call(self, move: Move) -> None:
        self._pass_time(move.at_ms)
        self._calls[move.id] += 1
        self._window.append(move.at_ms)
        self._most = max(self._most, len(self._window))
        flood = self._flood()
        if flood:
            self._floods[-1] = flood._replace(calls=flood.calls + 1)
        elif len(self._window) > FLOOD_ABOVE:
            self._floods.append(Flood(move.at_ms, None, len(self._window)))
        newest = self._newest[move.id]
        newest.append(move.at_ms)
        if len(newest) == CHATTERS and move.at_ms - newest[0] < CHATTER_WINDOW_MS:
            self._chattering[move.id] += 1
            newest.clear()

    def _gone(self, move: Move, raised_ms: int | None) -> None:
        """A latched alarm waits for its reset, and one that was acknowledged was acted on: neither fleets."""
        fleeting = move.edge is Edge.CLEARED and move.now is State.RETURNED
        if raised_ms is not None and fleeting and move.at_ms - raised_ms < FLEETING_MS:
            self._fleeting[move.id] += 1

    def _flood(self) -> Flood | None:
        """The flood that goes on."""
        return self._floods[-1] if self._floods and self._floods[-1].end_ms is None else None

    def _pass_time(self, now_ms: int) -> None:
        """Calls of ten minutes ago leave the window, each at its time."""
        while self._window and now_ms - self._window[0] >= WINDOW_MS:
            left_ms = self._window.popleft() + WINDOW_MS
            flood = self._flood()
            if flood and len(self._window) < FLOOD_ENDS_BELOW:
                self._floods[-1] = flood._replace(end_ms=left_ms)

    def report(self, now_ms: int) -> Report:
        """The figures up to now."""
        self._pass_time(now_ms)
        self._stand(now_ms)
        ms, calls = now_ms - self._from_ms, self._calls.total()
        in_flood_ms = sum((now_ms if f.end_ms is None else f.end_ms) - f.begin_ms for f in self._floods)
        return Report(
            ms=ms,
            calls=calls,
            per_10_min=round(calls * WINDOW_MS / ms, 3) if ms else 0.0,
            most_in_10_min=self._most,
            floods=tuple(self._floods),
            in_flood_percent=round(100 * in_flood_ms / ms, 2) if ms else 0.0,
            chattering=tuple(self._chattering.most_common()),
            fleeting=tuple(self._fleeting.most_common()),
            standing=tuple(self._stood),
            top=tuple((n, k, round(100 * k / calls, 1)) for n, k in self._calls.most_common(TOP)),
        )
