"""
The decisions of a logic, and which of their conditions decided: modified condition / decision coverage.

A condition is decisive in a scan if the decision were otherwise with it alone flipped (masking MC/DC:
Chilenski, DOT/FAA/AR-01/18, 2001). A decision is covered for a condition once it was decisive at both values.
"""

import ast
from collections.abc import Iterable
from typing import Any, NamedTuple

from controller.engines.columns import ColumnRules, Columns, Rule
from controller.sequence.logic import Logic

MOST = 60
"""Conditions of one decision: they and its outcome fit in one whole number."""


class Decision(NamedTuple):
    """A condition made of conditions: `tree` of a fact, or the test of a choice in it."""

    fact: str
    tree: ast.expr
    conditions: tuple[ast.expr, ...]  # each once


def decisions(logic: Logic) -> list[Decision]:
    """
    Every decision of a logic; facts that are one condition alone are none.

    Where a whole number is chosen by a condition, that condition is a decision too.
    """
    found = []
    for name, fact in logic.facts.items():
        if name == "step":
            continue
        trees = [fact.tree] if fact.kind is bool else []
        trees += [n.test for n in ast.walk(fact.tree) if isinstance(n, ast.IfExp) and fact.kind is int]
        for tree in trees:
            conditions = conditions_of(tree, logic)
            if len(conditions) > 1:
                assert len(conditions) <= MOST, f"{name}: {len(conditions)} conditions"
                found.append(Decision(name, tree, conditions))
    return found


def conditions_of(tree: ast.expr, logic: Logic) -> tuple[ast.expr, ...]:
    """The conditions of a decision, each once, in the order of the text."""
    found: dict[str, ast.expr] = {}
    for node in leaves(tree):
        found.setdefault(ast.unparse(node), node)
    return tuple(found.values())


def leaves(tree: ast.expr) -> Iterable[ast.expr]:
    """The conditions of an expression that is true or false, each time they stand in it."""
    match tree:
        case ast.BoolOp(_, values):
            for value in values:
                yield from leaves(value)
        case ast.UnaryOp(ast.Not(), value):
            yield from leaves(value)
        case ast.IfExp(test, a, b):
            for value in (test, a, b):
                yield from leaves(value)
        case ast.Constant():
            return
        case _:
            yield tree


def outcome(tree: ast.expr, values: dict[str, bool]) -> bool:
    """The decision for given values of its conditions, by their text."""
    match tree:
        case ast.BoolOp(ast.And(), nodes):
            return all(outcome(node, values) for node in nodes)
        case ast.BoolOp(_, nodes):
            return any(outcome(node, values) for node in nodes)
        case ast.UnaryOp(ast.Not(), node):
            return not outcome(node, values)
        case ast.IfExp(test, a, b):
            return outcome(a if outcome(test, values) else b, values)
        case ast.Constant(value):
            return bool(value)
    return values[ast.unparse(tree)]


def decisive(decision: Decision, seen: Iterable[int]) -> dict[str, set[bool]]:
    """
    For each condition the values at which it decided, over the combinations that were `seen`.

    A combination is a whole number: bit k is the value of condition k.

    >>> tree = ast.parse("a and (b or c)", mode="eval").body
    >>> abc = Decision("", tree, tuple(leaves(tree)))
    >>> {k: sorted(v) for k, v in decisive(abc, [0b011, 0b010, 0b101, 0b001]).items()}
    {'a': [False, True], 'b': [False, True], 'c': [False, True]}
    """
    names = [ast.unparse(node) for node in decision.conditions]
    found: dict[str, set[bool]] = {name: set() for name in names}
    for combination in seen:
        values = {name: bool(combination >> k & 1) for k, name in enumerate(names)}
        whole = outcome(decision.tree, values)
        for name in names:
            if len(found[name]) < 2 and outcome(decision.tree, {**values, name: not values[name]}) != whole:
                found[name].add(values[name])
    return found


class Combinations:
    """Which combinations of conditions were met, decision by decision."""

    def __init__(self, rules: ColumnRules) -> None:
        self.decisions = decisions(rules.logic)
        self._rules: list[list[Rule]] = [[rules.rule(c) for c in d.conditions] for d in self.decisions]
        self.seen: list[set[int]] = [set() for _ in self.decisions]

    def take(self, columns: Columns) -> None:
        """The scans of a piece."""
        import numpy as np

        for rules, seen in zip(self._rules, self.seen, strict=True):
            packed: Any = np.zeros(columns.scans, dtype=np.int64)
            for k, rule in enumerate(rules):
                packed = packed | (columns.whole(rule).astype(np.int64) << k)
            seen.update(map(int, np.unique(packed)))
