"""
Why a scan did what it did: its facts worked out again, and followed down to values and limits.

Works for any scan of which memory before it and inputs are known, on the rig as in the simulator. Values are
said as people type them: presets by their key in receiver.yaml, in its unit; the rest by the end of the name.
"""

import ast
import re
from collections.abc import Container, Iterable, Mapping
from functools import cache
from typing import Any, NamedTuple

from controller.engines.as_written import AsWritten
from controller.engines.fixed import Fixed, fixed_at, settled
from controller.port import NEVER_MS
from controller.sequence.definition import Row
from controller.sequence.expressions import Read, read_of, reads_of
from controller.sequence.logic import Logic
from controller.sequence.made_facts import lines_of
from controller.sequence.phrases import phrase, said, words
from controller.sequence.reasons import reason
from controller.settings import keys
from controller.station_keys import Key, typed
from controller.units import split

SIGNS = {ast.Eq: "=", ast.NotEq: "not", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">="}
CONTRARY = {"=": "not", "not": "=", "<": ">=", "<=": ">", ">": "<=", ">=": "<"}
MANY = 4
"""An `or` of more alternatives than this, none of which stands, is counted, not listed."""


FEW = 3
"""A fact with more grounds than this is named, not followed."""

SAID = {"pa": ("kPa", 1_000), "pa_g": ("kPa", 1_000), "ua": ("mA", 1_000), "ms": ("ms", 1)}
"""By the end of a name that is no preset: the unit it is said in, and what the value is divided by."""


IMAGE_AGE = Read("now", "image_age_ms")
NO_IMAGE = "no image of the inputs yet, or none since the link was lost"


class Waiting(NamedTuple):
    """A row that leaves the step, and what holds it back (or, where it fired, what let it)."""

    guard: str
    to: str
    holds_back: tuple[str, ...]


class _Readings(dict[Read, int]):
    """All that can be read in a scan, each value fetched when it is first read."""

    def __init__(self, facts: Mapping[str, int], records: Mapping[str, Any], dt_ms: int) -> None:
        super().__init__({Read("this", "dt_ms"): dt_ms})
        self._facts, self._records = facts, records

    def __missing__(self, read: Read) -> int:
        record = self._records.get(read.group)
        value = self[read] = self._facts[read.name] if record is None else getattr(record, read.name)
        return value


