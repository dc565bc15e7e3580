"""
The scan as one generated function over flat sequences: plain assignments, the rows a ladder of ifs.

The text has no names to look up and runs interpreted over lists of int, or compiled over int64 arrays
(`controller.engines.compiled`). One writer, two manners: with `and`, `or` and `if`, which plain Python does
quickest, or free of branches, which Numba compiles many times sooner.
"""

import ast
from collections import Counter
from collections.abc import Callable, Mapping, MutableSequence, Sequence
from functools import lru_cache
from typing import Any

from controller.engines.as_written import Scanned
from controller.engines.fixed import folded
from controller.sequence.expressions import Read, read_of, reads_of
from controller.sequence.logic import Fact, Logic

FlatScan = Callable[
    [MutableSequence[int], Sequence[int], Sequence[int], int, MutableSequence[int], MutableSequence[int]],
    None,
]
"""`scan(memory, inputs, presets, dt_ms, outputs, acts)`: memory, outputs, acts are written in place."""

SOURCES = {"now": "inputs", "set": "presets", "was": "memory"}
SYMBOLS: dict[type, str] = {
    ast.Eq: "==", ast.NotEq: "!=", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=",
    ast.Add: "+", ast.Sub: "-", ast.FloorDiv: "//",
}  # fmt: skip


