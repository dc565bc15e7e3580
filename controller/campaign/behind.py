"""The facts that make another fact what it is in one scan, with the place where each is written."""

import ast
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from controller.explain import Scene
from controller.sequence.expressions import Read, reads_of


class Behind(NamedTuple):
    """A fact that decides."""

    name: str
    value: int
    where: str  # file:line, or the table that made it


def behind(scene: Scene, roots: Iterable[str]) -> tuple[Behind, ...]:
    """
    The facts that decide these, they first, nearest next.

    Of a false `and` all conditions that are false decide, of a choice only the branch taken.
    """
    found = dict.fromkeys(roots)
    queue = list(found)
    for name in queue:
        for read in _deciding(scene, scene.logic.facts[name].tree):
            if read.group == "this" and read.name not in found and read.name in scene.logic.facts:
                found[read.name] = None
                queue.append(read.name)
    facts = scene.logic.facts
    return tuple(Behind(name, int(scene.facts[name]), facts[name].where) for name in found)


def _deciding(scene: Scene, tree: ast.expr) -> Iterator[Read]:
    match tree:
        case ast.BoolOp(op, values):
            ends = isinstance(op, ast.Or)
            settling = [v for v in values if bool(scene.value(v)) == ends]
            for v in settling or values:
                yield from _deciding(scene, v)
        case ast.UnaryOp(ast.Not(), value):
            yield from _deciding(scene, value)
        case ast.IfExp(test, yes, no):
            yield from _deciding(scene, test)
            yield from _deciding(scene, yes if scene.value(test) else no)
        case _:
            yield from reads_of(tree)
