"""
The limits of a cause: each comparison with a preset behind it, in words, with the value of the station.

Followed are the facts of the same scan that the cause is made of, a few deep: what they in turn are made of
says how a signal is judged, not when the cause is there. What is fixed at the station is left out.
"""

import ast
from collections.abc import Iterator

from controller.sequence.expressions import read_of, reads_of
from controller.sequence.phrases import phrase, said
from controller.sheets.conditions import Sentences

DEEP = 2
"""How many facts behind the cause are followed."""


def limits(sentences: Sentences, cause: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Of the fact `cause`: how long what must last, then the other limits; empty where it has none."""
    found = dict.fromkeys(_Cause(sentences).fact(cause, True, 0))
    return tuple(text for is_time, text in found if is_time), tuple(t for is_time, t in found if not is_time)


class _Cause:
    """Walks through a cause; yields whether a limit is of a time, and its words."""

    def __init__(self, sentences: Sentences) -> None:
        self.sentences, self.logic = sentences, sentences.logic

    def fact(self, name: str, on: bool, deep: int) -> Iterator[tuple[bool, str]]:
        if f"{name}_held_ms" not in self.logic.facts:
            yield from self._of(self.logic.facts[name].tree, on, deep, name, one_of=False)
            return
        at_the_wire = any(r.group == "now" for r in self.logic.reads(f"{name}_seen"))
        if on and not (at_the_wire and deep == DEEP):  # of a delay that is denied its cause alone counts
            lasts = [r.name for r in reads_of(self.logic.facts[name].tree) if r.group == "set"]
            for preset in lasts:
                yield True, f"{said(name, on)} for {self.sentences.values[preset]}"
        yield from self._of(self.logic.facts[f"{name}_seen"].tree, on, deep, name, one_of=False)

    def _of(
        self, node: ast.expr, on: bool, deep: int, fact: str, *, one_of: bool
    ) -> Iterator[tuple[bool, str]]:
        """`one_of`: another part of `fact` may make it true without this one."""
        if self._settled(node) is not None:
            return
        match node:
            case ast.UnaryOp(ast.Not(), denied):
                yield from self._of(denied, not on, deep, fact, one_of=one_of)
            case ast.BoolOp(op, nodes):
                one_of = one_of or isinstance(op, ast.Or) == on
                for part in nodes:
                    yield from self._of(part, on, deep, fact, one_of=one_of)
            case ast.IfExp(test, yes, no):
                taken = self._settled(test)
                for part in (yes, no) if taken is None else (yes if taken else no,):
                    yield from self._of(part, on, deep, fact, one_of=one_of)
            case ast.Compare():
                yield from self._comparison(node, on, fact if deep and one_of else "", fact)
            case _:
                read = read_of(node)
                if read and read.group == "this" and read.name in self.logic.facts and deep < DEEP:
                    yield from self.fact(read.name, on, deep + 1)

    def _comparison(self, node: ast.Compare, on: bool, named: str, fact: str) -> Iterator[tuple[bool, str]]:
        a, [op], [b] = node.left, node.ops, node.comparators
        whole = ast.Compare(a, [op], [_Unfolded(self, fact).visit(b)])
        is_time = any(r.name.endswith("_ms") for r in reads_of(a))
        if any(r.group == "set" for r in reads_of(whole)) and (on or not is_time):
            text = self.sentences.condition(whole, on)
            text += " ms" if is_time and text[-1].isdigit() else ""  # it ends with a bare constant
            yield is_time, f"{phrase(named)}: {text}" if named and is_time else text

    def _settled(self, node: ast.expr) -> int | None:
        return self.sentences.settled(node)

    def side(self, node: ast.IfExp, fact: str) -> ast.expr | None:
        """The side that counts at the station as long as `fact` is not there yet; None: it depends."""
        taken = self._settled(node.test)
        if taken is None and fact in {r.name for r in reads_of(node.test) if r.group == "was"}:
            taken = 0  # a band around a limit
        return None if taken is None else node.body if taken else node.orelse

    def rule(self, node: ast.expr) -> ast.expr | None:
        """The rule of a number of this scan that is worked out of presets."""
        read = read_of(node)
        if read is None or read.group != "this" or read.name not in self.logic.facts:
            return None
        tree = self.logic.facts[read.name].tree
        return tree if any(r.group == "set" for r in reads_of(tree)) else None


class _Unfolded(ast.NodeTransformer):
    """A term with its presets in sight."""

    def __init__(self, cause: _Cause, fact: str, *, rules: bool = True) -> None:
        self.cause, self.fact, self.rules = cause, fact, rules

    def visit_IfExp(self, node: ast.IfExp) -> ast.expr:
        side = self.cause.side(node, self.fact)
        return node if side is None else self.visit(side)

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        rule = self.cause.rule(node) if self.rules else None
        return node if rule is None else _Unfolded(self.cause, self.fact, rules=False).visit(rule)

    def visit_BinOp(self, node: ast.BinOp) -> ast.expr:
        left, right = self.visit(node.left), self.visit(node.right)
        none = isinstance(right, ast.Constant) and right.value == 0
        return left if none else ast.BinOp(left, node.op, right)

    def visit_Call(self, node: ast.Call) -> ast.expr:
        return ast.Call(node.func, [self.visit(arg) for arg in node.args], [])

    def visit(self, node: ast.expr) -> ast.expr:  # type: ignore[override]
        found = super().visit(node)
        assert isinstance(found, ast.expr)
        return found