class _Text:
    """Writes the generated function."""

    def __init__(
        self, logic: Logic, branch_free: bool, options: Mapping[str, int], named: bool = True
    ) -> None:
        self.logic, self.branch_free = logic, branch_free
        self.named = named
        self.trees = folded(logic, options) if options else {n: f.tree for n, f in logic.facts.items()}
        d = logic.definition
        self.places = {
            Read(group, name): n
            for group, names in (("now", d.inputs._fields), ("set", d.presets._fields), ("was", logic.memory))
            for n, name in enumerate(names)
        }
        self.acts = [f"{n.lower()}_acts" for n in logic.interlock_names]
        self.needed = self._needed()
        self.inner = frozenset[str]() if named else self._used_once()
        times = Counter(r for f in self.needed for r in self.reads(f.name) if r.group != "this")
        self.local = {r: f"_{r.group}_{r.name}" for r, n in times.items() if n > 2 or not named}

    def reads(self, name: str) -> tuple[Read, ...]:
        if name == "step":
            guards = (Read("this", row.guard.name) for row in self.logic.rows)
            return (Read("was", "step"), *guards)
        return reads_of(self.trees[name])

    def _needed(self) -> list[Fact]:
        """The facts that memory, outputs or acts come to depend on, in working order."""
        facts = self.logic.facts
        wanted = {*self.logic.memory, *self.logic.definition.outputs._fields, *self.acts}
        for name in reversed(facts):
            if name in wanted:
                wanted |= {r.name for r in self.reads(name) if r.group == "this"}
        return [f for f in facts.values() if f.name in wanted]

    def _used_once(self) -> frozenset[str]:
        """Facts that stand in one place only and are not kept: written there, they need no name."""
        uses = Counter(row.guard.name for k in self.logic.steps for row in self.logic.rows_from(k))
        for f in self.needed:
            if f.name != "step":
                reads = filter(None, map(read_of, ast.walk(self.trees[f.name])))
                uses.update(r.name for r in reads if r.group == "this")
        kept = {*self.logic.memory, *self.logic.definition.outputs._fields, *self.acts}
        # a whole number is quicker as statements
        return frozenset(f.name for f in self.needed if uses[f.name] == 1 and f.kind is bool) - kept

    def whole(self) -> str:
        lines = ["def scan(memory, inputs, presets, dt_ms, outputs, acts):"]
        if self.named:
            lines += [f"    {name} = {self.fetch(r)}" for r, name in self.local.items()]
        else:
            lines += self.unpacked()
        lines += [f"    _was_at = 1 << memory[{self.places[Read('was', 'step')]}]"]
        for f in self.needed:
            if f.name not in self.inner:
                lines += self.step() if f.name == "step" else self.assign("    ", f.name, self.trees[f.name])
        for target, names in (
            ("memory", self.logic.memory),
            ("outputs", self.logic.definition.outputs._fields),
            ("acts", self.acts),
        ):
            stored = list(map(self.stored, names))
            if self.named:
                lines += [f"    {target}[{n}] = {value}" for n, value in enumerate(stored)]
            elif stored:
                lines.append(f"    {target}[:] = ({', '.join(stored)},)")
        return "\n".join([*lines, ""])

    def unpacked(self) -> list[str]:
        """All that is read, taken out of its sequence at once: quicker than one by one."""
        lines = []
        for group, source in SOURCES.items():
            names = [self.local.get(r, "_") for r in self.places if r.group == group]
            if set(names) - {"_"}:
                lines.append(f"    ({', '.join(names)},) = {source}")
        return lines

    def stored(self, name: str) -> str:
        if self.logic.facts[name].kind is int:
            return name
        if not self.named:
            return f"+{name}"  # a whole number
        return f"{name} & 1" if self.branch_free else f"1 if {name} else 0"

    def fetch(self, r: Read) -> str:
        place = f"{SOURCES[r.group]}[{self.places[r]}]"
        return f"({place} != 0)" if self.logic.kinds[r] is bool else place

    def guard(self, name: str) -> str:
        return self.text(self.trees[name]) if name in self.inner else name

    def step(self) -> list[str]:
        was = self.text(ast.parse("s.was.step", mode="eval").body)
        lines = [f"    step = {was}"]
        word = "if"
        for k in self.logic.steps:
            if rows := self.logic.rows_from(k):
                lines.append(f"    {word} {was} == {int(k)}:")
                word = "elif"
                for n, row in enumerate(rows):
                    lines.append(f"        {'elif' if n else 'if'} {self.guard(row.guard.name)}:")
                    lines.append(f"            step = {int(row.to)}")
        return [*lines, "    _at = 1 << step"]

    def assign(self, indent: str, name: str, tree: ast.expr) -> list[str]:
        """Statements: a choice, a minimum, a maximum at the top of a rule is quicker so than as a call."""
        if self.branch_free:
            return [f"{indent}{name} = {self.text(tree)}"]
        match tree:
            case ast.IfExp(test, a, b):
                yes = self.assign(indent + "    ", name, a)
                if isinstance(b, ast.IfExp):  # a ladder, not a staircase
                    no = self.assign(indent, name, b)
                    no[0] = no[0].replace("if ", "elif ", 1)
                else:
                    no = [f"{indent}else:", *self.assign(indent + "    ", name, b)]
                return [f"{indent}if {self.text(test)}:", *yes, *no]
            case ast.Call(
                ast.Name("min" | "max" as which), [a, ast.Constant() | ast.Name() | ast.Attribute() as b]
            ):
                other = self.text(b)
                sign = ">" if which == "min" else "<"
                keep = [f"{indent}if {name} {sign} {other}:", f"{indent}    {name} = {other}"]
                return [*self.assign(indent, name, a), *keep]
        return [f"{indent}{name} = {self.text(tree)}"]

    def text(self, node: ast.expr) -> str:
        t = self.text
        match node:
            case ast.Constant(bool() as value):
                return str(value)
            case ast.Constant(int() as value):
                return str(value) if value >= 0 else f"({value})"
            case ast.Name(name):
                return str(self.logic.constants[name])
            case ast.BoolOp(op, values):
                return "(" + self.joined(isinstance(op, ast.And)).join(map(t, values)) + ")"
            case ast.UnaryOp(ast.Not(), value):
                return f"(not {t(value)})"
            case ast.IfExp(test, a, b):
                return self.chosen(node, t(test), t(a), t(b))
            case ast.Call(ast.Name("percent"), [a, p]):
                return f"({self.at_least_0(t(a))} * {self.at_least_0(t(p))} // 100)"
            case ast.Call(ast.Name(name), [a, b]):
                return f"{name}({t(a)}, {t(b)})"
            case ast.Compare(a, [ast.In()], [ast.Tuple(steps)]):
                return self.among(a, [self.logic.constants[k.id] for k in steps if isinstance(k, ast.Name)])
            case ast.BinOp(a, op, b) | ast.Compare(a, [op], [b]):
                return f"({t(a)} {SYMBOLS[type(op)]} {t(b)})"
        read = read_of(node)
        assert read is not None, ast.dump(node)
        return self.guard(read.name) if read.group == "this" else self.local.get(read) or self.fetch(read)

    def at_least_0(self, text: str) -> str:
        if text.isdigit():
            return text
        quickly = text.isidentifier() and not self.named
        return f"({text} if {text} > 0 else 0)" if quickly else f"max({text}, 0)"

    def joined(self, by_and: bool) -> str:
        if self.branch_free:
            return " & " if by_and else " | "
        return " and " if by_and else " or "

    def chosen(self, node: ast.expr, test: str, yes: str, no: str) -> str:
        if not self.branch_free:
            return f"({yes} if {test} else {no})"
        if self.kind(node) is bool:
            return f"({test} & {yes} | (not {test}) & {no})"
        if no == "0":
            return f"({test} * {yes})"
        return f"({test} * {yes} + (not {test}) * {no})"

    def kind(self, node: ast.expr) -> type:
        match node:
            case ast.Constant(bool()) | ast.BoolOp() | ast.Compare() | ast.UnaryOp():
                return bool
            case ast.IfExp(body=a):
                return self.kind(a)
        read = read_of(node)
        return self.logic.kinds[read] if read else int

    def among(self, step: ast.expr, steps: Sequence[int]) -> str:
        if len(steps) == 1:
            return f"({self.text(step)} == {steps[0]})"
        match read_of(step):
            case ("this", "step"):
                return f"(_at & {sum(1 << k for k in steps):#x} != 0)"
            case ("was", "step"):
                return f"(_was_at & {sum(1 << k for k in steps):#x} != 0)"
        return "(" + self.joined(False).join(f"({self.text(step)} == {k})" for k in steps) + ")"


