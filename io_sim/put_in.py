"""
The kernel for one plant as it stands: parameters and failure amounts put in, what they settle worked out.

Interpreted, half of a plant step goes into terms of failures that nobody asked for and into constants made
anew. Here each function is written once more for the constants that it is called with (partial evaluation:
Jones, Gomard and Sestoft, 1993). Every number stays the same to the last bit: the same operations on the
same numbers, only done once.
"""

import ast
import inspect
import math
import operator
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from types import FunctionType
from typing import Any

from io_sim import kernel
from io_sim.compiled import gather
from io_sim.failures import CREEPING, MODES
from io_sim.state import Floats, Ints

Advance = Callable[[Floats, Floats, Floats, Ints, Ints, int, float], None]
"""As `kernel.advance`."""

OPERATORS: dict[type, Callable[..., Any]] = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv,
    ast.Eq: operator.eq, ast.NotEq: operator.ne, ast.Lt: operator.lt, ast.LtE: operator.le,
    ast.Gt: operator.gt, ast.GtE: operator.ge, ast.USub: operator.neg, ast.Not: operator.not_,
}  # fmt: skip
BUILT_IN: dict[str, Callable[..., Any]] = {
    "min": min, "max": max, "abs": abs, "float": float, "int": int, "len": len, "range": range,
}  # fmt: skip
UNROLLED = 8
"""A loop over no more places than this is written out."""


def put_in() -> Advance:
    """`kernel.advance` for interpreted runs, written anew whenever it meets other constants: 0.1 s."""
    known: list[Any] = []
    written: Advance = kernel.advance

    def advance(
        state: Floats, par: Floats, failures: Floats, outputs: Ints, inputs: Ints, steps: int, step_s: float
    ) -> None:
        nonlocal known, written
        if failures[CREEPING] > 0.0:  # other amounts in each step
            kernel.advance(state, par, failures, outputs, inputs, steps, step_s)
            return
        if known != (now := [par, failures[:MODES], steps, step_s]):
            known, written = now, _written(tuple(par), tuple(failures), steps, step_s)
        written(state, par, failures, outputs, inputs, steps, step_s)

    return advance


@lru_cache(maxsize=64)
def _written(par: tuple[float, ...], failures: tuple[float, ...], steps: int, step_s: float) -> Advance:
    return _Kernel({"par": par, "failures": failures}).advance({"steps": steps, "step_s": step_s})


class _Kernel:
    """All functions of the kernel, each once for each set of constants that it is called with."""

    def __init__(self, arrays: Mapping[str, Sequence[float]]) -> None:
        functions: dict[str, FunctionType] = {}
        self.constants: dict[str, int | float] = {}
        assert isinstance(kernel.advance, FunctionType)
        gather(kernel.advance, functions, self.constants)
        self.arrays = arrays
        self.trees = {name: _tree(function) for name, function in functions.items()}
        self.made: dict[tuple[Any, ...], ast.FunctionDef] = {}

    def advance(self, given: Mapping[str, Any]) -> Advance:
        """The outermost function, with the arguments of `kernel.advance`."""
        made = self.function("advance", given)
        names: dict[str, Any] = {"math": math}
        module = ast.fix_missing_locations(ast.Module(list(self.made.values()), []))
        exec(compile(module, "<plant put in>", "exec"), names)
        taken, left = ", ".join(self.arguments("advance")), ", ".join(a.arg for a in made.args.args)
        advance: Advance = eval(f"lambda {taken}: {made.name}({left})", names)
        return advance

    def arguments(self, name: str) -> list[str]:
        """What a function of the kernel takes."""
        return [a.arg for a in self.trees[name].args.args]

    def function(self, name: str, given: Mapping[str, Any]) -> ast.FunctionDef:
        """A function with some of its arguments given; it takes those of the others that it still reads."""
        key = (name, *((n, repr(value)) for n, value in given.items()))
        if key not in self.made:
            written = self.trees[name].body
            begun = [_assign(n, ast.Constant(given[n])) for n in given if n in _names(written, ast.Store)]
            body = begun + _Body(self, dict(given)).block(written)
            read = _names(body, ast.Load)
            body = [s for s in body if not _is_idle(s, read)]
            taken = [ast.arg(n) for n in self.arguments(name) if n not in given and n in read]
            self.made[key] = ast.FunctionDef(
                f"{name}_{len(self.made)}", ast.arguments([], taken, None, [], [], None, []),
                body or [ast.Pass()], [], None,
            )  # fmt: skip
        return self.made[key]


