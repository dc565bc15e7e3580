"""
What never changes at one station: facts that its presets, and the wires it does not have, hold for ever.

Constants are carried through facts and memory until nothing more moves (conditional constant propagation:
Wegman and Zadeck, ACM TOPLAS 13(2), 1991). Nothing is assumed of what is wired, so a fact that is called
fixed is; one that is not may still never move.
"""

import ast
from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

from controller.sequence.definition import Interlock
from controller.sequence.expressions import OPERATORS, Read, read_of
from controller.sequence.logic import Logic
from controller.sequence.reasons import CALLS


class Fixed(NamedTuple):
    """What is fixed at a station: facts with their value, and the steps that can be reached at all."""

    facts: Mapping[str, int]
    steps: frozenset[int]

    def acts(self, line: Interlock) -> bool:
        """Whether an interlock line can ever act here."""
        return self.facts.get(line.cause.name) != 0 and not self.steps.isdisjoint(line.steps)


def fixed_at(logic: Logic, presets: Mapping[str, int], inputs: Mapping[str, int]) -> Fixed:
    """
    What is fixed with these `presets` (all of them) and `inputs` (those that no wire carries) held.

    Memory that survives power loss counts as free: it may come from a time with other presets.
    """
    held = {Read("set", name): int(value) for name, value in presets.items()}
    held |= {Read("now", name): int(value) for name, value in inputs.items()}
    return _fixed(logic, tuple(held.items()))


@lru_cache(maxsize=16)  # the sheets of one station ask the same again and again
def _fixed(logic: Logic, settings: tuple[tuple[Read, int], ...]) -> Fixed:
    held = dict(settings)
    first = {n: v for n, v in logic.memory.items() if n not in logic.kept and n != "step"}
    reached, rules = frozenset({0}), {n: f.tree for n, f in logic.facts.items() if n != "step"}
    while True:
        values = held | {Read("was", name): int(value) for name, value in first.items()}
        fold = _Fold(logic, values, reached)
        for name, tree in rules.items():
            value = fold.of(tree)
            if value is not None:
                values[Read("this", name)] = value
        # each round holds less: what is open in one stays open
        rules = {name: tree for name, tree in rules.items() if Read("this", name) in values}
        left = {n: v for n, v in first.items() if values.get(Read("this", n)) == v}
        more = reached | {
            row.to
            for row in logic.rows
            if reached & set(row.steps) and values.get(Read("this", row.guard.name)) != 0
        }
        if left == first and more == reached:
            facts = {read.name: value for read, value in values.items() if read.group == "this"}
            return Fixed(facts, reached)
        first, reached = left, more


def folded(logic: Logic, presets: Mapping[str, int]) -> dict[str, ast.expr]:
    """
    The rules of all facts with some `presets` put in, and what these settle for ever folded away.

    They hold from power-up under these presets on, as long as kept memory is what the same rules left.
    """
    fixed = fixed_at(logic, presets, {})
    values = {Read("set", name): int(value) for name, value in presets.items()}
    values |= {Read("this", name): int(value) for name, value in fixed.facts.items()}
    values |= {
        Read("was", name): int(first)
        for name, first in logic.memory.items()
        if name not in logic.kept and fixed.facts.get(name) == first
    }
    fold = _Fold(logic, values, fixed.steps)
    return {name: fold.rest(fact.tree) for name, fact in logic.facts.items() if name != "step"}


def settled(logic: Logic, fixed: Fixed, presets: Mapping[str, int], tree: ast.expr) -> int | None:
    """The value that an expression in core form has for ever at this station; None if it may change."""
    values = {Read("set", name): int(value) for name, value in presets.items()}
    values |= {Read("this", name): int(value) for name, value in fixed.facts.items()}
    return _Fold(logic, values, fixed.steps).of(tree)