def source(
    logic: Logic, branch_free: bool = False, options: Mapping[str, int] | None = None, named: bool = True
) -> str:
    """
    The text of the scan: one function `scan`, without imports.

    Args:
        logic: What it scans.
        branch_free: For Numba.
        options: Presets that are always so; what they settle is left out. Only for these, from power-up on.
        named: Every fact has its line, every value its place. Else quicker, for plain Python alone: a fact
            that is used in one place is written there; all is read at once, and stored at once.
    """
    return _source(logic, branch_free, tuple((options or {}).items()), named)


@lru_cache(maxsize=8)  # of a whole logic it takes half a second, and each start asks for it twice
def _source(logic: Logic, branch_free: bool, options: tuple[tuple[str, int], ...], named: bool) -> str:
    return _Text(logic, branch_free, dict(options), named).whole()


def interpreted(logic: Logic, options: Mapping[str, int] | None = None) -> FlatScan:
    """The generated scan on plain Python, quickest over lists of int; `options` as in `source`."""
    return _interpreted(logic, tuple((options or {}).items()))


@lru_cache(maxsize=8)
def _interpreted(logic: Logic, options: tuple[tuple[str, int], ...]) -> FlatScan:
    names: dict[str, Any] = {}
    exec(compile(_source(logic, False, options, named=False), "<generated scan>", "exec"), names)
    scan: FlatScan = names["scan"]
    return scan


class OnRecords:
    """A flat scan behind the named tuples of `AsWritten.scan`; `flat` makes its sequences."""

    def __init__(self, logic: Logic, scan: FlatScan, flat: Callable[[Sequence[int]], Any] = list) -> None:
        self.logic, self._flat_scan, self._flat = logic, scan, flat
        self._memory_kinds = [f.kind for f in logic.facts.values() if f.first is not None]
        self._blank_outputs = [0] * len(logic.definition.outputs._fields)
        self._blank_acts = [0] * len(logic.interlock_names)

    def scan(self, memory: Any, inputs: Any, presets: Any, dt_ms: int) -> Scanned:
        """One scan."""
        m, outputs, acts = self._flat(memory), self._flat(self._blank_outputs), self._flat(self._blank_acts)
        self._flat_scan(m, self._flat(inputs), self._flat(presets), dt_ms, outputs, acts)
        return Scanned(
            self.logic.Memory._make([kind(v) for kind, v in zip(self._memory_kinds, m, strict=True)]),
            self.logic.definition.outputs._make(map(bool, outputs)),
            self.logic.Acts._make(map(bool, acts)),
        )


def flat(logic: Logic, kept: dict[str, int] | None = None) -> list[int]:
    """The memory at power-up in flat form."""
    return [int(v) for v in logic.power_up(kept)]
