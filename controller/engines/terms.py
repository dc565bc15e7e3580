"""
Scans as terms of the solver z3: the same facts over unknown inputs, presets and memory.

Whole numbers are unbounded here; that memory stays in 32 bits is a claim like any other. `percent` of two
unknowns is left open, but for bounds that always hold, so that all stays linear. Needs the extra `prove`.
"""

import ast
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from controller.sequence.expressions import Read, read_of
from controller.sequence.logic import Logic

DT_MS = (1, 1_000)
"""The time between two scans that proofs assume [ms]."""


class _Makes:
    """
    Makes terms as the operators of z3 do, but without their search for kinds and contexts, which takes ten
    times as long as the making: the reader of the logic has seen to the kinds.
    """

    def __init__(self) -> None:
        import z3
        from z3 import z3core as core

        self._z3, self._core, self._context = z3, core, z3.main_ctx()
        self._two: dict[type, Callable[..., Any]] = {
            ast.Eq: core.Z3_mk_eq, ast.Lt: core.Z3_mk_lt, ast.LtE: core.Z3_mk_le, ast.Gt: core.Z3_mk_gt,
            ast.GtE: core.Z3_mk_ge, ast.FloorDiv: core.Z3_mk_div,
        }  # fmt: skip
        self._many = {
            ast.And: core.Z3_mk_and, ast.Or: core.Z3_mk_or, ast.Add: core.Z3_mk_add, ast.Sub: core.Z3_mk_sub
        }  # fmt: skip
        self._constants: dict[tuple[type, int], Any] = {}

    def constant(self, value: int) -> Any:
        """A boolean or a whole number."""
        key = type(value), value
        if key not in self._constants:
            make = self._z3.BoolVal if isinstance(value, bool) else self._z3.IntVal
            self._constants[key] = make(value)
        return self._constants[key]

    def many(self, op: ast.AST, terms: Sequence[Any]) -> Any:
        """`and`, `or`, `+` or `-` of them."""
        asts = (self._z3.Ast * len(terms))(*[t.ast for t in terms])
        made = self._many[type(op)](self._context.ref(), len(terms), asts)
        return self._of_kind(made, isinstance(op, ast.And | ast.Or))

    def two(self, op: ast.AST, a: Any, b: Any) -> Any:
        """A comparison of two, or what comes of them; a positive divisor rounds down, as Python does."""
        if isinstance(op, ast.NotEq):
            return self.negation(self.two(ast.Eq(), a, b))
        if type(op) in self._many:
            return self.many(op, (a, b))
        made = self._two[type(op)](self._context.ref(), a.ast, b.ast)
        return self._of_kind(made, not isinstance(op, ast.FloorDiv))

    def negation(self, a: Any) -> Any:
        return self._of_kind(self._core.Z3_mk_not(self._context.ref(), a.ast), True)

    def choice(self, test: Any, yes: Any, no: Any) -> Any:
        made = self._core.Z3_mk_ite(self._context.ref(), test.ast, yes.ast, no.ast)
        return self._of_kind(made, isinstance(yes, self._z3.BoolRef))

    def value(self, model: Any, declared: Any, is_bool: bool) -> int | None:
        """What a model gives an unknown; None if it leaves it open."""
        core, context = self._core, self._context.ref()
        found = core.Z3_model_get_const_interp(context, model.model, declared.ast)
        if found.value is None:
            return None
        if is_bool:
            return bool(core.Z3_get_bool_value(context, found) == self._z3.Z3_L_TRUE)
        return int(core.Z3_get_numeral_string(context, found))

    def _of_kind(self, made: Any, is_bool: bool) -> Any:
        return (self._z3.BoolRef if is_bool else self._z3.ArithRef)(made, self._context)


