"""A logic with something changed in it, to see whether anybody notices."""

import ast
import copy
from collections.abc import Mapping, Sequence
from dataclasses import replace

from controller.campaign.words import Guarded
from controller.sequence.definition import Row
from controller.sequence.expressions import read_of
from controller.sequence.logic import Logic
from controller.sequence.made_facts import lines_of

FALSE = ast.Constant(False)


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
