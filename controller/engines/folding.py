"""
Folding of generated scans: known values are put into the statements, and what nobody asks for is left out.

The statements are those of `controller.engines.generated`: assignments to names, stores into `array[n]`,
ladders of ifs.
"""

import ast
import operator
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from controller.sequence.expressions import OPERATORS

SIGNS = {**OPERATORS, ast.Mult: operator.mul}
CALLS: dict[str, Callable[..., int]] = {"min": min, "max": max}


def plain(place: str) -> str:
    """`array[n]` as a name."""
    return place.replace("[", "_").replace("]", "")


def place_of(node: ast.expr) -> str:
    """`name` or `array[n]`, as it is written."""
    match node:
        case ast.Name(name):
            return name
        case ast.Subscript(ast.Name(name), ast.Constant(int() as n)):
            return f"{name}[{n}]"
    raise AssertionError(ast.dump(node))


def names_in(tree: ast.AST) -> set[str]:
    """The names in an expression."""
    return {n.id for n in ast.walk(tree) if isinstance(n, ast.Name)}


def assigned_in(body: Sequence[ast.stmt]) -> set[str]:
    """The names that statements may set."""
    names: set[str] = set()
    for s in body:
        if isinstance(s, ast.If):
            names |= assigned_in(s.body) | assigned_in(s.orelse)
        elif isinstance(s, ast.Assign):
            names.add(place_of(s.targets[0]))
    return names


def asked_for(body: Sequence[ast.stmt], wanted: set[str]) -> list[ast.stmt]:
    """The statements that what is `wanted` comes from; adds to `wanted` what they read."""
    kept: list[ast.stmt] = []
    for s in reversed(body):
        if isinstance(s, ast.If):
            s = ast.If(s.test, asked_for(s.body, wanted), asked_for(s.orelse, wanted))
            if not s.body and not s.orelse:
                continue
            s.body = s.body or [ast.Pass()]
            wanted |= names_in(s.test)
        elif isinstance(s, ast.Assign) and isinstance(s.targets[0], ast.Name):
            if s.targets[0].id not in wanted:
                continue
            wanted |= names_in(s.value)
        kept.insert(0, s)
    return kept


class Fold(ast.NodeTransformer):
    """Puts known values into the statements of the generated scan."""

    def __init__(self, known: Mapping[str, int], true: Mapping[str, int]) -> None:
        self.known = dict(known)  # `name` or `array[n]`
        self.true = true  # facts that are known whatever their rule says
        self.stored: dict[str, ast.expr | int] = {}  # what goes into `array[n]`; a number if it is known

    def block(self, body: Sequence[ast.stmt], branch: bool = False) -> list[ast.stmt]:
        done: list[ast.stmt] = []
        for s in body:
            if isinstance(s, ast.Assign):
                done += self._assign(s, branch)
            else:
                assert isinstance(s, ast.If), ast.dump(s)
                done += self._if(s, branch)
        return done

    def _assign(self, s: ast.Assign, branch: bool) -> list[ast.stmt]:
        target = place_of(s.targets[0])
        value = ast.Constant(self.true[target]) if target in self.true else self.visit(s.value)
        found = number(value)
        if isinstance(s.targets[0], ast.Subscript):
            self.stored[target] = value if found is None else found
            return []
        if found is not None and not branch:
            self.known[target] = found
            return []
        self.known.pop(target, None)
        return [ast.Assign(s.targets, value, lineno=0)]

    def _if(self, s: ast.If, branch: bool) -> list[ast.stmt]:
        test = self.visit(s.test)
        if (found := number(test)) is not None:
            return self.block(s.body if found else s.orelse, branch)
        before = dict(self.known)
        body = self.block(s.body, True)
        self.known = dict(before)
        orelse = self.block(s.orelse, True)
        self.known = dict(before)
        changed = assigned_in(body) | assigned_in(orelse)
        if (
            len(body) == len(orelse) == 1
            and isinstance(body[0], ast.Assign)
            and ast.unparse(body[0]) == ast.unparse(orelse[0])
        ):
            return self._assign(body[0], branch)
        first: list[ast.stmt] = [
            ast.Assign([ast.Name(n, ast.Store())], ast.Constant(self.known.pop(n)), lineno=0)
            for n in sorted(changed & self.known.keys())
        ]
        return [*first, ast.If(test, body, orelse)] if body or orelse else []

    # ---- expressions ---------------------------------------------------------------------------------
    def visit_Name(self, node: ast.Name) -> ast.expr:
        return ast.Constant(self.known[node.id]) if node.id in self.known else node

    def visit_Subscript(self, node: ast.Subscript) -> ast.expr:
        place = place_of(node)
        if place in self.known:
            return ast.Constant(self.known[place])
        return ast.Name(plain(place), ast.Load())

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.expr:
        settles = isinstance(node.op, ast.Or)  # the value of one that settles it
        left: list[ast.expr] = []
        for value in map(self.visit, node.values):
            found = number(value)
            if found is None:
                left.append(value)
            elif bool(found) == settles:
                return ast.Constant(int(settles))
        if not left:
            return ast.Constant(int(not settles))
        return left[0] if len(left) == 1 else ast.BoolOp(node.op, left)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.expr:
        value = self.visit(node.operand)
        found = number(value)
        if found is None:
            return ast.UnaryOp(node.op, value)
        return ast.Constant(int(not found) if isinstance(node.op, ast.Not) else -found)

    def visit_IfExp(self, node: ast.IfExp) -> ast.expr:
        test = self.visit(node.test)
        found = number(test)
        if found is not None:
            taken: ast.expr = self.visit(node.body if found else node.orelse)
            return taken
        yes, no = self.visit(node.body), self.visit(node.orelse)
        return ast.IfExp(test, yes, no)

    def visit_Compare(self, node: ast.Compare) -> ast.expr:
        return self._pair(
            node.left, node.ops[0], node.comparators[0], lambda a, b: ast.Compare(a, node.ops, [b])
        )

    def visit_BinOp(self, node: ast.BinOp) -> ast.expr:
        return self._pair(node.left, node.op, node.right, lambda a, b: ast.BinOp(a, node.op, b))

    def _pair(self, left: ast.expr, op: Any, right: ast.expr, joined: Callable[..., ast.expr]) -> ast.expr:
        a, b = self.visit(left), self.visit(right)
        x, y = number(a), number(b)
        if isinstance(op, ast.GtE) and y is not None and y <= 0 and held(a):
            return ast.Constant(1)  # a delay of nothing: no time is negative
        if x is None or y is None or type(op) not in SIGNS:
            return joined(a, b)
        return ast.Constant(int(SIGNS[type(op)](x, y)))

    def visit_Call(self, node: ast.Call) -> ast.expr:
        assert isinstance(node.func, ast.Name)
        values = [self.visit(a) for a in node.args]
        numbers = [n for n in map(number, values) if n is not None]
        if len(numbers) == len(values):
            return ast.Constant(CALLS[node.func.id](*numbers))
        return ast.Call(node.func, values, [])


def held(node: ast.expr) -> bool:
    """Whether it is how long something has stood, which is never negative."""
    return isinstance(node, ast.Name) and node.id.endswith("_held_ms")


def number(node: ast.expr) -> int | None:
    """The value of a constant; None for anything else."""
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, int) else None