class Scans:
    """
    Scans 0, 1, 2 ... that follow each other under the same presets; terms are built when asked for.

    Args:
        logic: Whose facts.
        first: The memory before scan 0; what it does not name is unknown.
    """

    def __init__(self, logic: Logic, first: Mapping[str, int]) -> None:
        import z3

        self._z3, self.logic, self._makes = z3, logic, _Makes()
        self.ranges: list[Any] = []  # of the unknowns made so far; grows with the terms
        self.bounds: list[Any] = []  # of the percentages left open; grows with the terms
        self.percents: dict[tuple[int, int], tuple[Any, Any, Any]] = {}  # a, p and their percent, by identity
        self._unknowns: list[tuple[int, Read, Any, Any]] = []  # the last two: its term, its declaration
        self._terms: dict[tuple[int, Read], Any] = {}
        self._percent = z3.Function("percent", z3.IntSort(), z3.IntSort(), z3.IntSort())
        for name, value in first.items():
            self._terms[0, Read("was", name)] = self._makes.constant(value)

    def together(self, terms: Sequence[Any]) -> Any:
        """All of them as one term."""
        return self._makes.many(ast.And(), terms)

    def of(self, scan: int, tree: ast.expr) -> Any:
        """The term of an expression (in core form) in a scan."""
        make, constants = self._makes, self.logic.constants

        def t(node: ast.expr) -> Any:
            return self.of(scan, node)

        match tree:
            case ast.Attribute():
                read = read_of(tree)
                assert read is not None, ast.dump(tree)
                return self.read(scan, read)
            case ast.Constant(bool() | int() as value):
                return make.constant(value)
            case ast.Name(name):
                return make.constant(int(constants[name]))
            case ast.BoolOp(op, values):
                return make.many(op, [t(v) for v in values])
            case ast.UnaryOp(ast.Not(), value):
                return make.negation(t(value))
            case ast.IfExp(test, a, b):
                return make.choice(t(test), t(a), t(b))
            case ast.Call(ast.Name("percent"), [a, p]):
                return self._percent_of(t(a), t(p), p)
            case ast.Call(ast.Name(name), [a, b]):
                x, y = t(a), t(b)
                return make.choice(make.two(ast.LtE() if name == "min" else ast.GtE(), x, y), x, y)
            case ast.Compare(a, [ast.In()], [ast.Tuple(steps)]):
                return self._among(t(a), [constants[k.id] for k in steps if isinstance(k, ast.Name)])
            case ast.BinOp(a, op, b) | ast.Compare(a, [op], [b]):
                return make.two(op, t(a), t(b))
        raise AssertionError(ast.dump(tree))

    def _among(self, step: Any, steps: Iterable[int]) -> Any:
        make = self._makes
        return make.many(ast.Or(), [make.two(ast.Eq(), step, make.constant(int(k))) for k in steps])

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
        make = self._makes
        term = was = self.read(scan, Read("was", "step"))
        for row in reversed(self.logic.rows):
            taken = [self._among(was, row.steps), self.read(scan, Read("this", row.guard.name))]
            term = make.choice(make.many(ast.And(), taken), make.constant(int(row.to)), term)
        return term

    def _unknown(self, scan: int, read: Read) -> Any:
        z3, d = self._z3, self.logic.definition
        name = f"{read}" if read.group == "set" else f"{read}@{scan}"
        made = (z3.Bool if self.logic.kinds[read] is bool else z3.Int)(name)
        self._unknowns.append((scan, read, made, made.decl()))
        limits = {"set": d.limits, "now": d.ranges, "this": {"dt_ms": DT_MS}}.get(read.group, {})
        if read.name in limits:
            low, high = limits[read.name][:2]
            if z3.is_int(made):
                self.ranges += [made >= low, made <= high]
            elif low == high:
                self.ranges.append(made == bool(low))
        return made

    def _percent_of(self, a: Any, p: Any, tree: ast.expr) -> Any:
        """Exact where one of the two is a number; else bounded. Of the same percentage, more of more."""
        z3, key = self._z3, (a.get_id(), p.get_id())
        if key in self.percents:
            return self.percents[key][2]
        over, percentage = z3.If(a >= 0, a, z3.IntVal(0)), z3.If(p >= 0, p, z3.IntVal(0))
        if z3.is_int_value(p):
            return over * percentage / 100
        exact = z3.is_int_value(a)
        whole = over * percentage / 100 if exact else self._percent(a, p)
        for a_too, p_too, whole_too in self.percents.values():
            if p.eq(p_too):
                self.bounds += [z3.Implies(a >= a_too, whole >= whole_too)]
                self.bounds += [z3.Implies(a <= a_too, whole <= whole_too)]
        self.percents[key] = a, p, whole
        if not exact:
            self._bound(over, p, whole, tree)
        return whole

    def _bound(self, over: Any, p: Any, whole: Any, tree: ast.expr) -> None:
        z3, read, limits = self._z3, read_of(tree), self.logic.definition.limits
        low, high = limits[read.name][:2] if read and read.group == "set" else (0, 0)
        if 0 <= low < high:  # p within limits: between two straight lines
            self.bounds += [whole * 100 <= over * high, whole * 100 > over * low - 100]
        self.bounds += [
            whole >= 0,
            z3.Implies(z3.Or(over == 0, p <= 0), whole == 0),
            z3.Implies(p <= 100, whole <= over),
            z3.Implies(p >= 100, whole >= over),
        ]

    def values(self, model: Any) -> dict[tuple[int, Read], int]:
        """What a model says of the unknowns, by scan and read; what it leaves open is not named."""
        found = {}
        for scan, read, made, declared in self._unknowns:
            value = self._makes.value(model, declared, self._z3.is_bool(made))
            if value is not None:
                found[scan, read] = value
        return found

    def exactly(self, model: Any) -> Iterator[list[Any]]:
        """Terms that make every `percent` exact: at the percentages of a model, then at either limit."""
        z3, limits = self._z3, self.logic.definition.limits
        of_preset = {t.get_id(): limits[r.name] for _, r, t, _ in self._unknowns if r.group == "set"}
        for end in None, 1, 0:
            terms = []
            for a, p, whole in self.percents.values():
                value = model.eval(p, model_completion=True).as_long()
                if end is not None and p.get_id() in of_preset:
                    value = of_preset[p.get_id()][end]
                terms += [p == value, whole == z3.If(a >= 0, a, z3.IntVal(0)) * max(value, 0) / 100]
            yield terms
