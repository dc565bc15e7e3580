"""
A trace run through today's logic: identical, or the first scan in which it commands something else.

Traces of another version go as far as they can, by names: an input that the trace has not takes its default,
memory its first value, a preset its default; what is gone, and what is new, is said.
"""

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from controller.campaign.behind import Behind, behind, guards_to
from controller.campaign.recorded import Scans, scans_of
from controller.campaign.recording import whole_inputs
from controller.engines.as_written import AsWritten, on_rows
from controller.engines.rescan import Rescanned, Rescanner
from controller.explain import Scene
from controller.image import Inputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.simulate.segment import whole_memory
from controller.trace.header import Header, TraceError, logic_hash
from controller.trace.reader import Trace


class Differs(NamedTuple):
    """One thing that is not what it was."""

    kind: str  # output, step, interlock
    name: str
    then: str
    today: str


class Difference(NamedTuple):
    """The first scan in which something differs."""

    at_ms: int
    scan: int  # of the trace, from 1
    step: str  # today, before it
    differs: tuple[Differs, ...]
    why: tuple[str, ...]  # of the first of them: values against limits, on today's side
    facts: tuple[Behind, ...]  # that make them what they are today, the first of them first


class Replayed(NamedTuple):
    """What came of it."""

    header: Header
    same_logic: bool
    scans: int  # that were run
    ran_ms: int
    parts: int
    compared: int  # columns
    notes: tuple[str, ...]
    difference: Difference | None


class Versions:
    """How the names of a trace stand to those of today's logic."""

    def __init__(self, path: Path, header: Header, logic: Logic) -> None:
        self.path, self.header, self.logic, self.notes = path, header, logic, list[str]()
        outputs = logic.definition.outputs._fields
        self._note("input", header.inputs, Inputs._fields, "takes its default")
        self._note("output", header.outputs, outputs, "is not compared")
        self._note("interlock", header.interlocks, logic.interlock_names, "is not compared")
        self._note("step", header.steps, logic.step_names, "")
        self._note("memory", header.memory, tuple(logic.memory), "takes its first value")
        self._note("preset", tuple(header.presets), Presets._fields, "takes its default")
        places = {name: k for k, name in enumerate(header.columns)}
        self._inputs = [places.get(name) for name in Inputs._fields]
        today = ("step", *logic.interlock_names, *outputs)  # what causes stands before what follows
        recorded = {*header.outputs, *header.watched}
        self.names = tuple(name for name in today if name in recorded)
        self._there = [places[name] for name in self.names]
        self._here = [today.index(name) for name in self.names]
        steps = {name: k for k, name in enumerate(logic.step_names)}
        self._steps = [steps.get(name, -1) for name in header.steps]
        self.presets = _presets(header.presets)

    def inputs(self, table: Any) -> Any:
        """The inputs of today out of the columns of the trace."""
        import numpy as np

        defaults = [int(value) for value in Inputs()]
        columns = [
            np.full(len(table), defaults[n]) if k is None else table[:, k] for n, k in enumerate(self._inputs)
        ]
        return np.column_stack(columns)

    def then(self, table: Any) -> Any:
        """What was commanded and watched, as today's logic numbers it; a step that is gone is -1."""
        import numpy as np

        there = table[:, self._there].copy()
        if "step" in self.names:
            k = self.names.index("step")
            there[:, k] = np.array([*self._steps, -1])[np.clip(there[:, k], -1, len(self._steps))]
        return there

    def today(self, ran: Rescanned) -> Any:
        """The same columns of today's scans."""
        import numpy as np

        step = list(self.logic.memory).index("step")
        return np.hstack([ran.memory[:, [step]], ran.acts, ran.outputs])[:, self._here]

    def memory(self, woke: Sequence[int]) -> list[int]:
        """
        Memory of the trace as today's.

        Raises:
            TraceError: It stands in a step that is gone.
        """
        found = dict(zip(self.header.memory, woke, strict=True))
        if "step" in found:
            step = found["step"]
            found["step"] = self._steps[step] if 0 <= step < len(self._steps) else -1
            if found["step"] < 0:
                name = self.header.steps[step] if 0 <= step < len(self.header.steps) else str(step)
                msg = f"{self.path}: a part begins in step {name}, which today's logic has not: it cannot run"
                raise TraceError(msg)
        if first_out := found.get("first_out"):
            names = self.header.interlocks
            name = names[first_out - 1] if 0 < first_out <= len(names) else ""
            today = self.logic.interlock_names
            found["first_out"] = today.index(name) + 1 if name in today else 0
        return [int(found.get(name, first)) for name, first in self.logic.memory.items()]

    def _note(self, kind: str, then: Sequence[str], today: Sequence[str], new: str) -> None:
        if fresh := [name for name in today if name not in then]:
            self.notes.append(f"new {kind}: {', '.join(fresh)}{f' ({new})' if new else ''}")
        if gone := [name for name in then if name not in today]:
            self.notes.append(f"{kind} that is gone: {', '.join(gone)}")


