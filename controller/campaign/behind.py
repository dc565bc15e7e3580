"""The facts that make another fact what it is in one scan, with the place where each is written."""

import ast
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from controller.explain import Scene
from controller.sequence.expressions import Read, reads_of

ROOT = Path(__file__).parents[2]


class Behind(NamedTuple):
    """A fact that decides."""

    name: str
    value: str  # on or off, a whole number, the name of the step
    where: str  # file:line, or the table that made it


def behind(scene: Scene, roots: Iterable[str]) -> tuple[Behind, ...]:
    """
    The facts that decide these, they first, nearest next.

    Of a false `and` all conditions that are false decide, of a choice only the branch taken.
    """
    found = dict.fromkeys(roots)
    queue = list(found)
    for name in queue:
        fresh = dict.fromkeys(deciding for deciding in _next(scene, name) if deciding not in found)
        found |= fresh
        queue += fresh
    return tuple(Behind(name, _value(scene, name), _where(scene, name)) for name in found)


def guards_to(scene: Scene, step: int) -> list[str]:
    """The guard that was taken, if one was, and those of the rows that lead to a step."""
    fired = scene.fired()
    leading = [row.guard.name for row in scene.logic.rows_from(scene.was_step) if row.to == step]
    return [fired.guard.name, *leading] if fired else leading


def _next(scene: Scene, name: str) -> Iterator[str]:
    if name == "step":  # its rows are asked for with the step that differs
        return
    facts = scene.logic.facts
    for read in _deciding(scene, facts[name].tree):
        if read.group == "this" and read.name in facts:
            yield read.name


def _value(scene: Scene, name: str) -> str:
    value = scene.facts[name]
    if name == "step":
        return scene.logic.step_names[value]
    return str(value) if scene.logic.facts[name].kind is int else "on" if value else "off"


def _where(scene: Scene, name: str) -> str:
    """As in the sources, wherever they are installed."""
    return scene.logic.facts[name].where.removeprefix(f"{ROOT}/")


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
