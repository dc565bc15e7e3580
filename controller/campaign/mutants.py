"""
Small mistakes planted in a logic, one at a time: what tests and proofs that are worth their name must notice.

Rows are dropped, swapped, or no longer leave one of their steps; interlock lines, outputs, last words and
refusals are dropped; conditions are negated; presets are doubled (Budd and others, mutation analysis, 1979;
the kinds are those of the tables here).
"""

import ast
import copy
from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple

from controller.campaign.decisions import conditions_of
from controller.campaign.planted import FALSE, changed, without
from controller.campaign.words import Guarded
from controller.sequence.definition import Row
from controller.sequence.expressions import read_of
from controller.sequence.logic import Logic
from controller.sequence.made_facts import lines_of


class Mutant(NamedTuple):
    """One mistake: what is otherwise, as facts or as rows."""

    kind: str
    name: str  # unique
    fact: str  # that changes; "step" for rows
    trees: Mapping[str, ast.expr]
    rows: tuple[Row, ...] | None = None

    def logic(self, logic: Logic) -> Logic:
        """The logic with this mistake in it."""
        return changed(logic, self.trees, self.rows)


def mutants(logic: Logic) -> list[Mutant]:
    """All of them, in the order of tables and facts."""
    return [
        *_rows(logic),
        *_lines(logic),
        *_outputs(logic),
        *_refusals(logic),
        *_conditions(logic),
        *_presets(logic),
    ]


def _rows(logic: Logic) -> Iterator[Mutant]:
    rows = logic.rows
    for n, row in enumerate(rows):
        name = f"{row.guard.name} -> {logic.step_names[row.to]}"
        rest = (*rows[:n], *rows[n + 1 :])
        yield Mutant("row dropped", f"row {name}", "step", {}, rest)
        for k in row.steps if len(row.steps) > 1 else ():
            fewer = row._replace(steps=tuple(s for s in row.steps if s != k))
            kept = (*rows[:n], fewer, *rows[n + 1 :])
            yield Mutant("row without a step", f"row {name} not from {logic.step_names[k]}", "step", {}, kept)
        after = next((m for m in range(n + 1, len(rows)) if set(row.steps) & set(rows[m].steps)), None)
        if after is not None and rows[after].to != row.to:
            swapped = list(rows)
            swapped[n], swapped[after] = swapped[after], swapped[n]
            other = rows[after].guard.name
            yield Mutant("rows swapped", f"row {name} after {other}", "step", {}, tuple(swapped))


def _lines(logic: Logic) -> Iterator[Mutant]:
    for fact, line in lines_of(logic.definition.interlocks):
        yield Mutant("interlock line dropped", f"line {fact} ({line.effect})", fact, {fact: FALSE})


def _outputs(logic: Logic) -> Iterator[Mutant]:
    d = logic.definition
    for table, names in (
        ("output", dict.fromkeys(o.name for o in d.output_lines)),
        ("last word", dict.fromkeys(o.name for o in d.output_lines if o.unless)),
    ):
        for name in names:
            other = without(logic, Guarded(table, name))
            yield Mutant(f"{table} dropped", f"{table} {name}", name, {name: other.facts[name].tree})


def _refusals(logic: Logic) -> Iterator[Mutant]:
    for r in logic.definition.refusals:
        fact = f"{r.command}_refused"
        other = without(logic, Guarded("refusal", r.command, r.fact.name))
        yield Mutant(
            "refusal dropped", f"refusal {r.command} {r.fact.name}", fact, {fact: other.facts[fact].tree}
        )


def _conditions(logic: Logic) -> Iterator[Mutant]:
    """Each condition of each rule negated, wherever it stands in it."""
    for name, fact in logic.facts.items():
        if name == "step":
            continue
        trees = [fact.tree] if fact.kind is bool else []
        trees += [n.test for n in ast.walk(fact.tree) if isinstance(n, ast.IfExp) and fact.kind is int]
        texts = dict.fromkeys(ast.unparse(c) for tree in trees for c in conditions_of(tree, logic))
        for text in texts:
            yield Mutant(
                "condition negated", f"{name}: not ({text})", name, {name: _negated(fact.tree, text)}
            )


def _presets(logic: Logic) -> Iterator[Mutant]:
    """Each whole preset of each rule doubled."""
    for name, fact in logic.facts.items():
        reads = [r for node in ast.walk(fact.tree) if (r := read_of(node)) and r.group == "set"]
        for read in dict.fromkeys(reads):
            if logic.kinds[read] is int and not _is_choice(fact.tree, str(read)):
                yield Mutant(
                    "preset doubled", f"{name}: {read.name} x 2", name, {name: _doubled(fact.tree, str(read))}
                )


def _is_choice(tree: ast.expr, text: str) -> bool:
    """Whether a preset is only compared for being one of its choices: its negation stands already."""
    compared = (
        n for n in ast.walk(tree) if isinstance(n, ast.Compare) and isinstance(n.ops[0], ast.Eq | ast.NotEq)
    )
    return any(text in ast.unparse(n) for n in compared)


def _negated(tree: ast.expr, text: str) -> ast.expr:
    return _swapped(tree, text, lambda node: ast.UnaryOp(ast.Not(), node))


def _doubled(tree: ast.expr, text: str) -> ast.expr:
    return _swapped(tree, text, lambda node: ast.BinOp(node, ast.Add(), copy.deepcopy(node)))


def _swapped(tree: ast.expr, text: str, by: Callable[[ast.expr], ast.expr]) -> ast.expr:
    class Swap(ast.NodeTransformer):
        def visit(self, node: ast.AST) -> ast.AST:
            if isinstance(node, ast.expr) and ast.unparse(node) == text:
                return by(node)
            return self.generic_visit(node)

    swapped = Swap().visit(copy.deepcopy(tree))
    assert isinstance(swapped, ast.expr)
    return swapped
