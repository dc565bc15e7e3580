"""
The test bench: the logic, a small obliging machine and virtual time, wired input to output.

    bench = BENCHES.at(CONVEY)          # reached through inputs, then copied for every test that asks
    bench.force(flap_closed_fb=False)   # a wire, as an engineer forces a point
    assert bench.run_until(FAULT, within_ms=200) == 130

The machine (`machine.py`) only does what it is told, so that a test shows the sequence and nothing else; the
physics live in `io_sim`. A scan is 10 ms unless a bench is told otherwise. The generated, interpreted scan is used; its
text is made to give every condition of the scan, so that a `Recorder` can say which line was ever at work.
"""

import copy
from collections.abc import Callable, Mapping
from typing import Any

from machine import Machine as Machine
from machine import dp_ua as dp_ua
from machine import supply_ua as supply_ua
from machine import vacuum_ua as vacuum_ua
from medium_figures import MEDIUM

from controller.engines import generated
from controller.engines.as_written import AsWritten, on_rows
from controller.explain import Scene
from controller.image import FIELD_INPUTS, Inputs, Outputs
from controller.sequence.definition import Definition
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    FAULT,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    PURGE,
    RECOVER,
    REOPEN,
    REST,
    SEAL,
    SETTLE,
    VENT,
    WARNING,
    Step,
)

REQUESTS = ("clean_request", "empty_request", "manual_request", "recipe_request", "relearn_request")
BROKEN_WIRE_UA = 0
UNTOUCHED = [int(v) for v in Inputs()]
FIELD = slice(Inputs._fields.index(FIELD_INPUTS[0]), Inputs._fields.index(FIELD_INPUTS[-1]) + 1)
assert Inputs._fields[FIELD] == FIELD_INPUTS
IO_LIFE = Inputs._fields.index("io_life")


class Works:
    """
    One definition made ready to run: its generated scan, and the conditions that the scan reports.

    `in_a_hurry`: a scan that is written sooner and runs slower, for definitions that run only a little.
    """

    def __init__(self, definition: Definition = RECEIVER, in_a_hurry: bool = False) -> None:
        self.logic = Logic(definition)
        text = generated.source(self.logic, branch_free=True) if in_a_hurry else self._quick_text()
        head, body = text.split("\n", 1)
        local = {line.split(" = ")[0].strip() for line in body.splitlines() if " = " in line}
        facts = [f.name for f in self.logic.facts.values() if f.kind is bool and f.name in local]
        self.names = ("was_step", "step", *REQUESTS, *facts)
        self.memory_places = {n: k for k, n in enumerate(self.logic.memory)}
        self.input_places = {n: k for k, n in enumerate(Inputs._fields)}
        asked = [f"inputs[{self.input_places[n]}]" for n in REQUESTS]
        told = ", ".join(("_step_before", "step", *asked, *facts))
        was = f"    _step_before = memory[{self.memory_places['step']}]\n"
        names: dict[str, Any] = {}
        exec(compile(f"{head}\n{was}{body}    return bytes(({told},))\n", "<bench scan>", "exec"), names)
        self.scan: Callable[..., bytes] = names["scan"]
        self.as_written: AsWritten | None = None

    def _quick_text(self) -> str:
        """All is read at once, as where plain Python is to be quick, and yet each fact has its line."""
        writer = generated._Text(self.logic, branch_free=False, options={}, named=False)
        writer.inner = frozenset()
        return writer.whole()


