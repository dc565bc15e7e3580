"""
A search for dead ends: the real scan in an abstract world, every order of events, breadth first.

The proofs say that nothing forbidden happens; this says that the receiver always finds its way back. The
search is over a kind of station (`station_kinds`) in its world (`station_worlds`). People press start, stop
and halt, cut the power, use what the kind has, and after a trip look at the machine, reset and start. From
each state met, the way back is walked with helpful people; a state from which no batch is delivered
is a dead end. On the way the world also looks for what must not be.
"""

from collections import deque
from collections.abc import Iterator
from typing import NamedTuple

from controller.engines.station_kinds import FACTS, HELD, StationKind, same
from controller.engines.station_scan import Memory, StationScan, Suited
from controller.engines.station_worlds import DRIVES, DT_MS, Physics, World, happenings, healed, looked_at
from controller.sequence.logic import Logic
from controller.sequence.steps import CONVEY, DRAW, EMPTYING, FAULT, NOT_SEEN_BELOW, PURGE, REST, SEAL

STUCK = "no batch is delivered from here"
PATIENCE = 120  # scans in which helpful people must have a batch delivered
PEOPLE = {"start_pb", "reset_pb", "stop_healthy", "halt_request"}
BY_HAND = {"manual_request", "automatic_request", "jog"}
FROM_AFAR = {"start_request", "reset_request", "request_remote"}
WATCHED = ("broken_off", "flap_open_cmd", "manual", "hold_reason", "fault_at_machine")


class Found(NamedTuple):
    """Something that must not be, and the events that lead to it."""

    what: str
    path: tuple[str, ...]


State = tuple[Memory, World]
People = dict[str, int]
Seen = dict[State, tuple[State | None, str, int]]  # from where, by what, after how many events


class Searched(NamedTuple):
    """What a search covered and found."""

    states: int
    events: int  # every order of up to so many events was tried, whole
    whole: bool  # nothing new is left
    steps: set[int]
    found: list[Found]