class Scene:
    """One scan laid open. `memory` is the one before it; all as the engine as written takes them."""

    def __init__(self, engine: AsWritten, memory: Any, inputs: Any, presets: Any, dt_ms: int) -> None:
        self.logic: Logic = engine.logic
        self.facts = engine.facts_asked(memory, inputs, presets, dt_ms)
        self.was_step: int = memory.step
        self._read = {"now": inputs, "set": presets, "was": memory}
        self._readings = _Readings(self.facts, self._read, dt_ms)

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
            name = self.first_out()
            return name if self.facts["trip"] else f"{name}; {phrase(row.guard.name)}"
        return words(self._nearest(row.guard.name))

    def first_out(self) -> str:
        """The id of the interlock that tripped first; empty without one."""
        number = self.facts["first_out"]
        return self.logic.interlock_names[number - 1] if number else ""

    def waiting(self) -> list[Waiting]:
        """The rows that can leave the step at this station, in order, each with what holds it back."""
        return [
            Waiting(row.guard.name, self.logic.step_names[row.to], self.grounds_of(row.guard.name))
            for row in self.logic.rows_from(self.was_step)
            if _fixed(self.logic, self._read["set"]).facts.get(row.guard.name) != 0
        ]

    def grounds_of(self, fact: str) -> tuple[str, ...]:
        """The values that make a fact what it is."""
        if self._is_delayed(fact):
            return _tidy(self._grounds_of_delay(fact, said(fact, False)))
        return _tidy(self._grounds(self.logic.facts[fact].tree))

    def grounds_of_interlock(self, name: str) -> tuple[str, ...]:
        """The values behind the lines of an interlock that act."""
        lines = lines_of(self.logic.definition.interlocks)
        grounds: list[str] = []
        for fact, line in lines:
            if line.name == name and self.facts[fact]:
                grounds += self.grounds_of(line.cause.name)
                grounds += [self._duration(fact)] if line.delay else []
        return _tidy(grounds)

    def causes_of_interlock(self, name: str) -> frozenset[str]:
        """The facts behind the lines of an interlock that act."""
        lines = lines_of(self.logic.definition.interlocks)
        return frozenset(line.cause.name for fact, line in lines if line.name == name and self.facts[fact])

    def looks_at(self, name: str, causes: Container[str]) -> bool:
        """Whether an interlock asks for one of these facts in the step of this scan."""
        lines = self.logic.definition.interlocks
        return any(i.name == name and i.cause.name in causes and self.was_step in i.steps for i in lines)

    def refusals(self, command: str) -> tuple[str, ...]:
        """Why a command would be refused in this scan."""
        lines = self.logic.definition.refusals
        return tuple(r.reason for r in lines if r.command == command and self.facts[r.fact.name])

    def _nearest(self, fact: str) -> str:
        """Down a chain of `or` to the first alternative that stands and has a name."""
        tree = self.logic.facts[fact].tree
        if isinstance(tree, ast.BoolOp) and isinstance(tree.op, ast.Or):
            true = next(v for v in tree.values if self.value(v))
            read = read_of(true)
            if read is not None and read.group == "this":
                return self._nearest(read.name)
        return fact

    def value(self, node: ast.expr) -> Any:
        """What an expression of the logic gives in this scan."""
        return reason(node, self._readings, self.logic.constants).value

    def _grounds(self, node: ast.expr) -> list[str]:
        match node:
            case ast.BoolOp(op, values):
                decisive = [v for v in values if bool(self.value(v)) == isinstance(op, ast.Or)]
                if not decisive and isinstance(op, ast.Or) and len(values) > MANY:
                    return [f"none of its {len(values)} causes stands"]
                told = decisive or values
                told = [v for v in told if not self._is_fixed(v)] or told
                return [ground for v in told for ground in self._grounds(v)]
            case ast.UnaryOp(ast.Not(), value):
                return self._grounds(value)
            case ast.IfExp(test, a, b):
                return self._grounds(a if self.value(test) else b)
            case ast.Compare(a, [op], [b]):
                return [self._comparison(node, a, op, b)]
            case ast.Constant(value):
                return [f"always {'so' if value else 'not so'}"]
        read = read_of(node)
        assert read is not None, ast.dump(node)
        return self._grounds_of_read(node, read)

    def _grounds_of_read(self, node: ast.expr, read: Read) -> list[str]:
        state = self._state(read, bool(self.value(node)))
        if read.group != "this":
            return [state]
        fact = self.logic.facts[read.name]
        if self._is_delayed(read.name):
            return self._grounds_of_delay(read.name, state)
        deeper = _tidy(self._grounds(fact.tree))
        if len(deeper) <= FEW and (fact.first is None or read.name.endswith("_seen")):
            return list(deeper)
        # a signal is judged by constants, which would drown what is compared with a preset
        measured = [
            ground for ground in deeper if _measured(ground) and ": " not in ground and ground[-1] == ")"
        ]
        return [f"{state}: {' and '.join(measured)}" if measured else state]

    def _state(self, read: Read, on: bool) -> str:
        """A condition as it stands; one of the scan before is marked where this scan changed it."""
        if read.group == "set":
            return f"{_typed_as()[read.name].loc[-1]} is {'true' if on else 'false'}"
        text = said(read.name, on)
        changed = read.group == "was" and bool(self.facts.get(read.name, on)) != on
        return f"{text} until now" if changed else text

    def _is_fixed(self, node: ast.expr) -> bool:
        """Whether it never changes here: what is fitted explains nothing that happens."""
        return _settled(self.logic, self._read["set"], node)

    def _is_delayed(self, name: str) -> bool:
        return f"{name}_seen" in self.facts and f"{name}_held_ms" in self.facts

    def _grounds_of_delay(self, name: str, state: str) -> list[str]:
        """For how long the cause has stood, of how long it has to; without a cause, why there is none."""
        deeper = _tidy(self._grounds(self.logic.facts[f"{name}_seen"].tree))
        if not self.facts[f"{name}_seen"]:
            return list(deeper) if len(deeper) <= FEW else [state]
        return [*filter(_measured, deeper), f"{phrase(name)} {self._duration(name)}"]

    def _duration(self, name: str) -> str:
        """Time held, of the delay: the last condition of a delayed fact compares them."""
        tree = self.logic.facts[name].tree
        compared = tree.values[-1] if isinstance(tree, ast.BoolOp) else tree
        assert isinstance(compared, ast.Compare), name
        held, limit = self._said(compared.left, compared.comparators[0])
        return f"for {held} of {limit}{self._in_brackets(compared.comparators[0])}"

    def _comparison(self, node: ast.expr, a: ast.expr, op: ast.cmpop, b: ast.expr) -> str:
        stands = self.value(node)
        if isinstance(op, ast.In) or "step" in (_text(a), _text(b)):
            return f"step is {self.logic.step_names[int(self.value(a))]}"
        read = read_of(a)
        if read == IMAGE_AGE and self.value(a) >= NEVER_MS:
            return NO_IMAGE
        item = _typed_as().get(read.name) if read and read.group == "set" else None
        if item and item.limits.choices:
            return f"{self._term(a)} is {typed(item, self.value(a))}"
        if isinstance(b, ast.Name) and isinstance(op, ast.Eq | ast.NotEq):
            same = self.value(a) == self.value(b)
            return f"{self._term(a)} is {'' if same else 'not '}{words(b.id.lower())}"
        sign = SIGNS[type(op)]
        value, limit = self._said(a, b)
        return f"{self._term(a)} {value} {sign if stands else CONTRARY[sign]} {limit}{self._in_brackets(b)}"

    def _said(self, a: ast.expr, b: ast.expr) -> tuple[str, str]:
        """Both values in one unit, that of a preset first; with as many places as tell them apart."""
        values = [self.value(a), self.value(b)]
        unit, per = _unit_of([read.name for side in (a, b) for read in reads_of(side)], max(values))
        for places in (2, 3):
            shown = [_number(value, per, places) for value in values]
            if shown[0] != shown[1]:
                break
        return f"{shown[0]} {unit}".rstrip(), f"{shown[1]} {unit}".rstrip()

    def _in_brackets(self, node: ast.expr) -> str:
        return f" ({self._term(node)})" if reads_of(node) else ""

    def _term(self, node: ast.expr) -> str:
        """What is compared, by its names; of a choice the branch taken; without the time of the scan."""
        match node:
            case ast.Constant() | ast.Name():
                return f"{value:,}" if (value := self.value(node)) else ""
            case ast.IfExp(test, yes, no):
                return self._term(yes if self.value(test) else no)
            case ast.Call(ast.Name("min" | "max"), [yes, no]):
                return self._term(yes if self.value(yes) == self.value(node) else no)
            case ast.BinOp(a, ast.Add(), b):
                return " + ".join(filter(None, (self._term(a), self._term(b))))
            case ast.BinOp(a, ast.Sub(), b):
                return f"{self._term(a)} - {self._term(b)}" if self._term(a) else f"-{self._term(b)}"
        read = read_of(node)
        if read is None:
            return _text(node)
        if read.group == "set":
            return str(_typed_as()[read.name].loc[-1])
        fact = self.logic.facts.get(read.name) if read.group == "this" else None
        if fact and fact.first is None and (isinstance(fact.tree, ast.IfExp) or self._is_fixed(node)):
            return self._term(fact.tree)
        return "" if read.name == "dt_ms" else phrase(read.name)


