"""A logic with something changed in it, to see whether anybody notices."""

import ast
import copy
from collections.abc import Mapping, Sequence
from dataclasses import replace

from controller.campaign.words import Guarded
from controller.sequence.definition import Named, Row
from controller.sequence.expressions import Read, read_of
from controller.sequence.logic import Fact, Logic
from controller.sequence.made_facts import lines_of

FALSE = ast.Constant(False)


class Guard(Named):
    """The name of what guards a row."""

    def __init__(self, name: str) -> None:
        self.name = name


def changed(logic: Logic, trees: Mapping[str, ast.expr], rows: Sequence[Row] | None = None) -> Logic:
    """The logic with other rules for some facts (in core form), or with other rows."""
    other = copy.copy(logic)
    other.facts = dict(logic.facts)
    for name, tree in trees.items():
        whole = ast.fix_missing_locations(tree)
        other.facts[name] = replace(logic.facts[name], tree=whole, text=ast.unparse(whole), rule=None)
    if rows is not None:
        other.rows = tuple(rows)
    return other


def by_row(logic: Logic) -> Logic:
    """The same logic with a fact `row_1`, `row_2`, ... for each row: so a row changes as a rule does."""
    made = {
        f"row_{n}": ast.parse(f"s.{row.guard.name}", mode="eval").body for n, row in enumerate(logic.rows, 1)
    }
    step = logic.facts["step"]
    guards = ast.BoolOp(ast.Or(), [ast.parse(f"s.{name}", mode="eval").body for name in made])
    other = copy.copy(logic)
    other.rows = tuple(r._replace(guard=Guard(name)) for r, name in zip(logic.rows, made, strict=True))
    other.kinds = logic.kinds | {Read("this", name): bool for name in made}
    other.facts = {}
    for name, fact in logic.facts.items():
        if name == "step":
            other.facts |= {
                n: Fact(n, bool, None, False, tree, step.where, "", ast.unparse(tree), None)
                for n, tree in made.items()
            }
        other.facts[name] = replace(fact, tree=guards) if name == "step" else fact
    return other


def without(logic: Logic, line: Guarded) -> Logic:
    """The logic without a line of a table: what a scenario that guards it must notice."""
    d = logic.definition
    match line.table:
        case "row":
            return changed(logic, {}, [row for row in logic.rows if row.guard.name != line.name])
        case "interlock":
            silent = {fact: FALSE for fact, i in lines_of(d.interlocks) if i.name == line.name}
            return changed(logic, silent)
        case "output":
            return changed(logic, {line.name: FALSE})
        case "last word":
            barred = {o.unless.name for o in d.output_lines if o.name == line.name and o.unless}
            return changed(logic, {line.name: _never(logic.facts[line.name].tree, barred)})
    name = f"{line.name}_refused"
    return changed(logic, {name: _never(logic.facts[name].tree, {line.more})})


def _never(tree: ast.expr, names: set[str]) -> ast.expr:
    """An expression in which these facts are never true."""

    class Swap(ast.NodeTransformer):
        def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
            read = read_of(node)
            return FALSE if read and read.group == "this" and read.name in names else node

    swapped: ast.expr = Swap().visit(copy.deepcopy(tree))
    return swapped