class Bench:
    """The logic and the machine, scan by scan."""

    def __init__(self, works: Works, seen: set[bytes] | None = None, scan_ms: int = 10) -> None:
        self.works, self.seen, self.scan_ms = works, seen, scan_ms
        self.machine = Machine()
        self.presets = MEDIUM
        self.now_ms = 0
        self.forced: dict[str, int] = {}
        self.history: list[tuple[int, Step]] = []  # (when, step entered)
        self.acted: dict[str, int] = {}  # interlock: when it first acted
        self._requests: set[str] = set()
        self._wake({})

    def _wake(self, kept: Mapping[str, int]) -> None:
        self._memory = generated.flat(self.works.logic, dict(kept))
        self._before, self._inputs = self._memory[:], UNTOUCHED[:]
        self._out, self._acts = [0] * len(Outputs._fields), [0] * len(self.works.logic.interlock_names)
        self._told = b""

    def moved_to(self, works: Works) -> "Bench":
        """The same situation under another definition of the same memory."""
        other = self.copy()
        other.works, other.seen = works, None
        other._memory = [self.remembers(name) for name in works.logic.memory]
        other._acts = [0] * len(works.logic.interlock_names)
        return other

    def copy(self) -> "Bench":
        """Another bench in the same situation."""
        other = copy.copy(self)
        other.machine = copy.copy(self.machine)
        for name in ("_memory", "_before", "_out", "_acts", "forced", "acted", "history", "_requests"):
            setattr(other, name, copy.copy(getattr(self, name)))
        return other

    # ---- what is done to it ----

    def preset(self, **presets: int) -> "Bench":
        """Other presets, from now on, and a machine that has their options."""
        self.presets = self.presets._replace(**presets)
        self.machine.suit(self.presets)
        return self

    def force(self, **points: int) -> None:
        """Hold inputs at a value, as raw wires and microamperes."""
        assert set(points) <= set(Inputs._fields), points
        self.forced.update({n: int(v) for n, v in points.items()})

    def release(self, *points: str) -> None:
        for point in points:
            del self.forced[point]

    def request(self, *names: str, remote: bool = False) -> list[str]:
        """Commands of the shell, true for one scan, which is run. Returns the reasons of refusal."""
        self._requests = {f"{n}_request" for n in names} | ({"request_remote"} if remote else set())
        self.scan()
        return [r for n in names for r in self.refusals(n)]

    def press(self, button: str, for_ms: int = 100) -> list[str]:
        """Press and let go a push button of the panel. Returns the reasons of refusal at the press."""
        self.force(**{f"{button}_pb": True})
        self.scan()
        reasons = self.refusals(button)
        self.run(for_ms - self.scan_ms)
        self.release(f"{button}_pb")
        self.scan()
        return reasons

    def press_start(self) -> list[str]:
        return self.press("start")

    def press_reset(self) -> list[str]:
        return self.press("reset")

    def scan(self, count: int = 1) -> None:
        w, dt_ms = self.works, self.scan_ms
        for _ in range(count):
            self.machine.advance(self._out, dt_ms)
            self._inputs = inputs = UNTOUCHED[:]
            inputs[FIELD] = self.machine.wires()
            inputs[IO_LIFE] = self.now_ms // dt_ms % 65_536
            for name, value in self.forced.items():
                inputs[w.input_places[name]] = value
            for name in self._requests:
                inputs[w.input_places[name]] = 1
            self._requests = set()
            self._before = self._memory[:]
            self._told = w.scan(self._memory, inputs, self.presets, dt_ms, self._out, self._acts)
            self.now_ms += dt_ms
            if self.seen is not None:
                self.seen.add(self._told)
            if self._told[0] != self._told[1]:
                self.history.append((self.now_ms, self.step))
            if 1 in self._acts:
                for name in self.acts:
                    self.acted.setdefault(name, self.now_ms)

    def run(self, for_ms: int, never: Callable[["Bench"], bool] | None = None) -> None:
        """Run on; `never` is asked after each scan."""
        for _ in range(for_ms // self.scan_ms):
            self.scan()
            assert never is None or not never(self), self.explain()

    def run_until(self, step: Step, *, within_ms: int, never: Callable[["Bench"], bool] | None = None) -> int:
        """Run until `step` is active; return how long it took [ms]."""
        start_ms = self.now_ms
        while self.step is not step:
            assert self.now_ms - start_ms < within_ms, (
                f"{step.name} not reached within {within_ms} ms; {self.explain()}"
            )
            self.scan()
            assert never is None or not never(self), self.explain()
        return self.now_ms - start_ms

    def run_off(self, *, within_ms: int) -> int:
        """Run until the present step is left; return how long it took [ms]."""
        start_ms, step = self.now_ms, self.step
        while self.step is step:
            assert self.now_ms - start_ms < within_ms, f"{step.name} not left; {self.explain()}"
            self.scan()
        return self.now_ms - start_ms

    def run_to_trip(self, by: str, *, within_ms: int, never: Callable[["Bench"], bool] | None = None) -> int:
        """Run to the trip: it must be this one, and nothing that moves or feeds is left on. Its time [ms]."""
        took_ms = self.run_until(FAULT, within_ms=within_ms, never=never)
        assert self.first_out == by, self.explain()
        assert self.on <= {"fault_lamp", "horn"}, self.on
        assert not self.remembers("run")
        return took_ms

    def power_cycle(self, off_ms: int = 1_000) -> None:
        """The controller loses power and comes back with its kept memory; the machine takes its rest."""
        kept = {n: self.remembers(n) for n in self.works.logic.kept}
        self._wake(kept)
        for _ in range(off_ms // self.scan_ms):
            self.machine.advance(self._out, self.scan_ms)
            self.now_ms += self.scan_ms
        self.scan()

    # ---- what can be read ----

    @property
    def step(self) -> Step:
        return Step(self.remembers("step"))

    @property
    def outputs(self) -> Outputs:
        return Outputs(*map(bool, self._out))

    @property
    def on(self) -> set[str]:
        """The outputs that are energised, by name without `_cmd`."""
        return {n.removesuffix("_cmd") for n, v in zip(Outputs._fields, self._out, strict=True) if v}

    @property
    def acts(self) -> set[str]:
        return {n for n, v in zip(self.works.logic.interlock_names, self._acts, strict=True) if v}

    @property
    def first_out(self) -> str:
        number = self.remembers("first_out")
        return self.works.logic.interlock_names[number - 1] if number else ""

    @property
    def path(self) -> list[Step]:
        """The steps entered since the bench was handed out, in order."""
        return [step for _, step in self.history]

    def remembers(self, name: str) -> int:
        return self._memory[self.works.memory_places[name]]

    def fact(self, name: str) -> bool:
        """A condition of the last scan."""
        return bool(self._told[self.works.names.index(name)])

    def refusals(self, command: str) -> list[str]:
        """Why the command would have been refused in the last scan."""
        return [
            r.reason
            for r in self.works.logic.definition.refusals
            if r.command == command and self.fact(r.fact.name)
        ]

    def reason(self) -> str:
        """Why the step was left in the last scan, as the journal says it."""
        w = self.works
        w.as_written = w.as_written or AsWritten(w.logic, on_rows)
        before = w.logic.Memory._make(self._before)
        return Scene(w.as_written, before, Inputs(*self._inputs), self.presets, self.scan_ms).reason()

    def explain(self) -> str:
        """The situation in words, with what the rows of the last scan waited for."""
        w = self.works
        w.as_written = w.as_written or AsWritten(w.logic, on_rows)
        before = w.logic.Memory._make(self._before)
        facts = w.as_written.all_facts(before, Inputs(*self._inputs), self.presets, self.scan_ms)
        waits = []
        for guard in dict.fromkeys(row.guard.name for row in w.logic.rows_from(self.step)):
            reads = {r.name: facts[r.name] for r in w.logic.reads(guard) if r.group == "this"}
            waits.append(f"    {guard} {facts[guard]}: {reads}")
        return (
            f"at {self.now_ms} ms in {self.step.name}, acts {self.acts}, first-out {self.first_out!r}, "
            f"on {self.on}, forced {self.forced}, {self.machine}\n" + "\n".join(waits)
        )


BEFORE = {
    WARNING: REST, SEAL: WARNING, DRAW: SEAL, CONVEY: DRAW, CLEAR: CONVEY, VENT: CLEAR, OPEN: VENT,
    DRAIN: OPEN, PULSE: DRAIN, RECOVER: PULSE, SETTLE: RECOVER, REOPEN: SETTLE, PURGE: CONVEY,
    LEVEL_HOLD: CONVEY, FAULT: CONVEY,
}  # fmt: skip
"""The step from which the bench is led to another."""


class Benches:
    """
    Benches in a given step of ordinary work, each reached from power-up through inputs once, then copied.

    PURGE is reached by a halt in CONVEY, REOPEN by a lump on the seat (gone again), LEVEL_HOLD by a covered
    probe (still covered), FAULT by an open safety chain in CONVEY (closed again).
    """

    def __init__(self, works: Works, seen: set[bytes] | None = None, **presets: int) -> None:
        self.works, self.seen, self.presets = works, seen, presets
        self._ready: dict[Step, Bench] = {}
        self._fitted: dict[tuple[tuple[str, int], ...], Benches] = {}

    def fitted(self, **presets: int) -> "Benches":
        """The benches of a station with other options, from power-up on."""
        return self._fitted.setdefault(
            tuple(sorted(presets.items())), Benches(self.works, self.seen, **presets)
        )

    def new(self, **presets: int) -> Bench:
        """Never powered before."""
        return Bench(self.works, self.seen).preset(**self.presets | presets)

    def at(self, step: Step, **presets: int) -> Bench:
        """In the scan that entered `step`; the presets hold from here on."""
        if step not in self._ready:
            self._ready[step] = self._lead_to(step)
        bench = self._ready[step].copy().preset(**presets)
        bench.history, bench.acted = [], {}
        return bench

    def _lead_to(self, step: Step) -> Bench:
        bench = self.new() if step is REST else self.at(BEFORE[step])
        bench.scan_ms = 20 if self.presets else 10  # a station of a few tests is led in a larger stride
        if step is REST:
            bench.run(6_000)
            bench.press_start()
            bench.run_until(CONVEY, within_ms=40_000)
            bench.request("stop")
        elif step is WARNING:
            bench.run(6_000)
            bench.press_start()
        elif step is REOPEN:
            bench.machine.seat_free = False
            bench.run_until(REOPEN, within_ms=10_000)
            bench.machine.seat_free = True
        elif step is PURGE:
            bench.request("halt")
            bench.run(1_000)
            bench.press_start()
        elif step is LEVEL_HOLD:
            bench.machine.level_free = False
        elif step is FAULT:
            bench.force(safety_chain_healthy=False)
            bench.scan()
            bench.release("safety_chain_healthy")
        bench.run_until(step, within_ms=60_000)
        bench.scan_ms = 10
        return bench


SEEN: set[bytes] = set()
"""The conditions of every different scan that any bench of this session has run."""

BENCHES = Benches(Works(), SEEN)
