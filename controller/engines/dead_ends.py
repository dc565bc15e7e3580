"""
A search for dead ends: the real scan in an abstract world, every order of events, breadth first.

The proofs say that nothing forbidden happens; this says that the receiver always finds its way back. The
world knows a lump on the seat, a plugged line, product in body and vessel, supply air and people: they
press start, stop and halt, cut the power, and after a trip look at the machine, reset and start. From
each state met, the way back is walked with helpful people; a state from which no batch is delivered
is a dead end. On the way the world also counts: no batch drawn on top of another, none through an open flap.
"""

from collections import deque
from collections.abc import Iterator
from typing import NamedTuple

from controller.engines.generated import FlatScan, flat, interpreted
from controller.image import Inputs, Outputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.steps import CONVEY, DRAIN, FAULT, REST, Step

DT_MS = 1_000
CAPS_MS = {
    "since_pour_ms": 2_000,
    "source_off_ms": 3_000,
    "pulse_off_ms": 1_000,
    "level_unsure_held_ms": 3_000,
}
# over every preset that the clock is held against: beyond, all is the same
CAP_HELD_MS, CAP_MS = 1_000, 6_000
PATIENCE = 120  # scans in which helpful people must have a batch delivered
SHORT = Presets(
    flap_travel_ms=1_000, flap_both_ms=100, contact_debounce_ms=0, flap_reopen_ms=1_000, supply_low_ms=1_000,
    open_air_wait_ms=5_000, resume_stop_ms=5_000, resumes_in_row_max=1, resume_spacing_ms=3_000_000,
    warning_ms=1_000, tank_charge_ms=0, proving_ms=1_000, no_vacuum_ms=1_000, fill_ms=2_000,
    no_material_arm_ms=1_000, no_material_ms=1_000, short_batches_max=1, starved_pause_ms=2_000,
    vacuum_high_ms=1_000, clear_ms=2_000, transit_ms=1_000, line_empty_ms=1_000, release_settle_ms=0,
    vent_min_ms=0, release_limit_ms=2_000, drain_ms=1_000, pulses=1, pulses_last=1, pulse_ms=500,
    recovery_ms=1_000, pulse_air_wait_ms=2_000, settle_ms=1_000, level_on_ms=1_000, level_mask_ms=1_000,
    level_clear_ms=1_000, idle_vacuum_ms=1_000, signal_hold_ms=1_000, override_ms=200,
)  # fmt: skip


class World(NamedTuple):
    """What the machine and its surroundings look like between two scans."""

    lump: bool = False  # product between flap and seat
    plug: bool = False  # the line is blocked
    material: bool = True  # there is product at the feed point
    full: bool = False  # the vessel below covers its probe
    air: int = 2  # 2 good, 1 under the low limit, 0 lost
    flap: int = 0  # 0 closed, 1 between, 2 open
    vacuum_kpa: int = 0
    body: int = 0  # batches in the body: 0, 1 begun or whole, 2 one on top of another
    delivered: bool = False  # a batch fell in this scan


class Found(NamedTuple):
    """Something that must not be, and the events that lead to it."""

    what: str
    path: tuple[str, ...]


State = tuple[tuple[int, ...], World]
Seen = dict[State, tuple[State | None, str, int]]  # from where, by what, after how many events


class Searched(NamedTuple):
    """What a search covered and found."""

    states: int
    events: int  # every order of up to so many events was tried, whole
    steps: set[int]
    found: list[Found]