class _Fold:
    """The value of an expression in core form under what is held; None where it is open."""

    def __init__(self, logic: Logic, values: Mapping[Read, int], reached: frozenset[int]) -> None:
        self.constants, self.values, self.reached = logic.constants, values, reached
        self.kinds = logic.kinds

    def of(self, tree: ast.expr) -> int | None:
        match tree:
            case ast.Attribute() if (read := read_of(tree)) is not None:  # most are
                return self.values.get(read)
            case ast.Constant(bool() | int() as value):
                return int(value)
            case ast.Name(name):
                return self.constants[name]
            case ast.BoolOp(op, nodes):
                return self._junction([self.of(n) for n in nodes], settles=isinstance(op, ast.Or))
            case ast.UnaryOp(ast.Not(), node):
                operand = self.of(node)
                return None if operand is None else int(not operand)
            case ast.IfExp(test, yes, no):
                return self._choice(self.of(test), yes, no)
            case ast.Compare(a, [ast.In()], [ast.Tuple(steps)]):
                return self._among(a, {self.constants[k.id] for k in steps if isinstance(k, ast.Name)})
            case ast.Compare(a, [ast.Eq()], [ast.Name(name)]) if self._is_step(a):
                return self._among(a, {self.constants[name]})
            case ast.BinOp(a, op, b) | ast.Compare(a, [op], [b]):
                x, y = self.of(a), self.of(b)
                return None if x is None or y is None else int(OPERATORS[type(op)](x, y))
            case ast.Call(ast.Name(name), [a, b]):
                x, y = self.of(a), self.of(b)
                return None if x is None or y is None else CALLS[name](x, y)
        read = read_of(tree)
        assert read is not None, ast.dump(tree)
        return self.values.get(read)

    def rest(self, tree: ast.expr) -> ast.expr:
        """What is left of an expression when all that has a value is put in."""
        value = self.of(tree)
        if value is not None:
            return ast.Constant(bool(value) if self._says_yes_or_no(tree) else value)
        match tree:
            case ast.BoolOp(op, nodes):
                left = [self.rest(n) for n in nodes if self.of(n) is None]
                return left[0] if len(left) == 1 else ast.BoolOp(op, left)
            case ast.IfExp(test, yes, no) if (taken := self.of(test)) is not None:
                return self.rest(yes if taken else no)
            case ast.IfExp(test, yes, no):
                return ast.IfExp(self.rest(test), self.rest(yes), self.rest(no))
            case ast.UnaryOp(op, node):
                return ast.UnaryOp(op, self.rest(node))
            case ast.Compare(a, [ast.In()], _):
                return tree
            case ast.Compare(a, [op], [b]):
                return ast.Compare(self.rest(a), [op], [self.rest(b)])
            case ast.BinOp(a, op, b):
                return ast.BinOp(self.rest(a), op, self.rest(b))
            case ast.Call(name, [a, b]):
                return ast.Call(name, [self.rest(a), self.rest(b)], [])
        return tree

    def _says_yes_or_no(self, tree: ast.expr) -> bool:
        match tree:
            case ast.Constant(value):
                return isinstance(value, bool)
            case ast.BoolOp() | ast.UnaryOp() | ast.Compare():
                return True
            case ast.IfExp(_, yes, _):
                return self._says_yes_or_no(yes)
        read = read_of(tree)
        return read is not None and self.kinds[read] is bool

    def _junction(self, values: list[int | None], settles: bool) -> int | None:
        if any(v is not None and bool(v) == settles for v in values):
            return int(settles)
        return None if None in values else int(not settles)

    def _choice(self, test: int | None, yes: ast.expr, no: ast.expr) -> int | None:
        if test is not None:
            return self.of(yes if test else no)
        a, b = self.of(yes), self.of(no)
        return a if a == b else None

    def _among(self, node: ast.expr, members: set[int]) -> int | None:
        """`node in members`, where the steps that cannot be reached do not count."""
        if not self._is_step(node):
            value = self.of(node)
            return None if value is None else int(value in members)
        if members.isdisjoint(self.reached):
            return 0
        return 1 if self.reached <= members else None

    @staticmethod
    def _is_step(node: ast.expr) -> bool:
        read = read_of(node)
        return read is not None and read.name == "step" and read.group in ("was", "this")
