"""Why an expression has the value it has: the few of its reads that decide it."""

import ast
from collections.abc import Callable, Mapping
from typing import NamedTuple

from controller.sequence.definition import percent
from controller.sequence.expressions import OPERATORS, Read, read_of

CALLS: dict[str, Callable[[int, int], int]] = {"min": min, "max": max, "percent": percent}


class Reason(NamedTuple):
    """The value of an expression, and reads that suffice to give it this value."""

    value: int
    reads: tuple[Read, ...]


def reason(tree: ast.expr, values: Mapping[Read, int], constants: Mapping[str, int]) -> Reason:
    """
    Work out `tree` (in core form) and say what decided it.

    Where one false condition is enough for a false `and`, only the one with the fewest reads is named;
    of a choice, only the branch taken.
    """

    def why(node: ast.expr) -> Reason:
        return reason(node, values, constants)

    match tree:
        case ast.Constant(bool() | int() as value):
            return Reason(value, ())
        case ast.Name(name):
            return Reason(constants[name], ())
        case ast.BoolOp(op, nodes):
            ends = isinstance(op, ast.Or)  # the value of one that settles it
            parts = [why(n) for n in nodes]
            if settling := [p for p in parts if bool(p.value) == ends]:
                return Reason(ends, min(settling, key=lambda p: len(p.reads)).reads)
            return Reason(not ends, _together(*parts))
        case ast.UnaryOp(ast.Not(), node):
            return Reason(not why(node).value, why(node).reads)
        case ast.IfExp(test, yes, no):
            taken = why(yes if why(test).value else no)
            return Reason(taken.value, _together(why(test), taken))
        case ast.Compare(a, [ast.In()], [ast.Tuple(steps)]):
            among = {constants[k.id] for k in steps if isinstance(k, ast.Name)}
            return Reason(why(a).value in among, why(a).reads)
        case ast.BinOp(a, op, b) | ast.Compare(a, [op], [b]):
            return Reason(OPERATORS[type(op)](why(a).value, why(b).value), _together(why(a), why(b)))
        case ast.Call(ast.Name(name), [a, b]):
            return Reason(CALLS[name](why(a).value, why(b).value), _together(why(a), why(b)))
    read = read_of(tree)
    assert read is not None, ast.dump(tree)
    return Reason(values[read], (read,))


def _together(*parts: Reason) -> tuple[Read, ...]:
    return tuple(dict.fromkeys(r for p in parts for r in p.reads))