class DeadEnds:
    """
    The search over one logic at one kind of station.

    Args:
        logic: The real definition.
        kind: What the station has, and what may happen there.
    """

    def __init__(self, logic: Logic, kind: StationKind) -> None:
        self.kind, self.physics = kind, Physics(kind.presets)
        moved = set(self.physics.wires(World())) | PEOPLE
        moved |= BY_HAND if kind.jogs else set()
        moved |= FROM_AFAR if kind.presets.selector_fitted else set()
        moved |= {"vessel_seen_request"} if kind.presets.not_seen_batches else set()
        moved |= {f"{order}_request" for order in kind.orders}
        suited = Suited(
            presets=tuple(int(v) for v in kind.presets),
            held={n: v for n, v in HELD.items() if n not in moved},
            dt_ms=DT_MS,
            facts=FACTS,
            same=same(tuple(logic.memory), kind.presets),
            outputs=DRIVES,
            watched=WATCHED,
        )
        self.station = StationScan(logic, suited)
        self.value = self.station.value
        self.wired = self.station.inputs
        self.good: set[State] = set()
        self.scanned: dict[tuple[Memory, Memory], tuple[Memory, Memory]] = {}  # from the state at hand

    def run(self, states_max: int, until: str | None = None) -> "Searched":
        """
        Search, fewest events first, until nothing new is met, or `states_max` states were.

        Of each thing that must not be the first path is answered; what comes after it is not looked at. A
        search for a planted one ends with the first whose words hold `until`.
        """
        complete = 0
        start: State = (self.station.first, World())
        seen: Seen = {start: (None, "", 0)}
        queue = deque([start])
        done: set[State] = set()
        found: dict[str, Found] = {}
        while queue and len(seen) < states_max and not any(until is not None and until in w for w in found):
            state = queue.popleft()
            if state in done:  # met again with fewer events
                continue
            done.add(state)
            events = seen[state][2]
            complete = events - 1
            self.scanned.clear()
            if not self._comes_back(state):
                found.setdefault(STUCK, Found(STUCK, self._path(seen, state)))
                continue
            for event, memory, world, people in self._events(*state):
                after, what = self._advance(memory, world, people)
                if what:
                    found.setdefault(what, Found(what, (*self._path(seen, state), event)))
                    continue
                cost = events + (event != "nothing")
                if after not in seen or cost < seen[after][2]:
                    seen[after] = (state, event, cost)
                    (queue.append if cost > events else queue.appendleft)(after)
        steps = {self.value(m, "step") for m, _ in seen}
        return Searched(len(seen), complete + (not queue), not queue, steps, list(found.values()))

    # ---- one scan ------------------------------------------------------------------------------------
    def _advance(self, was: Memory, world: World, people: People) -> tuple[State, str]:
        """Scan once, then let the world follow the outputs. Answers the new state, and what went wrong."""
        points = HELD | self.physics.wires(world) | people
        key = was, tuple([int(points[n]) for n in self.wired])
        if key not in self.scanned:
            self.scanned[key] = self.station.scan(*key)
        memory, out = self.scanned[key]
        step, before = self.value(memory, "step"), self.value(was, "step")
        fresh = step in (PURGE, DRAW) and before == SEAL and not self.value(was, "broken_off")
        newly_open = bool(out[2]) and not self.value(was, "flap_open_cmd")
        after = self.physics.after(world, out)
        return (memory, after), self.physics.wrong(world, after, newly_open, fresh)

    # ---- what may happen -----------------------------------------------------------------------------
    def _events(self, m: Memory, w: World) -> Iterator[tuple[str, Memory, World, People]]:
        """Every event that may come before the next scan: at most one at a time."""
        step, manual = self.value(m, "step"), self.value(m, "manual")
        yield "nothing", m, w, {}
        yield "start", m, w, self._start(w)
        yield "stop", m, w, {"stop_healthy": 0}
        yield "halt", m, w, {"halt_request": 1}
        for what, after in happenings(w, self.kind.happens):
            yield what, m, after, {}
        if step == FAULT:
            yield "reset", m, w, self._reset(m, w)
        if self.kind.jogs and step in (REST, FAULT) and not manual:
            yield "manual mode", m, w, {"manual_request": 1}
        if manual:
            yield "automatic", m, w, {"automatic_request": 1}
            for jog in self.kind.jogs:
                yield f"jog {jog}", m, w, {"jog": jog}
        for order in self.kind.orders:
            yield order, m, w, {f"{order}_request": 1}
        yield "power cycle", self.station.power_cycle(m), w, {}

    def _start(self, w: World) -> People:
        return {"start_request": 1, "request_remote": 1} if w.remote else {"start_pb": 1}

    def _reset(self, m: Memory, w: World) -> People:
        if w.remote and not self.value(m, "fault_at_machine"):
            return {"reset_request": 1, "request_remote": 1}
        return {"reset_pb": 1}

    # ---- the way back --------------------------------------------------------------------------------
    def _comes_back(self, state: State) -> bool:
        """Helpful people and a healed world get a batch delivered within patience."""
        walked: list[State] = []
        conveyed = pressed = False
        m, w = state
        w = healed(w, self.kind.noticed)
        for _ in range(PATIENCE):
            step = self.value(m, "step")
            if step == FAULT:
                w = looked_at(w)
            pressed = not pressed
            (m, w), _wrong = self._advance(m, w, self._helpful(m, w, step) if pressed else {})
            conveyed = conveyed or self.value(m, "step") == CONVEY
            if (m, w) in self.good or (conveyed and w.delivered and self.value(m, "step") in EMPTYING):
                self.good.update(walked)
                return True
            walked.append((m, w))
        return False

    def _helpful(self, m: Memory, w: World, step: int) -> People:
        if self.value(m, "manual"):
            return {"automatic_request": 1}
        if self.value(m, "hold_reason") == NOT_SEEN_BELOW:
            return {"vessel_seen_request": 1}
        return self._reset(m, w) if step == FAULT else self._start(w) if step == REST else {}

    @staticmethod
    def _path(seen: Seen, state: State | None) -> tuple[str, ...]:
        events: list[str] = []
        while state is not None:
            state, event, _ = seen[state]
            events.insert(0, event)
        return tuple(e for e in events if e)
