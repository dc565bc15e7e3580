"""
A search for dead ends: the real scan in an abstract world, every order of events, breadth first.

The proofs say that nothing forbidden happens; this says that the receiver always finds its way back. The
search is over a kind of station (`station_kinds`) in its world (`station_worlds`). People press start, stop
and halt, cut the power, use what the kind has, and after a trip look at the machine, reset and start. From
each state met, the way back is walked with helpful people; a state from which no batch is delivered
is a dead end. On the way the world also looks for what must not be.

Many orders of events meet again in few memories and few worlds: both are known by number here, and what a
scan, an event or the world makes of them is worked out once.
"""

from collections import deque
from collections.abc import Hashable, Iterator
from typing import Generic, NamedTuple, TypeVar

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


Thing = TypeVar("Thing", bound=Hashable)


class Met(Generic[Thing]):
    """Things by number: what is met again has the number that it had."""

    def __init__(self) -> None:
        self.things: list[Thing] = []
        self._numbers: dict[Thing, int] = {}

    def number(self, thing: Thing) -> int:
        """The number of a thing, from 0."""
        n = self._numbers.setdefault(thing, len(self.things))
        if n == len(self.things):
            self.things.append(thing)
        return n


State = tuple[int, int]  # numbers of a memory and of a world
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
        self.wired = self.station.inputs
        self.memories, self.worlds = Met[Memory](), Met[World]()
        self.start: State = (self.memories.number(self.station.first), self.worlds.number(World()))
        self.good: set[State] = set()
        self._points: dict[int, Memory] = {}  # of a world
        self._happenings: dict[int, list[tuple[str, int]]] = {}  # to a world
        self._scans: dict[tuple[int, Memory], tuple[int, Memory]] = {}  # of a memory and points
        self._after: dict[tuple[int, Memory], int] = {}  # a world and what drives it

    def run(self, states_max: int, until: str | None = None) -> "Searched":
        """
        Search, fewest events first, until nothing new is met, or `states_max` states were.

        Of each thing that must not be the first path is answered; what comes after it is not looked at. A
        search for a planted one ends with the first whose words hold `until`.
        """
        complete = 0
        seen: Seen = {self.start: (None, "", 0)}
        queue = deque([self.start])
        done: set[State] = set()
        found: dict[str, Found] = {}
        while queue and len(seen) < states_max and not any(until is not None and until in w for w in found):
            state = queue.popleft()
            if state in done:  # met again with fewer events
                continue
            done.add(state)
            events = seen[state][2]
            complete = events - 1
            if not self._comes_back(state):
                found.setdefault(STUCK, Found(STUCK, self._path(seen, state)))
                continue
            for event, memory, world, people in self.events(*state):
                after, what = self.advance(memory, world, people)
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
    def value(self, m: int, name: str) -> int:
        """What `name` is in a memory."""
        return self.station.value(self.memories.things[m], name)

    def points(self, w: int, people: People) -> Memory:
        """What the scan reads of a world and of people, in the order of `wired`."""
        if w not in self._points:
            points = HELD | self.physics.wires(self.worlds.things[w])
            self._points[w] = tuple([int(points[n]) for n in self.wired])
        points_of_world = self._points[w]
        if not people:
            return points_of_world
        return tuple([people.get(n, v) for n, v in zip(self.wired, points_of_world, strict=True)])

    def advance(self, was: int, w: int, people: People) -> tuple[State, str]:
        """Scan once, then let the world follow the outputs. Answers the new state, and what went wrong."""
        key = was, self.points(w, people)
        if key not in self._scans:
            memory, out = self.station.scan(self.memories.things[was], key[1])
            self._scans[key] = self.memories.number(memory), out
        m, out = self._scans[key]
        if (w, out) not in self._after:
            self._after[w, out] = self.worlds.number(self.physics.after(self.worlds.things[w], out))
        after = self._after[w, out]
        step, before = self.value(m, "step"), self.value(was, "step")
        fresh = step in (PURGE, DRAW) and before == SEAL and not self.value(was, "broken_off")
        newly_open = bool(out[2]) and not self.value(was, "flap_open_cmd")
        world, world_after = self.worlds.things[w], self.worlds.things[after]
        return (m, after), self.physics.wrong(world, world_after, newly_open, fresh)

    # ---- what may happen -----------------------------------------------------------------------------
    def events(self, m: int, w: int) -> Iterator[tuple[str, int, int, People]]:
        """Every event that may come before the next scan: at most one at a time."""
        step, manual = self.value(m, "step"), self.value(m, "manual")
        yield "nothing", m, w, {}
        yield "start", m, w, self._start(w)
        yield "stop", m, w, {"stop_healthy": 0}
        yield "halt", m, w, {"halt_request": 1}
        for what, after in self._happening(w):
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
        yield "power cycle", self.memories.number(self.station.power_cycle(self.memories.things[m])), w, {}

    def _happening(self, w: int) -> list[tuple[str, int]]:
        if w not in self._happenings:
            found = happenings(self.worlds.things[w], self.kind.happens)
            self._happenings[w] = [(what, self.worlds.number(after)) for what, after in found]
        return self._happenings[w]

    def _start(self, w: int) -> People:
        remote = self.worlds.things[w].remote
        return {"start_request": 1, "request_remote": 1} if remote else {"start_pb": 1}

    def _reset(self, m: int, w: int) -> People:
        if self.worlds.things[w].remote and not self.value(m, "fault_at_machine"):
            return {"reset_request": 1, "request_remote": 1}
        return {"reset_pb": 1}

    # ---- the way back --------------------------------------------------------------------------------
    def _comes_back(self, state: State) -> bool:
        """Helpful people and a healed world get a batch delivered within patience."""
        walked: list[State] = []
        conveyed = pressed = False
        m, w = state
        w = self.worlds.number(healed(self.worlds.things[w], self.kind.noticed))
        for _ in range(PATIENCE):
            step = self.value(m, "step")
            if step == FAULT:
                w = self.worlds.number(looked_at(self.worlds.things[w]))
            pressed = not pressed
            (m, w), _wrong = self.advance(m, w, self._helpful(m, w, step) if pressed else {})
            conveyed = conveyed or self.value(m, "step") == CONVEY
            delivered = conveyed and self.worlds.things[w].delivered and self.value(m, "step") in EMPTYING
            if delivered or (m, w) in self.good:
                self.good.update(walked)
                return True
            walked.append((m, w))
        return False

    def _helpful(self, m: int, w: int, step: int) -> People:
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
