"""
The scan of one kind of station: presets put in, what never moves left out, what means the same made equal.

The text of the generated scan is folded with the presets, the inputs that nobody drives and the length of a
scan; memory that keeps its first value by that is folded as well, until nothing more falls away (conditional
constants: Wegman and Zadeck, ACM TOPLAS 13(2), 1991). What is left is a function of some hundred memories.
"""

import ast
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

from controller.engines.folding import Fold, asked_for, names_in, plain
from controller.engines.generated import flat, source
from controller.sequence.logic import Logic

Memory = tuple[int, ...]


class Suited(NamedTuple):
    """What a scan is suited to."""

    presets: tuple[int, ...]  # in the order of the definition
    held: Mapping[str, int]  # inputs that nobody drives
    dt_ms: int  # between two scans, always the same
    facts: Mapping[str, int]  # facts that the world holds at a value
    same: Mapping[str, str]  # a memory, and the expression over facts that is remembered in its place
    outputs: Sequence[str]  # what the world obeys
    watched: Sequence[str]  # memory that somebody looks at, beside the step


class StationScan:
    """
    The scan over the memory that can move, and on which outputs or watched memory come to depend.

    `scan(memory, inputs)` answers memory and outputs; they stand in the order of `names`, `inputs` and
    `suited.outputs`. `first` is the memory at power-up.
    """

    def __init__(self, logic: Logic, suited: Suited) -> None:
        inputs, outputs = logic.definition.inputs._fields, logic.definition.outputs._fields
        first = dict(zip(logic.memory, flat(logic), strict=True))
        memory = {name: f"memory[{n}]" for n, name in enumerate(logic.memory)}
        wired = {name: f"inputs[{n}]" for n, name in enumerate(inputs)}
        out = [f"outputs[{outputs.index(name)}]" for name in suited.outputs]
        body, stored = _folded(logic, suited, {memory[n]: v for n, v in first.items()}, memory["step"])
        watched = {memory[n] for n in ("step", *suited.watched)}
        live = _live(body, stored, {*out, *watched}) | watched
        moving = {n for n, place in memory.items() if place in live and stored[place] != first[n]}
        self.names = [n for n in memory if n in moving]
        self.inputs = [name for name in inputs if name not in suited.held]
        self.first: Memory = tuple(first[n] for n in self.names)
        self.text = _whole(
            body, stored, [memory[n] for n in self.names], [wired[n] for n in self.inputs], out
        )
        made: dict[str, Any] = {}
        exec(compile(self.text, "<station scan>", "exec"), made)
        self.scan: Callable[[Memory, Memory], tuple[Memory, Memory]] = made["scan"]
        self._place = {name: k for k, name in enumerate(self.names)}
        self._still = {n: v for n, v in first.items() if stored[memory[n]] == v}
        self._kept = [name in logic.kept for name in self.names]

    def value(self, memory: Memory, name: str) -> int:
        """What `name` is in `memory`; what never moves has its first value."""
        return memory[self._place[name]] if name in self._place else self._still[name]

    def power_cycle(self, memory: Memory) -> Memory:
        """Memory as it is after a loss of power."""
        return tuple(v if kept else f for v, f, kept in zip(memory, self.first, self._kept, strict=True))


Body = list[ast.stmt]
Stored = dict[str, ast.expr | int]  # what goes into `array[n]`; a number if it is always the same


@lru_cache(maxsize=1)  # folding makes new statements
def _statements(logic: Logic) -> Body:
    """The statements of the generated scan, but for those that store memory and acts."""
    lines = [line for line in source(logic).splitlines() if not line.startswith(("    memory[", "    acts["))]
    scan = ast.parse("\n".join(lines)).body[0]
    assert isinstance(scan, ast.FunctionDef)
    return scan.body


def _folded(logic: Logic, suited: Suited, first: Mapping[str, int], step: str) -> tuple[Body, Stored]:
    """The statements of the scan, and what they store: memory that keeps its first value is a number."""
    fields = logic.definition.inputs._fields
    known = {f"presets[{n}]": v for n, v in enumerate(suited.presets)}
    known |= {f"inputs[{fields.index(name)}]": v for name, v in suited.held.items()}
    lines = [f"memory[{n}] = {suited.same.get(name, name)}" for n, name in enumerate(logic.memory)]
    whole = [*_statements(logic), *ast.parse("\n".join(lines)).body]
    moving = {step}
    while True:
        still = {place: v for place, v in first.items() if place not in moving}
        fold = Fold(known | still | {"dt_ms": suited.dt_ms}, suited.facts)
        body = fold.block(whole)
        more = {place for place, v in still.items() if fold.stored[place] != v}
        if not more:
            return body, fold.stored
        moving |= more


def _expression(stored: Stored, place: str) -> ast.expr:
    value = stored[place]
    return ast.Constant(value) if isinstance(value, int) else value


def _live(body: Body, stored: Stored, asked: set[str]) -> set[str]:
    """The memory that what is `asked` for comes to depend on."""
    live: set[str] = set()
    while True:
        wanted = set[str]().union(*(names_in(_expression(stored, place)) for place in asked | live))
        asked_for(body, wanted)
        more = {place for place in stored if place.startswith("memory") and plain(place) in wanted}
        if more <= live:
            return live
        live |= more


def _whole(
    body: Body, stored: Stored, memory: Sequence[str], inputs: Sequence[str], outputs: Sequence[str]
) -> str:
    """The text of the function: memory and inputs unpacked, what nobody asks for left out."""
    remembered = [_expression(stored, place) for place in memory]
    out = [_expression(stored, place) for place in outputs]
    wanted = set[str]().union(*map(names_in, (*remembered, *out)))
    answers = [", ".join(map(ast.unparse, values)) for values in (remembered, out)]
    return "\n".join(
        [
            "def scan(memory, inputs):",
            f"    {', '.join(map(plain, memory))}, = memory",
            f"    {', '.join(map(plain, inputs))}, = inputs",
            *(f"    {line}" for s in asked_for(body, wanted) for line in ast.unparse(s).splitlines()),
            f"    return ({answers[0]},), ({answers[1]},)",
        ]
    )
