"""
Scans as terms of the solver z3: the same facts over unknown inputs, presets and memory.

Whole numbers are unbounded here; that memory stays in 32 bits is a claim like any other. `percent` of two
unknowns is left open, but for bounds that always hold, so that all stays linear. Needs the extra `prove`.
"""

import ast
from collections.abc import Iterator, Mapping
from typing import Any

from controller.sequence.expressions import OPERATORS, Read, read_of
from controller.sequence.logic import Logic

DT_MS = (1, 1_000)
"""The time between two scans that proofs assume [ms]."""


class Scans:
    """
    Scans 0, 1, 2 ... that follow each other under the same presets; terms are built when asked for.

    Args:
        logic: Whose facts.
        first: The memory before scan 0; what it does not name is unknown.
    """

    def __init__(self, logic: Logic, first: Mapping[str, int]) -> None:
        import z3

        self._z3, self.logic = z3, logic
        self.assumed: list[Any] = []  # what holds of the unknowns made so far; it grows with the terms
        self.percents: list[tuple[Any, Any, Any]] = []  # a, p, percent(a, p): those left open
        self.unknowns: dict[tuple[int, Read], Any] = {}
        self._terms: dict[tuple[int, Read], Any] = {}
        self._percent = z3.Function("percent", z3.IntSort(), z3.IntSort(), z3.IntSort())
        for name, value in first.items():
            self._terms[0, Read("was", name)] = self._constant(value)

    def of(self, scan: int, tree: ast.expr) -> Any:
        """The term of an expression (in core form) in a scan."""
        z3 = self._z3

        def t(node: ast.expr) -> Any:
            return self.of(scan, node)

        match tree:
            case ast.Constant(bool() | int() as value):
                return self._constant(value)
            case ast.Name(name):
                return z3.IntVal(self.logic.constants[name])
            case ast.BoolOp(op, values):
                return (z3.And if isinstance(op, ast.And) else z3.Or)(*map(t, values))
            case ast.UnaryOp(ast.Not(), value):
                return z3.Not(t(value))
            case ast.IfExp(test, a, b):
                return z3.If(t(test), t(a), t(b))
            case ast.Call(ast.Name("percent"), [a, p]):
                return self._percent_of(t(a), t(p), p)
            case ast.Call(ast.Name(name), [a, b]):
                x, y = t(a), t(b)
                return z3.If(x <= y, x, y) if name == "min" else z3.If(x >= y, x, y)
            case ast.Compare(a, [ast.In()], [ast.Tuple(steps)]):
                x = t(a)
                return z3.Or(*(x == self.logic.constants[k.id] for k in steps if isinstance(k, ast.Name)))
            case ast.BinOp(a, ast.FloorDiv(), b):
                return t(a) / t(b)  # of a positive constant: rounds down, as Python does
            case ast.BinOp(a, op, b) | ast.Compare(a, [op], [b]):
                return OPERATORS[type(op)](t(a), t(b))
        read = read_of(tree)
        assert read is not None, ast.dump(tree)
        return self.read(scan, read)

    def read(self, scan: int, read: Read) -> Any:
        """The term of what a scan reads."""
        if read.group == "set":
            scan = 0
        if (scan, read) not in self._terms:
            self._terms[scan, read] = self._made(scan, read)
        return self._terms[scan, read]

    def _made(self, scan: int, read: Read) -> Any:
        if read.group == "was" and scan > 0:
            return self.read(scan - 1, Read("this", read.name))
        if read == Read("this", "step"):
            return self._step(scan)
        if read.group == "this" and read.name in self.logic.facts:
            return self.of(scan, self.logic.facts[read.name].tree)
        return self._unknown(scan, read)

    def _step(self, scan: int) -> Any:
        z3 = self._z3
        term = was = self.read(scan, Read("was", "step"))
        for row in reversed(self.logic.rows):
            here = z3.Or(*(was == int(k) for k in row.steps))
            guard = self.read(scan, Read("this", row.guard.name))
            term = z3.If(z3.And(here, guard), z3.IntVal(int(row.to)), term)
        return term

    def _unknown(self, scan: int, read: Read) -> Any:
        z3, d = self._z3, self.logic.definition
        name = f"{read}" if read.group == "set" else f"{read}@{scan}"
        made = self.unknowns[scan, read] = (z3.Bool if self.logic.kinds[read] is bool else z3.Int)(name)
        limits = {"set": d.limits, "now": d.ranges, "this": {"dt_ms": DT_MS}}.get(read.group, {})
        if read.name in limits:
            low, high = limits[read.name][:2]
            if z3.is_int(made):
                self.assumed += [made >= low, made <= high]
            elif low == high:
                self.assumed.append(made == bool(low))
        return made

    def _percent_of(self, a: Any, p: Any, tree: ast.expr) -> Any:
        """Exact where one of the two is a number; else bounded. Of the same percentage, more of more."""
        z3 = self._z3
        over, percentage = z3.If(a >= 0, a, z3.IntVal(0)), z3.If(p >= 0, p, z3.IntVal(0))
        if z3.is_int_value(p):
            return over * percentage / 100
        exact = z3.is_int_value(a)
        whole = over * percentage / 100 if exact else self._percent(a, p)
        if any(whole.eq(known) for _, _, known in self.percents):
            return whole
        for a_too, p_too, whole_too in self.percents:
            if p.eq(p_too):
                self.assumed += [z3.Implies(a >= a_too, whole >= whole_too)]
                self.assumed += [z3.Implies(a <= a_too, whole <= whole_too)]
        self.percents.append((a, p, whole))
        if not exact:
            self._bound(over, p, whole, tree)
        return whole

    def _bound(self, over: Any, p: Any, whole: Any, tree: ast.expr) -> None:
        z3, read, limits = self._z3, read_of(tree), self.logic.definition.limits
        low, high = limits[read.name][:2] if read and read.group == "set" else (0, 0)
        if 0 <= low < high:  # p within limits: between two straight lines
            self.assumed += [whole * 100 <= over * high, whole * 100 > over * low - 100]
        self.assumed += [
            whole >= 0,
            z3.Implies(z3.Or(over == 0, p <= 0), whole == 0),
            z3.Implies(p <= 100, whole <= over),
            z3.Implies(p >= 100, whole >= over),
        ]

    def pinned(self, model: Any) -> Iterator[list[Any]]:
        """Terms that make every `percent` exact: at the percentages of a model, then at either limit."""
        z3, limits = self._z3, self.logic.definition.limits
        of_preset = {t.get_id(): limits[r.name] for (_, r), t in self.unknowns.items() if r.group == "set"}
        for end in None, 1, 0:
            terms = []
            for a, p, whole in self.percents:
                value = model.eval(p, model_completion=True).as_long()
                if end is not None and p.get_id() in of_preset:
                    value = of_preset[p.get_id()][end]
                terms += [p == value, whole == z3.If(a >= 0, a, z3.IntVal(0)) * max(value, 0) / 100]
            yield terms

    def _constant(self, value: int) -> Any:
        return self._z3.BoolVal(value) if isinstance(value, bool) else self._z3.IntVal(value)