class _Body:
    """One function body, statement by statement; `known` are the local names that hold a constant here."""

    def __init__(self, whole: _Kernel, known: dict[str, Any]) -> None:
        self.whole, self.known, self.kept = whole, known, 0

    def block(self, statements: Iterable[ast.stmt]) -> list[ast.stmt]:
        """Statements in a row; what stands behind a way out is never reached."""
        done: list[ast.stmt] = []
        for statement in statements:
            done += self.statement(statement)
            if _leaves(done):
                break
        return done

    def statement(self, node: ast.stmt) -> list[ast.stmt]:
        of = self.of
        match node:
            case ast.Expr(value):
                made = of(value)
                return [] if isinstance(made, ast.Constant) else [ast.Expr(made)]
            case ast.Return(value):
                return [ast.Return(of(value) if value else None)]
            case ast.Assign(targets, value):
                made = of(value)
                return [ast.Assign([self.target(to, made) for to in targets], made, lineno=0)]
            case ast.AugAssign(ast.Name(name), op, value):
                return self.statement(_assign(name, ast.BinOp(ast.Name(name, ast.Load()), op, value)))
            case ast.AugAssign(target, op, value):
                made = of(value)
                return [ast.AugAssign(self.target(target, made), op, made)]  # type: ignore[arg-type]
            case ast.If(test, body, orelse):
                return self.choice(of(test), body, orelse)
            case ast.For(ast.Name(name) as each, ast.Call(_, [count]) as places, body):
                return self.loop(name, of(count), body) or self.open_loop(each, of(places), body)
            case ast.Break():
                return [node]
        raise _not_foreseen(node)

    def target(self, to: ast.expr, value: ast.expr | None) -> ast.expr:
        """Where a value goes; local names that get a constant are known from now on."""
        match to:
            case ast.Name(name):
                self.known.pop(name, None)
                if isinstance(value, ast.Constant):
                    self.known[name] = value.value
                return to
            case ast.Subscript(array, place):
                return ast.Subscript(array, self.of(place), ast.Store())
            case ast.Tuple(parts):
                values = value.elts if isinstance(value, ast.Tuple) else [None] * len(parts)
                made = [self.target(a, b) for a, b in zip(parts, values, strict=True)]
                return ast.Tuple(made, ast.Store())
        raise _not_foreseen(to)

    def choice(self, test: ast.expr, body: list[ast.stmt], orelse: list[ast.stmt]) -> list[ast.stmt]:
        if isinstance(test, ast.Constant):
            return self.block(body if test.value else orelse)
        before = dict(self.known)
        yes = self.block(body)
        after_yes, self.known = self.known, before
        no = self.block(orelse)
        if _leaves(no):
            self.known = after_yes
        elif not _leaves(yes):
            same = {n for n in self.known if n in after_yes and repr(self.known[n]) == repr(after_yes[n])}
            self.known = {n: self.known[n] for n in same}
        return [ast.If(test, yes or [ast.Pass()], no)]

    def loop(self, name: str, count: ast.expr, body: list[ast.stmt]) -> list[ast.stmt]:
        """A short loop written out; empty if it cannot be."""
        times: Any = count.value if isinstance(count, ast.Constant) else UNROLLED + 1
        if times > UNROLLED or any(isinstance(n, ast.Break) for s in body for n in ast.walk(s)):
            return []
        return [s for k in range(times) for s in self.block([_assign(name, ast.Constant(k)), *body])]

    def open_loop(self, each: ast.expr, places: ast.expr, body: list[ast.stmt]) -> list[ast.stmt]:
        stored = _names(body, ast.Store) | _names([each], ast.Store)
        before = {n: value for n, value in self.known.items() if n not in stored}
        self.known = dict(before)
        made = self.block(body)
        self.known = before
        return [ast.For(each, places, made, [], lineno=0)]

    def of(self, node: ast.expr) -> ast.expr:
        """What is left of an expression."""
        of = self.of
        match node:
            case ast.Constant():
                return node
            case ast.Name(name):
                value = self.known.get(name, self.whole.constants.get(name))
                return node if value is None else ast.Constant(value)
            case ast.Attribute(_, name):
                return ast.Constant(getattr(math, name))
            case ast.Subscript(ast.Name(name) as array, place):
                place = of(place)
                if isinstance(place, ast.Constant) and name in self.whole.arrays:
                    return ast.Constant(self.whole.arrays[name][place.value])  # type: ignore[index]
                return ast.Subscript(array, place, ast.Load())
            case ast.Tuple(values):
                return ast.Tuple([of(v) for v in values], ast.Load())
            case ast.UnaryOp(op, a):
                a = of(a)
                return _done(OPERATORS[type(op)], a) or ast.UnaryOp(op, a)
            case ast.BinOp(a, op, b):
                return self.operation(of(a), op, of(b))
            case ast.Compare(a, ops, others):
                a, others = of(a), [of(b) for b in others]
                first = _done(OPERATORS[type(ops[0])], a, others[0])
                decides = first and (len(ops) == 1 or not first.value)
                return first if first and decides else ast.Compare(a, ops, others)
            case ast.BoolOp(op, values):
                return self.junction(op, [of(v) for v in values])
            case ast.IfExp(test, yes, no):
                test = of(test)
                if isinstance(test, ast.Constant):
                    return of(yes if test.value else no)
                return ast.IfExp(test, of(yes), of(no))
            case ast.Call(function, arguments):
                return self.call(function, [of(a) for a in arguments])
        raise _not_foreseen(node)

    def operation(self, a: ast.expr, op: ast.operator, b: ast.expr) -> ast.expr:
        if made := _done(OPERATORS[type(op)], a, b):
            return made
        match op, a, b:
            case (ast.Mult(), ast.Constant(1.0), other) | (ast.Mult(), other, ast.Constant(1.0)):
                return other if _is_float(other) else ast.BinOp(a, op, b)
            case ast.Sub(), other, ast.Constant(0.0) if _is_float(other):
                return other
        return ast.BinOp(a, op, b)

    def junction(self, op: ast.boolop, values: list[ast.expr]) -> ast.expr:
        settles = isinstance(op, ast.Or)
        constants = [bool(v.value) for v in values if isinstance(v, ast.Constant)]
        left = [v for v in values if not isinstance(v, ast.Constant)]
        if not left or (settles in constants and not any(isinstance(n, ast.Call) for n in _nodes(left))):
            return ast.Constant(settles in constants if settles else settles not in constants)
        return ast.BoolOp(op, values) if settles in constants else _joined(op, left)

    def call(self, function: ast.expr, arguments: list[ast.expr]) -> ast.expr:
        match function:
            case ast.Attribute(_, name):
                return _done(getattr(math, name), *arguments) or ast.Call(function, arguments, [])
            case ast.Name(name) if name in self.whole.trees:
                named = dict(zip(self.whole.arguments(name), arguments, strict=True))
                given = {n: a.value for n, a in named.items() if isinstance(a, ast.Constant)}
                made = self.whole.function(name, given)
                if isinstance(made.body[0], ast.Return) and isinstance(made.body[0].value, ast.Constant):
                    return made.body[0].value
                left = [named[a.arg] for a in made.args.args]
                return ast.Call(ast.Name(made.name, ast.Load()), left, [])
            case ast.Name(name):
                return _done(BUILT_IN[name], *arguments) or self.built_in(name, arguments)
        raise _not_foreseen(function)

    def built_in(self, name: str, arguments: list[ast.expr]) -> ast.expr:
        """A call; of `min` and `max` of two a comparison, which is quicker."""
        if name not in ("min", "max") or len(arguments) != 2:
            return ast.Call(ast.Name(name, ast.Load()), arguments, [])
        (a, a_again), (b, b_again) = map(self.twice, arguments)
        sign: ast.cmpop = ast.Lt() if name == "min" else ast.Gt()
        return ast.IfExp(ast.Compare(b, [sign], [a]), b_again, a_again)

    def twice(self, node: ast.expr) -> tuple[ast.expr, ast.expr]:
        """What stands for a value where it is read first, and where it is read again."""
        if isinstance(node, ast.Name | ast.Constant):
            return node, node
        self.kept += 1
        name = f"kept_{self.kept}"
        return ast.NamedExpr(ast.Name(name, ast.Store()), node), ast.Name(name, ast.Load())


