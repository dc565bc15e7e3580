"""
Why a scan did what it did: its facts worked out again, and followed down to values and limits.

Works for any scan of which memory before it and inputs are known, on the rig as in the simulator.
"""

import ast
from collections.abc import Iterable
from functools import cached_property
from typing import Any, NamedTuple

from controller.engines.as_written import AsWritten
from controller.sequence.definition import Row
from controller.sequence.expressions import Read, read_of
from controller.sequence.logic import Logic
from controller.sequence.made_facts import lines_of
from controller.sequence.reasons import reason

SIGNS = {ast.Eq: "=", ast.NotEq: "not", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">="}
CONTRARY = {"=": "not", "not": "=", "<": ">=", "<=": ">", ">": "<=", ">=": "<"}
MANY = 4
"""An `or` of more alternatives than this, none of which stands, is counted, not listed."""


FEW = 3
"""A fact with more grounds than this is named, not followed."""


class Waiting(NamedTuple):
    """A row that leaves the step, and what holds it back (or, where it fired, what let it)."""

    guard: str
    to: str
    holds_back: tuple[str, ...]


class Scene:
    """One scan laid open. `memory` is the one before it; all as the engine as written takes them."""

    def __init__(self, engine: AsWritten, memory: Any, inputs: Any, presets: Any, dt_ms: int) -> None:
        self.logic: Logic = engine.logic
        self.facts = engine.all_facts(memory, inputs, presets, dt_ms)
        self.was_step: int = memory.step
        self._read = {"now": inputs, "set": presets, "was": memory}
        self._dt_ms = dt_ms

    def fired(self) -> Row | None:
        """The row taken in this scan."""
        rows = self.logic.rows_from(self.was_step)
        return next((row for row in rows if self.facts[row.guard.name]), None)

    def reason(self) -> str:
        """Why the step was left in this scan, in words; empty if it was not."""
        row = self.fired()
        if row is None:
            return ""
        if row.to == self.logic.definition.fault and self.facts["first_out"]:
            return self.first_out()
        return words(self._nearest(row.guard.name))

    def first_out(self) -> str:
        """The id of the interlock that tripped first; empty without one."""
        number = self.facts["first_out"]
        return self.logic.interlock_names[number - 1] if number else ""

    def waiting(self) -> list[Waiting]:
        """The rows that leave the step, in order, each with what holds it back."""
        return [
            Waiting(row.guard.name, self.logic.step_names[row.to], self.grounds_of(row.guard.name))
            for row in self.logic.rows_from(self.was_step)
        ]

    def grounds_of(self, fact: str) -> tuple[str, ...]:
        """The values that make a fact what it is."""
        return _tidy(self._grounds(self.logic.facts[fact].tree))

    def grounds_of_interlock(self, name: str) -> tuple[str, ...]:
        """The values behind the lines of an interlock that act."""
        lines = lines_of(self.logic.definition.interlocks)
        said: list[str] = []
        for fact, line in lines:
            if line.name == name and self.facts[fact]:
                said += self.grounds_of(line.cause.name)
                said += [f"for {self.facts[f'{fact}_held_ms']:,} ms"] if line.delay else []
        return _tidy(said)

    def refusals(self, command: str) -> tuple[str, ...]:
        """Why a command would be refused in this scan."""
        lines = self.logic.definition.refusals
        return tuple(r.reason for r in lines if r.command == command and self.facts[r.fact.name])

    def _nearest(self, fact: str) -> str:
        """Down a chain of `or` to the first alternative that stands and has a name."""
        tree = self.logic.facts[fact].tree
        if isinstance(tree, ast.BoolOp) and isinstance(tree.op, ast.Or):
            true = next(v for v in tree.values if self._value(v))
            read = read_of(true)
            if read is not None and read.group == "this":
                return self._nearest(read.name)
        return fact

    def _value(self, node: ast.expr) -> Any:
        return reason(node, self._values, self.logic.constants).value

    @cached_property
    def _values(self) -> dict[Read, int]:
        """All that can be read in this scan."""
        values = {Read("this", name): value for name, value in self.facts.items()}
        for group, record in self._read.items():
            values |= {Read(group, name): value for name, value in record._asdict().items()}
        return {**values, Read("this", "dt_ms"): self._dt_ms}

    def _grounds(self, node: ast.expr) -> list[str]:
        match node:
            case ast.BoolOp(op, values):
                decisive = [v for v in values if bool(self._value(v)) == isinstance(op, ast.Or)]
                if not decisive and isinstance(op, ast.Or) and len(values) > MANY:
                    return [f"none of its {len(values)} causes stands"]
                return [ground for v in decisive or values for ground in self._grounds(v)]
            case ast.UnaryOp(ast.Not(), value):
                return self._grounds(value)
            case ast.IfExp(test, a, b):
                return self._grounds(a if self._value(test) else b)
            case ast.Compare(a, [op], [b]):
                return [self._comparison(node, a, op, b)]
            case ast.Constant(value):
                return [f"always {'so' if value else 'not so'}"]
        read = read_of(node)
        assert read is not None, ast.dump(node)
        return self._grounds_of_read(node, read)

    def _grounds_of_read(self, node: ast.expr, read: Read) -> list[str]:
        state = f"{_name(read)} is {'on' if self._value(node) else 'off'}"
        if read.group != "this":
            return [state]
        fact = self.logic.facts[read.name]
        deeper = _tidy(self._grounds(fact.tree))
        if fact.first is None or read.name.endswith("_seen"):
            return list(deeper) if len(deeper) <= FEW else [state]
        measured = [ground for ground in deeper if _measured(ground)]
        return [f"{state} ({'; '.join(measured)})" if measured else state]

    def _comparison(self, node: ast.expr, a: ast.expr, op: ast.cmpop, b: ast.expr) -> str:
        stands = self._value(node)
        if isinstance(op, ast.In) or "step" in (_text(a), _text(b)):
            return f"step is {self.logic.step_names[int(self._value(a))]}"
        sign = SIGNS[type(op)]
        return f"{self._side(a)} {sign if stands else CONTRARY[sign]} {self._side(b)}"

    def _side(self, node: ast.expr) -> str:
        value = self._value(node)
        shown = ("on" if value else "off") if isinstance(value, bool) else f"{value:,}"
        return shown if isinstance(node, ast.Constant) else f"{_text(node)} {shown}"


def _name(read: Read) -> str:
    return f"{read.name} before" if read.group == "was" else read.name


def _text(node: ast.expr) -> str:
    """An expression as a person reads it: without the prefixes of its groups."""
    read = read_of(node)
    if read is not None:
        return read.name
    text = ast.unparse(node)
    for prefix in ("s.now.", "s.set.", "s.was.", "s."):
        text = text.replace(prefix, "")
    return text


def _tidy(grounds: Iterable[str]) -> tuple[str, ...]:
    """Each ground once; the step, which everybody knows, only where there is nothing else."""
    once = dict.fromkeys(grounds)
    return tuple(ground for ground in once if not ground.startswith("step is ")) or tuple(once)


def _measured(ground: str) -> bool:
    return any(sign in ground for sign in ("<", ">")) and "step_ms" not in ground


def words(name: str) -> str:
    """A name of the code in words."""
    return name.replace("_", " ")