@cache
def _fixed(logic: Logic, presets: Any) -> Fixed:
    """What never changes at a station with these presets."""
    return fixed_at(logic, presets._asdict(), {})


@cache
def _settled(logic: Logic, presets: Any, node: ast.expr) -> bool:
    """Whether an expression of the logic never changes at a station with these presets."""
    return settled(logic, _fixed(logic, presets), presets._asdict(), node) is not None


@cache
def _typed_as() -> dict[str, Key]:
    """How each preset is typed."""
    return {item.name: item for item in keys()}


def _unit_of(names: Iterable[str], largest: int) -> tuple[str, float]:
    """The unit for values of these names, and what they are divided by: that of a preset comes first."""
    names = list(names)
    for item in filter(None, map(_typed_as().get, names)):
        if item.unit:
            return item.unit.split()[0], float(item.times)
    suffix = next((unit.suffix for name in names if (unit := split(name)[1])), "")
    return ("s", 1_000) if suffix == "ms" and largest >= 60_000 else SAID.get(suffix, ("", 1))


def _number(value: int, per: float, places: int) -> str:
    if isinstance(value, bool):
        return "on" if value else "off"
    text = f"{value / per:,.{places}f}"
    return text.rstrip("0").rstrip(".")


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
    """Each ground once; step and kind of equipment, which everybody knows, where there is nothing else."""
    once = dict.fromkeys(grounds)
    known = ("step is ", *(f"{item.loc[-1]} is " for item in keys() if item.limits.choices))
    return tuple(ground for ground in once if not ground.startswith(known)) or tuple(once)


def _measured(ground: str) -> bool:
    """Whether it compares values other than times."""
    return re.search(r"[<>]", ground) is not None and re.search(r" m?s [<>]", ground) is None