def _tree(function: FunctionType) -> ast.FunctionDef:
    tree = ast.parse(inspect.getsource(function)).body[0]
    assert isinstance(tree, ast.FunctionDef)
    return tree


def _nodes(trees: Iterable[ast.AST]) -> Iterable[ast.AST]:
    return (node for tree in trees for node in ast.walk(tree))


def _names(trees: Iterable[ast.AST], how: type) -> set[str]:
    """The names that are read (`ast.Load`) or get a value (`ast.Store`)."""
    return {n.id for n in _nodes(trees) if isinstance(n, ast.Name) and isinstance(n.ctx, how)}


def _assign(name: str, value: ast.expr) -> ast.stmt:
    return ast.Assign([ast.Name(name, ast.Store())], value, lineno=0)


def _is_idle(statement: ast.stmt, read: set[str]) -> bool:
    """Whether it only names a constant that nobody reads under its name."""
    match statement:
        case ast.Assign([ast.Name(name)], ast.Constant()):
            return name not in read
    return False


def _leaves(statements: list[ast.stmt]) -> bool:
    return bool(statements) and isinstance(statements[-1], ast.Return | ast.Break)


def _joined(op: ast.boolop, values: list[ast.expr]) -> ast.expr:
    return values[0] if len(values) == 1 else ast.BoolOp(op, values)


def _done(work: Callable[..., Any], *nodes: ast.expr) -> ast.Constant | None:
    """What an operation on constants gives; None where one is open or it cannot be done."""
    values = [n.value for n in nodes if isinstance(n, ast.Constant)]
    if len(values) < len(nodes) or work is range:
        return None
    try:
        return ast.Constant(work(*values))
    except (ArithmeticError, ValueError):
        return None


def _is_float(node: ast.expr) -> bool:
    """Whether it is surely a float: a whole number times 1.0 is another thing than the whole number."""
    match node:
        case ast.Constant(value):
            return isinstance(value, float)
        case ast.Subscript(ast.Name(name)):
            return name in ("state", "par", "failures")
        case ast.BinOp(a, _, b):
            return _is_float(a) or _is_float(b)
        case ast.Call(ast.Attribute()):
            return True
    return False


def _not_foreseen(node: ast.AST) -> NotImplementedError:
    return NotImplementedError(f"the kernel uses what put_in does not know: {ast.unparse(node)}")