def _presets(then: Mapping[str, int]) -> Presets:
    """Today's presets with the values of the trace, conditions as conditions."""
    defaults = Presets()._asdict()
    kinds = {name: type(value) for name, value in defaults.items()}
    return Presets(**{name: kinds[name](then.get(name, value)) for name, value in defaults.items()})


def replay(path: Path, logic: Logic, rescanner_for: Callable[[Presets], Rescanner]) -> Replayed:
    """
    Runs a trace through a logic up to the first difference.

    Args:
        path: The trace.
        logic: Today's.
        rescanner_for: Gives what runs it at a station with these presets.

    Raises:
        TraceError: The trace cannot be read, is damaged, or begins where the logic of today cannot stand.
    """
    trace = Trace(path)
    versions = Versions(path, trace.header, logic)
    rescanner, difference = rescanner_for(versions.presets), None
    memory: list[int] = []
    done = ran_ms = parts = 0
    for scans in scans_of(trace):
        if scans.block.woke is not None:
            memory, parts = versions.memory(scans.block.woke), parts + 1
        run = _Run(versions, rescanner, scans, done)
        memory, difference = run.to_difference(memory)
        done += run.scans
        ran_ms += int(scans.table[: run.scans, 0].sum())
        if difference:
            break
    notes = (*versions.notes, *filter(None, [trace.cut]))
    same = logic_hash(logic) == trace.header.logic
    return Replayed(trace.header, same, done, ran_ms, parts, len(versions.names), notes, difference)


class _Run:
    """One block of a trace."""

    def __init__(self, versions: Versions, rescanner: Rescanner, scans: Scans, done: int) -> None:
        self._versions, self._rescanner, self._block, self._done = versions, rescanner, scans, done
        self._inputs, self._then = versions.inputs(scans.table), versions.then(scans.table)
        self.scans = 0

    def to_difference(self, memory: list[int]) -> tuple[list[int], Difference | None]:
        """The memory after the block, and the first difference in it."""
        import numpy as np

        dt_ms = self._block.table[:, 0]
        turns = np.flatnonzero(np.diff(dt_ms)) + 1  # a rescan has one time between scans
        for a, b in pairwise([0, *map(int, turns), len(dt_ms)]):
            ran = self._rescanner.run(
                memory, self._inputs[a:b], list(map(int, self._versions.presets)), int(dt_ms[a])
            )
            wrong = self._versions.today(ran) != self._then[a:b]
            if wrong.any():
                k = int(np.argmax(wrong.any(axis=1)))
                before = memory if k == 0 else [int(v) for v in ran.memory[k - 1]]
                self.scans = a + k + 1
                return memory, self._difference(a + k, before, self._versions.today(ran)[k])
            memory = [int(v) for v in ran.memory[-1]]
        self.scans = len(dt_ms)
        return memory, None

    def _difference(self, k: int, memory: list[int], today: Any) -> Difference:
        v, logic = self._versions, self._versions.logic
        engine, inputs = AsWritten(logic, on_rows), whole_inputs(self._inputs[k])
        dt_ms = int(self._block.table[k, 0])
        scene = Scene(engine, whole_memory(logic, memory), inputs, v.presets, dt_ms)
        differs, roots = [], list[list[str]]()
        for name, there, here in zip(v.names, self._then[k].tolist(), today.tolist(), strict=True):
            if there != here:
                differs.append(_differs(v, name, there, here))
                roots.append(_roots(scene, name, there))
        found = behind(scene, [root for those in roots for root in those])
        why = dict.fromkeys(ground for root in roots[0] for ground in scene.grounds_of(root))
        step = logic.step_names[scene.was_step]
        at_ms = int(self._block.at_ms[k])
        return Difference(at_ms, self._done + k + 1, step, tuple(differs), tuple(why), found)


def _differs(v: Versions, name: str, there: int, here: int) -> Differs:
    if name == "step":
        names = v.logic.step_names
        gone = "a step that is gone"
        return Differs("step", name, names[there] if there >= 0 else gone, names[here])
    kind = "interlock" if name in v.logic.interlock_names else "output"
    words = ("acts", "does not act") if kind == "interlock" else ("on", "off")
    return Differs(kind, name, words[not there], words[not here])


def _roots(scene: Scene, name: str, there: int) -> list[str]:
    """The facts that say what differs: of a step the guard that was taken, and those that lead there."""
    if name == "step":
        return guards_to(scene, there)
    return [f"{name.lower()}_acts" if name in scene.logic.interlock_names else name]
