"""
A scenario's timeline on a target: waits for each moment, does what is due, records what went in.

Nothing is judged here: what was recorded is, afterwards (`controller.campaign.judge`).
"""

import heapq
from collections.abc import Callable
from functools import partial
from itertools import count
from typing import NamedTuple

from controller.campaign.conditions import Condition
from controller.campaign.scenario import Action, Beat, Scenario
from controller.campaign.target import Chunk, Target
from controller.campaign.words import NEVER

BUTTONS = {"start": "start_pb", "reset": "reset_pb", "acknowledge": "acknowledge_pb"}
HELD_MS = 300
BLOCK = 1_000


class Driven(NamedTuple):
    """What was recorded: the chunks in order, and when each entry of the timeline came."""

    chunks: list[Chunk]
    moments: list[int | None]  # None: it never came
    end_ms: int
    delivered_kg: list[float]  # at each moment, and at the end
    done: list[tuple[int, str]]  # when, what


Evaluate = Callable[[Condition, Chunk], "list[bool]"]


class Driver:
    """Drives one scenario once, or what it is told to do if there is none."""

    def __init__(self, scenario: Scenario | None, target: Target, evaluate: Evaluate) -> None:
        self._beats, self._lasts_ms = (scenario.beats, scenario.lasts_ms) if scenario else ((), 0)
        self._target, self._evaluate = target, evaluate
        self._chunks: list[Chunk] = []
        self._due: list[tuple[int, int, Callable[[], None]]] = []
        self._tie = count()
        self._begun: dict[str, int] = {}
        self._done: list[tuple[int, str]] = []
        self._delivered: list[float] = []

    def drive(self) -> Driven:
        """The whole timeline, and what is to run after it."""
        moments: list[int | None] = []
        for beat in self._beats:
            came = self._wait_for(beat)
            moments.append(self._target.now_ms if came else None)
            self._delivered.append(self._target.reading("delivered_kg"))
            if not came:
                break
            for action in beat.actions:
                self.do(action)
        if None not in moments:
            self.run_until(self._target.now_ms + self._end_after(moments))
        moments += [None] * (len(self._beats) - len(moments))
        self._delivered.append(self._target.reading("delivered_kg"))
        return Driven(self._chunks, moments, self._target.now_ms, self._delivered, self._done)

    def _end_after(self, moments: list[int | None]) -> int:
        """Until every window has closed, and as long as the scenario says at least."""
        now_ms = self._target.now_ms
        ends = [
            (at or 0) + e.within_ms
            for beat, at in zip(self._beats, moments, strict=True)
            for e in beat.expected
            if e.within_ms < NEVER
        ]
        return max([self._lasts_ms, *(end - now_ms + self._target.scan_ms for end in ends)])

    # ---- waiting -------------------------------------------------------------------------------------
    def _wait_for(self, beat: Beat) -> bool:
        moment, start_ms = beat.moment, self._target.now_ms
        if moment.at_ms is not None:
            if moment.at_ms < start_ms:
                return False
            self.run_until(moment.at_ms)
        elif moment.steps or moment.condition:
            limit_ms = start_ms + moment.waits_ms
            for n in range(moment.nth):
                if not (
                    self.enters(moment.steps, limit_ms)
                    if moment.condition is None
                    else self.comes_true(moment.condition, limit_ms, again=n > 0)
                ):
                    return False
        if moment.after_ms:
            self.run_until(self._target.now_ms + moment.after_ms)
        return True

    @property
    def now_ms(self) -> int:
        """Since power-up."""
        return self._target.now_ms

    @property
    def chunks(self) -> list[Chunk]:
        """What was recorded so far."""
        return self._chunks

    def enters(self, steps: tuple[int, ...], limit_ms: int) -> bool:
        """Runs until one of these steps is entered from another; whether it is, up to a time."""
        while self._target.now_ms < limit_ms:
            before = self._target.step()
            self._advance(limit_ms)
            if self._target.step() in steps and before not in steps:
                return True
        return False

    def comes_true(self, condition: Condition, limit_ms: int, again: bool) -> bool:
        """Runs to the next scan in which it is true, or with `again` comes true; whether, up to a time."""
        was = again
        while self._target.now_ms < limit_ms:
            chunk, kept = self._advance(limit_ms), len(self._chunks) - 1
            for k, true in enumerate(self._evaluate(condition, chunk)):
                if true and not was:
                    if k + 1 < chunk.scans:
                        self._chunks[kept] = self._target.back_to(chunk, k + 1)
                    return True
                was = true
        return False

    def run_until(self, at_ms: int) -> None:
        """Runs up to a time."""
        while self._target.now_ms < at_ms:
            self._advance(at_ms)

    def _advance(self, limit_ms: int) -> Chunk:
        """One chunk, not beyond the limit nor beyond what is due before it."""
        self._do_what_is_due()
        stop_ms = min([limit_ms, *(at for at, _, _ in self._due[:1])])
        scans = max(1, -(-(stop_ms - self._target.now_ms) // self._target.scan_ms))
        chunk = self._target.advance(min(scans, BLOCK))
        self._chunks.append(chunk)
        return chunk

    def _do_what_is_due(self) -> None:
        while self._due and self._due[0][0] <= self._target.now_ms:
            heapq.heappop(self._due)[2]()

    def _stand(self, ms: int) -> None:
        """Without power; what is due meanwhile still comes: the plant goes on, and people press."""
        target, end_ms = self._target, self._target.now_ms + ms
        while target.now_ms < end_ms:
            stop_ms = min([end_ms, *(at for at, _, _ in self._due[:1])])
            target.stand(max(1, -(-(stop_ms - target.now_ms) // target.scan_ms)) * target.scan_ms)
            self._do_what_is_due()
        target.wake()

    # ---- doing ---------------------------------------------------------------------------------------
    def do(self, action: Action) -> None:
        """Does it: it acts from the next scan on."""
        target, now_ms = self._target, self._target.now_ms
        match action.kind:
            case "command":
                self._command(action)
            case "set":
                target.point(action.name, int(action.value))
                self._note(f"{action.name} = {int(action.value)}")
            case "fail":
                for k in range(action.times):
                    begin_ms = now_ms + k * action.every_ms
                    self._at(begin_ms, partial(self._fail, action, begin_ms))
            case "mend":
                self._mend(action.name)
            case "power_cut":
                self._note(f"power off for {int(action.value)} ms")
                self._stand(int(action.value))

    def _fail(self, action: Action, begin_ms: int) -> None:
        self._target.fail(action.name, action.value, action.grows_ms)
        self._note(f"{action.name} begins")
        last = self._last(action.name)
        if action.during_ms < NEVER:
            self._at(begin_ms + action.during_ms, lambda: self._mend(action.name, last))

    def _mend(self, mode: str, of: int | None = None) -> None:
        """Ends it; `of`: only if it has not begun anew since."""
        if of is None or of == self._begun[mode]:
            self._target.fail(mode, 0, 0)
            self._note(f"{mode} ends")

    def _last(self, name: str) -> int:
        """A number for what begins now: what was to end an earlier one leaves it alone."""
        self._begun[name] = next(self._tie)
        return self._begun[name]

    def _command(self, action: Action) -> None:
        """A button is held for a while; a request stands for one scan, and stop is a contact that opens."""
        self._note(f"{action.name} from the {action.source}")
        if action.source == "panel" and action.name in BUTTONS:
            self._pulse(BUTTONS[action.name], 1, HELD_MS)
        elif action.source == "panel" and action.name == "stop":
            self._pulse("stop_healthy", 0, HELD_MS)
        else:
            self._pulse(f"{action.name}_request", 1, self._target.scan_ms)
            if action.source == "remote":
                self._pulse("request_remote", 1, self._target.scan_ms)

    def _pulse(self, point: str, value: int, ms: int) -> None:
        self._target.point(point, value)
        last = self._last(point)
        self._at(self._target.now_ms + ms, lambda: self._let_go(point, 1 - value, last))

    def _let_go(self, point: str, value: int, of: int) -> None:
        if of == self._begun[point]:
            self._target.point(point, value)

    def _at(self, at_ms: int, act: Callable[[], None]) -> None:
        if at_ms <= self._target.now_ms:
            act()
        else:
            heapq.heappush(self._due, (at_ms, next(self._tie), act))

    def _note(self, what: str) -> None:
        self._done.append((self._target.now_ms, what))