class DeadEnds:
    """
    The search over one logic.

    Args:
        logic: The real definition.
        wait: Low air waits instead of tripping.
        scan: Another executor over flat sequences; by default the generated one.
    """

    def __init__(self, logic: Logic, *, wait: bool, scan: FlatScan | None = None) -> None:
        self.scan = scan or interpreted(logic)
        self.presets = [int(v) for v in SHORT._replace(supply_low_effect=int(wait))]
        self.names = list(logic.memory)
        self.first = tuple(flat(logic))
        self.kept = [self.names.index(n) for n in logic.kept]
        self.step = self.names.index("step")
        self.filled = self.names.index("filled_ms")
        self.caps = [
            (n, CAPS_MS.get(name, CAP_HELD_MS if name.endswith("_held_ms") else CAP_MS))
            for n, name in enumerate(self.names)
            if name.endswith("_ms") and name != "resume_bucket_ms"
        ]
        self.held = [
            (self.names.index(name), self.names.index(name[: -len("_seen")] + "_held_ms"))
            for name in self.names
            if name.endswith("_seen")
        ]
        self.lamp = self.names.index("flash_ms")
        self.first_out = self.names.index("first_out")
        self.extremes = [self.names.index(n) for n in ("vacuum_least_pa", "vacuum_most_pa")]
        self.acts = [0] * len(logic.interlock_names)
        self.good: set[State] = set()

    def run(self, states_max: int) -> "Searched":
        """Search, fewest events first, until nothing new is met, or `states_max` states were."""
        complete = 0
        start: State = (self.first, World())
        seen: Seen = {start: (None, "", 0)}
        queue = deque([start])
        found: list[Found] = []
        while queue and len(found) < 5:
            state = queue.popleft()
            events = seen[state][2]
            complete = events - 1
            if not self._comes_back(state):
                found.append(Found("no batch is delivered from here", self._path(seen, state)))
                continue
            for event, memory, world, inputs in self._events(*state):
                after, what = self._advance(memory, world, inputs)
                if what:
                    found.append(Found(what, (*self._path(seen, state), event)))
                if after not in seen and len(seen) < states_max:
                    seen[after] = (state, event, events + (event != "nothing"))
                    (queue.appendleft if event == "nothing" else queue.append)(after)
            if len(seen) >= states_max:
                break
        else:
            complete += 1
        return Searched(len(seen), complete, {m[self.step] for m, _ in seen}, found)

    # ---- one scan ------------------------------------------------------------------------------------
    def _advance(self, was: tuple[int, ...], world: World, people: dict[str, bool]) -> tuple[State, str]:
        """Scan once, then let the world follow the outputs. Answers the new state, and what went wrong."""
        inputs = Inputs(**people)._replace(
            level_free=not world.full,
            flap_closed_fb=world.flap == 0,
            flap_open_fb=world.flap == 2,
            vacuum_ua=4_000 + world.vacuum_kpa * 160,
            supply_air_ua=4_000 + (0, 5_600, 9_600)[world.air],
        )
        memory, outputs = list(was), [0] * len(Outputs._fields)
        self.scan(memory, [int(v) for v in inputs], self.presets, DT_MS, outputs, self.acts)
        out = Outputs(*map(bool, outputs))
        self._canonical(memory)
        step, before = memory[self.step], was[self.step]
        what = ""
        fresh = step in (Step.PURGE, Step.DRAW) and before == Step.SEAL and memory[self.filled] == 0
        if fresh and world.body:
            what = "a batch is drawn on top of another"
        if out.source_cmd and world.flap != 0:
            what = "the source draws through a flap that is not closed"
        return (tuple(memory), self._world_after(world, out, step)), what

    def _canonical(self, memory: list[int]) -> None:
        """Make equal what means the same, or the search would never end."""
        for n, cap in self.caps:
            if memory[n] > cap:
                memory[n] = cap
        for seen, held in self.held:
            if not memory[seen]:
                memory[held] = 0
        memory[self.lamp] = 0
        memory[self.first_out] = min(memory[self.first_out], 1)
        if memory[self.step] in (REST, FAULT):  # the seal of the next batch begins them anew
            for n in self.extremes:
                memory[n] = 0

    def _world_after(self, w: World, out: Outputs, step: int) -> World:
        drawn = out.source_cmd and w.flap == 0
        flap = w.flap if w.air == 0 and out.flap_open_cmd else 2 if out.flap_open_cmd else 1 if w.lump else 0
        falls = flap == 2 and w.flap == 2 and w.body > 0
        arriving = drawn and not w.plug and w.material and not out.purge_cmd
        vacuum = (60 if w.plug else 13 if arriving else 4) if drawn else 0
        body = 0 if falls else max(w.body, 1 if arriving or (drawn and out.purge_cmd) else 0)
        return w._replace(flap=flap, vacuum_kpa=vacuum, body=body, delivered=falls, lump=w.lump and flap != 2)

    # ---- what may happen -----------------------------------------------------------------------------
    def _events(
        self, memory: tuple[int, ...], w: World
    ) -> Iterator[tuple[str, tuple[int, ...], World, dict[str, bool]]]:
        """Every event that may come before the next scan: at most one at a time."""
        yield "nothing", memory, w, {}
        yield "start", memory, w, {"start_pb": True}
        yield "stop", memory, w, {"stop_healthy": False}
        yield "halt", memory, w, {"halt_request": True}
        yield "air goes" if w.air else "air comes", memory, w._replace(air=w.air - 1 if w.air else 2), {}
        yield "vessel fills" if not w.full else "vessel empties", memory, w._replace(full=not w.full), {}
        yield (
            "product runs out" if w.material else "product comes",
            memory,
            w._replace(material=not w.material),
            {},
        )
        if not w.plug:
            yield "line plugs", memory, w._replace(plug=True), {}
        if w.flap == 2 and not w.lump:
            yield "lump on the seat", memory, w._replace(lump=True), {}
        if memory[self.step] == FAULT:
            yield "reset", memory, w, {"reset_pb": True}
        yield "power cycle", self._power_cycle(memory), w, {}

    def _power_cycle(self, memory: tuple[int, ...]) -> tuple[int, ...]:
        kept = set(self.kept)
        return tuple(v if n in kept else f for n, (v, f) in enumerate(zip(memory, self.first, strict=True)))

    # ---- the way back --------------------------------------------------------------------------------
    def _comes_back(self, state: State) -> bool:
        """Helpful people and a healed world get a batch delivered within patience."""
        walked: list[State] = []
        conveyed = False
        pressed = False
        for _ in range(PATIENCE):
            memory, w = state
            step = memory[self.step]
            if not walked or not pressed:
                w = w._replace(air=2, full=False, material=True)
            if step == FAULT:  # somebody looks, clears line and seat
                w = w._replace(plug=False, lump=False)
            pressed = not pressed
            people = {"reset_pb": step == FAULT and pressed, "start_pb": step == REST and pressed}
            state, _ = self._advance(memory, w, people)
            conveyed = conveyed or state[0][self.step] == CONVEY
            if state in self.good or (conveyed and state[0][self.step] == DRAIN and state[1].delivered):
                self.good.update(walked)
                return True
            walked.append(state)
        return False

    @staticmethod
    def _path(seen: Seen, state: State | None) -> tuple[str, ...]:
        events: list[str] = []
        while state is not None:
            state, event, _ = seen[state]
            events.insert(0, event)
        return tuple(e for e in events if e)
