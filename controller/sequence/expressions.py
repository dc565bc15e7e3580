"""
The subset of Python that rules are written in: every engine can say all of it, and nothing else passes.

Booleans and whole numbers only: `and or not`, one comparison at a time, `+ -`, `min max`, `a if b else c`,
`s.step in STEPS` (a constant tuple of steps), `a // constant`, `percent(a, p)`, constants of the module.
What comes out of the reader is smaller still (the *core*): `min` and `max` of two, no `not in`, no unary
minus, constant step tuples written out. Engines speak the core.
"""

import ast
import builtins
import difflib
import linecache
import operator
from collections.abc import Callable, Iterable, Mapping
from enum import IntEnum
from functools import lru_cache
from types import FunctionType
from typing import Any, NamedTuple

from controller.sequence.definition import percent

LARGEST = 10**15
"""Of a number in a rule: sums of such numbers stay inside the 64 bits of the fast engines."""
GROUPS = {"now": "input", "set": "preset", "was": "memory"}
OPERATORS: dict[type, Callable[[Any, Any], Any]] = {
    ast.Eq: operator.eq,
    ast.NotEq: operator.ne,
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.FloorDiv: operator.floordiv,
}
"""What the signs of the subset do, to numbers and, but for the division, to terms of the prover."""


class NotInTheSubset(ValueError):  # noqa: N818, says what is wrong
    """The definition says something that not every engine can say; `problems` has all of it at once."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = list(problems)
        super().__init__(f"{len(self.problems)} problem(s) in the logic\n  - " + "\n  - ".join(self.problems))


class Refused(Exception):  # noqa: N818
    """One rule is outside the subset; becomes a line of `NotInTheSubset`."""


class Read(NamedTuple):
    """What a rule reads: `group` is "now", "set", "was" or "this" (another fact, or dt_ms)."""

    group: str
    name: str

    def __str__(self) -> str:
        return f"s.{self.name}" if self.group == "this" else f"s.{self.group}.{self.name}"


class Written(NamedTuple):
    """A rule as it stands in its file."""

    tree: ast.expr
    where: str  # file:line
    names: Mapping[str, object]  # what the names of its module mean
    doc: str


def read_of(node: ast.AST) -> Read | None:
    """What `node` reads of the scan `s`, if it is such a read."""
    match node:
        case ast.Attribute(ast.Attribute(ast.Name("s"), group), name) if group in GROUPS:
            return Read(group, name)
        case ast.Attribute(ast.Name("s"), name) if name not in GROUPS:
            return Read("this", name)
    return None


@lru_cache(maxsize=2048)  # by identity: nobody changes a tree
def reads_of(tree: ast.AST) -> tuple[Read, ...]:
    """All that `tree` reads, each once, in the order of the text."""
    return tuple(dict.fromkeys(r for node in _in_order(tree) if (r := read_of(node))))


def _in_order(tree: ast.AST) -> Iterable[ast.AST]:
    yield tree
    for child in ast.iter_child_nodes(tree):
        yield from _in_order(child)


def written(rule: Callable[[Any], Any]) -> Written:
    """The one expression of a rule, found in its file. Raises Refused if it is not one expression."""
    assert isinstance(rule, FunctionType), rule
    code = rule.__code__
    where = f"{code.co_filename}:{code.co_firstlineno}"
    text = "".join(linecache.getlines(code.co_filename, rule.__globals__))
    if code.co_varnames[: code.co_argcount] != ("s",):
        msg = f"{where}: a rule has one argument, the scan `s`"
        raise Refused(msg)
    cells = [c.cell_contents for c in rule.__closure__ or ()]
    names = {**rule.__globals__, **dict(zip(code.co_freevars, cells, strict=True))}
    for node in _rules_in(text).get(code.co_firstlineno, ()):
        match node:
            case ast.Lambda(body=tree) if code.co_name == "<lambda>" and _spans(node, code.co_positions()):
                return Written(tree, where, names, "")
            case ast.FunctionDef(name=code.co_name, body=[*before, ast.Return(value=ast.expr() as tree)]):
                if all(isinstance(b, ast.Expr) and isinstance(b.value, ast.Constant) for b in before):
                    return Written(tree, where, names, (rule.__doc__ or "").strip())
    msg = f"{where}: not one expression that is returned"
    raise Refused(msg)


@lru_cache(maxsize=64)
def _rules_in(text: str) -> dict[int, list[ast.Lambda | ast.FunctionDef]]:
    found: dict[int, list[ast.Lambda | ast.FunctionDef]] = {}
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Lambda | ast.FunctionDef):
            line = min([node.lineno, *(d.lineno for d in getattr(node, "decorator_list", ()))])
            found.setdefault(line, []).append(node)
    return found


def _spans(node: ast.Lambda, positions: Iterable[tuple[int | None, ...]]) -> bool:
    """Whether all code at `positions` was compiled from `node`: two lambdas may stand on one line."""
    first, last = (node.lineno, node.col_offset), (node.end_lineno or 0, node.end_col_offset or 0)
    for line, end_line, column, end_column in positions:
        if line is None or end_line is None or column is None or not end_column:
            continue
        if (line, column) < first or (end_line, end_column) > last:
            return False
    return True


class Subset:
    """
    Reads one expression: gives its kind (bool or int) and its core form, or raises Refused.

    Args:
        kinds: The kind of each thing that may be read.
        steps: The steps of the machine.
        names: What the names of the module mean where the expression stands.
    """

    def __init__(self, kinds: Mapping[Read, type], steps: type[IntEnum], names: Mapping[str, object]) -> None:
        self.kinds, self.steps, self.names = kinds, steps, names
        self.constants: dict[str, int] = {}  # those used

    def read(self, node: ast.expr, wanted: type | None = None) -> tuple[type, ast.expr]:
        """The kind and core form of `node`; with `wanted`, refused unless of that kind."""
        kind, core = self._read(node)
        if wanted not in (None, kind):
            raise self._refusal(node, f"a {_kind_name(wanted)} is needed here, this is a {_kind_name(kind)}")
        return kind, ast.copy_location(core, node)

    def _read(self, node: ast.expr) -> tuple[type, ast.expr]:
        match node:
            case ast.Constant(bool() | int() as value):
                if abs(value) > LARGEST:
                    raise self._refusal(node, f"whole numbers go up to {LARGEST:_}")
                return type(value), node
            case ast.Name(name):
                return int, self._constant(node, name)
            case ast.BoolOp(op, values):
                return bool, ast.BoolOp(op, [self.read(v, bool)[1] for v in values])
            case ast.UnaryOp(ast.Not(), value):
                return bool, ast.UnaryOp(ast.Not(), self.read(value, bool)[1])
            case ast.UnaryOp(ast.USub(), value):
                _, core = self.read(value, int)
                if isinstance(core, ast.Constant) and isinstance(core.value, int):
                    return int, ast.Constant(-core.value)
                return int, ast.BinOp(ast.Constant(0), ast.Sub(), core)
            case ast.IfExp(test, a, b):
                _, on = self.read(test, bool)
                kind, yes = self.read(a)
                return kind, ast.IfExp(on, yes, self.read(b, kind)[1])
            case ast.Compare(a, [op], [b]):
                return bool, self._compare(a, op, b)
            case ast.Compare():
                raise self._refusal(node, "one comparison at a time")
            case ast.BinOp(a, ast.Add() | ast.Sub() as plus, b):
                return int, ast.BinOp(self.read(a, int)[1], plus, self.read(b, int)[1])
            case ast.BinOp(a, ast.FloorDiv() as over, b):
                return int, ast.BinOp(self.read(a, int)[1], over, self._divisor(b))
            case ast.Call(ast.Name(name), args, []):
                return int, self._call(node, name, args)
            case ast.Attribute(ast.Name(enum), name) if self.names.get(enum) is self.steps:
                if name in self.steps.__members__:
                    return int, ast.Name(name)
        if (read := read_of(node)) is None:
            raise self._refusal(node, "not in the subset that every engine can say")
        return self._kind_of(node, read), node

    def _refusal(self, node: ast.expr, why: str) -> Refused:
        return Refused(f"`{ast.unparse(node)}`: {why}")

    def _kind_of(self, node: ast.expr, read: Read) -> type:
        if (kind := self.kinds.get(read)) is not None:
            return kind
        if read.group == "was" and Read("this", read.name) in self.kinds:
            raise self._refusal(node, f"{read.name} is not memory: give it @memory, or read it in this scan")
        others = {r.name for r in self.kinds if r.group == read.group}
        near = difflib.get_close_matches(read.name, others, 1)
        hint = f", did you mean {near[0]}?" if near else ""
        raise self._refusal(node, f"no such {GROUPS.get(read.group, 'fact')}{hint}")

    def _constant(self, node: ast.expr, name: str) -> ast.expr:
        match self.names.get(name):
            case IntEnum() as step if isinstance(step, self.steps):
                return ast.Name(step.name)
            case bool():
                raise self._refusal(node, "write True or False")
            case int() as number:
                self.constants[name] = number
                return ast.Name(name)
        raise self._refusal(node, "no whole number of its module has this name")

    def _compare(self, a: ast.expr, op: ast.cmpop, b: ast.expr) -> ast.expr:
        match op:
            case ast.In():
                return ast.Compare(self.read(a, int)[1], [op], [self._set_of_steps(b)])
            case ast.NotIn():
                return ast.UnaryOp(ast.Not(), self._compare(a, ast.In(), b))
            case ast.Lt() | ast.LtE() | ast.Gt() | ast.GtE():
                return ast.Compare(self.read(a, int)[1], [op], [self.read(b, int)[1]])
            case ast.Eq() | ast.NotEq():
                kind, left = self.read(a)
                return ast.Compare(left, [op], [self.read(b, kind)[1]])
        raise self._refusal(ast.Compare(a, [op], [b]), "no such comparison")

    def _set_of_steps(self, node: ast.expr) -> ast.expr:
        members: list[ast.expr] = []
        for part in node.elts if isinstance(node, ast.Tuple) else [node]:
            match part:
                case ast.Starred(ast.Name(name)) | ast.Name(name) if isinstance(self.names.get(name), tuple):
                    steps: Any = self.names[name]
                    members += [ast.Name(getattr(s, "name", "")) for s in steps]
                case _:
                    members.append(self.read(part, int)[1])
        if not members or not all(
            isinstance(m, ast.Name) and m.id in self.steps.__members__ for m in members
        ):
            raise self._refusal(node, "membership is in a constant tuple of steps")
        return ast.Tuple(members)

    def _divisor(self, node: ast.expr) -> ast.expr:
        _, core = self.read(node, int)
        match core:
            case ast.Constant(int() as value) if value > 0:
                return core
            case ast.Name(name) if self.constants.get(name, 0) > 0:
                return core
        raise self._refusal(node, "divide by a constant over 0")

    def _call(self, node: ast.expr, name: str, args: list[ast.expr]) -> ast.expr:
        means = self.names.get(name, getattr(builtins, name, None))
        if means is percent and len(args) == 2:
            return ast.Call(ast.Name("percent"), [self.read(a, int)[1] for a in args], [])
        if (means is min or means is max) and len(args) >= 2:
            core = self.read(args[0], int)[1]
            for other in args[1:]:
                core = ast.Call(ast.Name(name), [core, self.read(other, int)[1]], [])
            return core
        raise self._refusal(node, "only min, max and percent may be called")


def _kind_name(kind: type | None) -> str:
    return "condition (true or false)" if kind is bool else "whole number"
