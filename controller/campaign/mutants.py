"""
Small mistakes planted in a logic, one at a time: what tests and proofs that are worth their name must notice.

Rows are dropped, moved behind the next, or no longer leave one of their steps; interlock lines, outputs, last
words and refusals are dropped; conditions are negated; presets are doubled (mutation analysis: Budd and
others, 1979; the kinds are those of the tables here).

All of them fit in one logic, where a preset says which one is made (mutant schemata: Untch, Offutt and
Harrold, 1993): so it is compiled once.
"""

import ast
import copy
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from controller.campaign.decisions import conditions_of
from controller.campaign.planted import by_row, changed
from controller.sequence.expressions import Read, read_of
from controller.sequence.logic import Logic
from controller.sequence.made_facts import lines_of

PLANTED = Read("set", "planted")
"""The preset that says which mistake is made; 0: none."""


class Mutant(NamedTuple):
    """One mistake: which part of which rule is otherwise, and how: plain values, for other processes too."""

    number: int  # from 1
    kind: str
    name: str  # unique
    fact: str  # whose rule it is, in the logic `by_row`
    how: str  # off, negated, doubled
    part: str = ""  # the text of the part; empty: the whole
    where: str = ""  # only there; empty: everywhere

    def tree(self, logic: Logic) -> ast.expr:
        """The rule with this mistake in it."""
        return _Edited({self.part: [(self, ast.Constant(True))]}).whole(logic.facts[self.fact].tree)

    def logic(self, logic: Logic) -> Logic:
        """The logic with this mistake in it."""
        rows = by_row(logic)
        return changed(rows, {self.fact: self.tree(rows)})


def mutants(logic: Logic) -> list[Mutant]:
    """All of them, in the order of tables and facts."""
    made = (*_rows(logic), *_lines(logic), *_conditions(logic), *_presets(logic))
    return [Mutant(n, *mistake) for n, mistake in enumerate(made, 1)]


def with_all(logic: Logic, planted: list[Mutant]) -> Logic:
    """The logic with all these mistakes in it, each made only where the preset `planted` has its number."""
    rows, parts = by_row(logic), dict[str, dict[str, list[tuple[Mutant, ast.expr]]]]()
    for mutant in planted:
        on = ast.parse(f"{PLANTED} == {mutant.number}", mode="eval").body
        parts.setdefault(mutant.fact, {}).setdefault(mutant.part, []).append((mutant, on))
    other = changed(rows, {f: _Edited(edits).whole(rows.facts[f].tree) for f, edits in parts.items()})
    presets = logic.definition.presets
    kinds = {**presets.__annotations__, PLANTED.name: int}
    wider = NamedTuple("Planted", list(kinds.items()))  # type: ignore[misc]
    wider._field_defaults = presets._field_defaults
    other.definition = replace(logic.definition, presets=wider)
    other.kinds = {**rows.kinds, PLANTED: int}
    return other


_Mistake = tuple[str, str, str, str, str, str]  # Mutant without its number


def _rows(logic: Logic) -> Iterator[_Mistake]:
    rows, names = logic.rows, logic.step_names
    for n, row in enumerate(rows):
        fact, name = f"row_{n + 1}", f"row {row.guard.name} -> {names[row.to]}"
        yield "row dropped", name, fact, "off", "", ""
        for k in row.steps if len(row.steps) > 1 else ():
            yield "row without a step", f"{name} not from {names[k]}", fact, "off", "", _in(logic, (k,))
        after = next((r for r in rows[n + 1 :] if set(row.steps) & set(r.steps)), None)
        if after is not None and after.to != row.to:
            first = f"s.{after.guard.name} and {_in(logic, after.steps)}"
            yield "row moved behind", f"{name} behind {after.guard.name}", fact, "off", "", first


def _in(logic: Logic, steps: tuple[int, ...]) -> str:
    return f"s.was.step in ({', '.join(logic.step_names[k] for k in steps)},)"


def _lines(logic: Logic) -> Iterator[_Mistake]:
    d = logic.definition
    for fact, line in lines_of(d.interlocks):
        yield "interlock line dropped", f"line {fact} ({line.effect})", fact, "off", "", ""
    for output in d.outputs._fields:
        yield "output dropped", f"output {output}", output, "off", "", ""
    for barred, output in dict.fromkeys((o.unless.name, o.name) for o in d.output_lines if o.unless):
        yield "last word dropped", f"last word {output} {barred}", output, "off", f"s.{barred}", ""
    for r in d.refusals:
        fact, name = f"{r.command}_refused", f"refusal {r.command} {r.fact.name}"
        yield "refusal dropped", name, fact, "off", f"s.{r.fact.name}", ""


def _conditions(logic: Logic) -> Iterator[_Mistake]:
    """Each condition of each rule negated, wherever it stands in it."""
    for name, fact in logic.facts.items():
        if name == "step":
            continue
        trees = [fact.tree] if fact.kind is bool else []
        trees += [n.test for n in ast.walk(fact.tree) if isinstance(n, ast.IfExp) and fact.kind is int]
        for text in dict.fromkeys(ast.unparse(c) for tree in trees for c in conditions_of(tree, logic)):
            yield "condition negated", f"{name}: not ({text})", name, "negated", text, ""


def _presets(logic: Logic) -> Iterator[_Mistake]:
    """Each whole preset of each rule doubled."""
    for name, fact in logic.facts.items():
        reads = [r for node in ast.walk(fact.tree) if (r := read_of(node)) and r.group == "set"]
        for read in dict.fromkeys(reads):
            if logic.kinds[read] is int and not _is_choice(fact.tree, str(read)):
                yield "preset doubled", f"{name}: {read.name} x 2", name, "doubled", str(read), ""


def _is_choice(tree: ast.expr, text: str) -> bool:
    """Whether a preset is only compared for being one of its choices: its negation stands already."""
    compared = (
        n for n in ast.walk(tree) if isinstance(n, ast.Compare) and isinstance(n.ops[0], ast.Eq | ast.NotEq)
    )
    return any(text in ast.unparse(n) for n in compared)


class _Edited(ast.NodeTransformer):
    """Puts mistakes in: by the text of the part, the mutants of it with the condition that each is made."""

    def __init__(self, edits: Mapping[str, list[tuple[Mutant, ast.expr]]]) -> None:
        self._edits = edits

    def whole(self, tree: ast.expr) -> ast.expr:
        edited: ast.expr = self.visit(copy.deepcopy(tree))
        for mutant, on in self._edits.get("", ()):
            edited = _edited(edited, mutant, on)
        return ast.fix_missing_locations(edited)

    def visit(self, node: ast.AST) -> Any:
        if not isinstance(node, ast.expr):
            return node
        here = self._edits.get(ast.unparse(node), ())
        edited = self.generic_visit(node)
        for mutant, on in here:
            edited = _edited(edited, mutant, on)
        return edited


def _edited(node: Any, mutant: Mutant, on: ast.expr) -> ast.expr:
    if mutant.where:
        on = ast.BoolOp(ast.And(), [on, ast.parse(mutant.where, mode="eval").body])
    match mutant.how:
        case "off":
            return ast.BoolOp(ast.And(), [node, ast.UnaryOp(ast.Not(), on)])
        case "negated":
            return ast.Compare(node, [ast.NotEq()], [on])
    return ast.BinOp(node, ast.Add(), ast.IfExp(on, copy.deepcopy(node), ast.Constant(0)))
