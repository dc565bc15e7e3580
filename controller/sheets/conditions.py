"""A condition of the tables as a sentence: what a reader of the sheets sees in place of an expression."""

import ast
from collections.abc import Mapping
from typing import NamedTuple

from controller.engines.fixed import Fixed, settled
from controller.engines.matrix import steps_text
from controller.sequence.expressions import read_of
from controller.sequence.logic import Logic
from controller.sequence.phrases import phrase, said, words

SIGNS = {ast.Lt: "is under", ast.LtE: "is at most", ast.Gt: "is over", ast.GtE: "is at least",
         ast.Eq: "is", ast.NotEq: "is not"}  # fmt: skip
CONTRARY = {ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq,
            ast.NotEq: ast.Eq}  # fmt: skip


class Sentences(NamedTuple):
    """
    Conditions of `logic` in words, at one station: what is `fixed` there by its `presets` is left out.

    `values` says each preset with the station's value, unit and key.
    """

    logic: Logic
    values: Mapping[str, str]
    presets: Mapping[str, int]
    fixed: Fixed

    def lines(self, tree: ast.expr) -> list[str]:
        """The alternatives of a condition in core form, each a sentence; only one, if it has none."""
        match tree:
            case ast.BoolOp(op, nodes) if left := [node for node in nodes if self.settled(node) is None]:
                if isinstance(op, ast.Or) or len(left) == 1:
                    return [line for node in left for line in self.lines(node)]
        return [self.condition(tree)]

    def settled(self, node: ast.expr) -> int | None:
        return settled(self.logic, self.fixed, self.presets, node)

    def condition(self, node: ast.expr, on: bool = True, inner: bool = False) -> str:
        """One condition, or its contrary; `inner`: in brackets, where `and` and `or` would mix."""
        if (value := self.settled(node)) is not None:
            return "always" if bool(value) == on else "never"
        match node:
            case ast.UnaryOp(ast.Not(), denied):
                return self.condition(denied, not on, inner)
            case ast.BoolOp(op, nodes):
                either = isinstance(op, ast.Or) == on
                parts = [self.condition(n, on, inner=True) for n in nodes if self.settled(n) is None]
                if len(parts) == 1:
                    return parts[0]
                text = (" or " if either else " and ").join(parts)
                return f"({text})" if inner else text
            case ast.IfExp(test, yes, no) if (taken := self.settled(test)) is not None:
                return self.condition(yes if taken else no, on, inner)
            case ast.IfExp(test, yes, no):
                yes_text, no_text = self.condition(yes, on, inner=True), self.condition(no, on, inner=True)
                return f"({yes_text}, if {self.condition(test, inner=True)}; else {no_text})"
            case ast.Compare(a, [op], [b]):
                return self._comparison(a, op, b, on)
        read = read_of(node)
        assert read is not None, ast.dump(node)
        return self.values[read.name] if read.group == "set" else said(read.name, on)

    def _comparison(self, a: ast.expr, op: ast.cmpop, b: ast.expr, on: bool) -> str:
        read, not_in = read_of(a), "" if on else "not "
        if isinstance(b, ast.Tuple):
            steps = [self.logic.constants[k.id] for k in b.elts if isinstance(k, ast.Name)]
            return f"{not_in}in {steps_text(self.logic, steps)}"
        if read and read.name == "step" and isinstance(b, ast.Name):
            return f"{not_in if isinstance(op, ast.Eq) else 'not ' if on else ''}in {b.id}"
        sign = SIGNS[type(op) if on else CONTRARY[type(op)]]
        return f"{self._term(a)} {sign} {self._term(b)}"

    def _term(self, node: ast.expr) -> str:
        match node:
            case ast.Constant(int() as value):
                return f"{value:,}"
            case ast.Name(name):
                return f"{self.logic.constants[name]:,} ms" if name.endswith("_MS") else words(name.lower())
            case ast.IfExp(test, yes, no) if (taken := self.settled(test)) is not None:
                return self._term(yes if taken else no)
            case ast.IfExp(test, yes, no):
                return f"{self._term(yes)}, if {self.condition(test, inner=True)}, else {self._term(no)}"
            case ast.BinOp(ast.Constant(0), ast.Sub(), b):
                return f"minus {self._term(b)}"
            case ast.BinOp(a, ast.Add() | ast.Sub() as op, b):
                return f"{self._term(a)} {'plus' if isinstance(op, ast.Add) else 'less'} {self._term(b)}"
            case ast.Call(ast.Name(name), [a, b]):
                if name == "percent":
                    return f"{self._term(b)} of {self._term(a)}"
                of = {"min": "the smaller of", "max": "the larger of"}[name]
                return f"{of} {self._term(a)} and {self._term(b)}"
        read = read_of(node)
        assert read is not None, ast.dump(node)
        return self.values[read.name] if read.group == "set" else phrase(read.name)
