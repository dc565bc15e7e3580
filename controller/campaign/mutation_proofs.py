"""
Claims as judges of mutants: which claim fails with a mistake in it, and which mistakes are none.

Each proof rests on few rules; a mistake in another leaves it as it is. Which those are says the solver
(unsatisfiable core), once for all mutants. Where a mistake touches one, the proof is made again, given the
claims before it: a claim that is not proved any more has noticed it.

A mistake is none where it is proved that in every scan memory, outputs and acts are what they are without it:
for all inputs and presets, and for all memory that keeps to the claims.
"""

import ast
import copy
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from controller.campaign.mutants import Mutant
from controller.campaign.mutation import Fate, descendants
from controller.campaign.planted import by_row, changed
from controller.engines.claims import CLAIMS, Watched
from controller.engines.proof import Claim, Prover
from controller.engines.terms import Scans
from controller.engines.ways import Shown
from controller.sequence.expressions import Read, read_of, reads_of
from controller.sequence.logic import Fact, Logic
from controller.sequence.receiver import RECEIVER

OTHER = "otherwise"


class Rest(NamedTuple):
    """A proof, or a part of one, and the rules that it rests on."""

    claim: str
    shown: Shown
    rules: frozenset[str]


class Proofs:
    """The proofs of all claims, made once; then mutants are held against them."""

    def __init__(self, claims: Iterable[Claim] = CLAIMS) -> None:
        self.logic = by_row(Logic(replace(RECEIVER, facts=Watched)))
        prover, self.rests = Prover(self.logic), list[Rest]()
        told = [*Logic(RECEIVER).memory, *self.logic.definition.outputs._fields]
        self._told = {*told, *(f"{name.lower()}_acts" for name in self.logic.interlock_names)}
        self._ways, self._below = prover.ways, descendants(self.logic)
        scans = {False: _Named(self.logic, {}), True: _Named(self.logic, _first(self.logic))}
        for claim in claims:
            before = len(self._ways.shown)
            verdict = prover.verdict(claim)
            assert verdict.proved, f"{claim.name} fails without any mistake"
            for shown in self._ways.shown[before:]:
                rules = scans[shown.power_up].needed(shown)
                self.rests.append(Rest(claim.name, shown, rules))

    def judged(self, fate: Fate) -> Fate:
        """The fate of a mutant that scenarios did not notice, with what proofs say."""
        claim = self.failing(fate.mutant)
        return fate._replace(claim=claim, none=not claim and not fate.shows_in and self.same(fate.mutant))

    def failing(self, mutant: Mutant) -> str:
        """The first claim that fails with the mistake in it; empty: none does."""
        touched = [rest for rest in self.rests if mutant.fact in rest.rules]
        if not touched:
            return ""
        logic = changed(self.logic, {mutant.fact: mutant.tree(self.logic)})
        scans = {False: _Named(logic, {}), True: _Named(logic, _first(logic))}
        ways = self._ways.of(logic)
        for rest in touched:
            shown = rest.shown
            if not scans[shown.power_up].still(shown, rest.rules) and ways.again(shown) is not None:
                return rest.claim
        return ""

    def same(self, mutant: Mutant) -> bool:
        """Whether it is proved that the mistake is none."""
        pair = _beside(self.logic, mutant, self._below[mutant.fact])
        both = [f"s.{n} == s.{n}_{OTHER}" for n in self._below[mutant.fact] if n in self._told]
        ways = self._ways.of(pair)
        differs = ways.said(" and ".join(both) or "True").denied()
        return ways.find(1, [differs]) is None or (
            ways.find(2, [differs.at(1)]) is None and ways.find(1, [differs], power_up=True) is None
        )


class _Named(Scans):
    """Scans in which each fact has a name and a rule that says what it is, so that rules can be left out."""

    def __init__(self, logic: Logic, first: Mapping[str, int]) -> None:
        super().__init__(logic, first)
        self._rules: dict[tuple[int, str], Any] = {}

    def needed(self, shown: Shown) -> frozenset[str]:
        """The facts whose rules are enough for what was shown; the nearest are tried first."""
        import z3

        solver, names = z3.SimpleSolver(), dict[Any, str]()
        solver.add(self._said(shown))
        front = {(one.scan, read) for one in shown.said for read in reads_of(one.tree)}
        told: set[tuple[int, str]] = set()
        while solver.check(*names) != z3.unsat:
            told |= (fresh := {key for read in front if (key := self._place(*read)) in self._rules} - told)
            assert fresh, shown
            for scan, name in fresh:
                names[rests := z3.Bool(f"rule {name}")] = name
                solver.add(z3.Implies(rests, self._rules[scan, name]))
            front = {(scan, read) for scan, name in fresh for read in self.logic.reads(name)}
        return frozenset(names[one] for one in solver.unsat_core())

    @staticmethod
    def _place(scan: int, read: Read) -> tuple[int, str]:
        """The scan and the name of the fact that is read."""
        return (
            (scan - 1, read.name)
            if read.group == "was"
            else (scan, read.name if read.group == "this" else "")
        )

    def still(self, shown: Shown, rules: frozenset[str]) -> bool:
        """Whether these rules, as they are here, are enough for what was shown."""
        import z3

        solver = z3.SimpleSolver()
        solver.add(self._said(shown))
        solver.add([rule for (_, name), rule in self._rules.items() if name in rules])
        return bool(solver.check() == z3.unsat)

    def _said(self, shown: Shown) -> list[Any]:
        said = [self.of(one.scan, one.tree) for one in shown.said]
        return [*said, *self.ranges, *self.bounds]

    def _made(self, scan: int, read: Read) -> Any:
        term = super()._made(scan, read)
        if read.group != "this" or read.name not in self.logic.facts:
            return term
        import z3

        name = (z3.Bool if z3.is_bool(term) else z3.Int)(f"{read.name}@{scan}")
        self._rules[scan, read.name] = name == term
        return name


def _first(logic: Logic) -> dict[str, int]:
    return {n: v for n, v in logic.memory.items() if n not in logic.kept}


def _beside(logic: Logic, mutant: Mutant, below: Iterable[str]) -> Logic:
    """The logic, and beside the facts that may be otherwise with a mistake what they are with it."""
    other = copy.copy(logic)
    other.facts, other.kinds = dict(logic.facts), dict(logic.kinds)
    for name in below:
        fact, copied = logic.facts[name], f"{name}_{OTHER}"
        tree = mutant.tree(logic) if name == mutant.fact else _ladder(logic) if name == "step" else fact.tree
        tree = ast.fix_missing_locations(_Renamed(below).visit(copy.deepcopy(tree)))
        other.kinds[Read("this", copied)] = fact.kind
        other.facts[copied] = Fact(copied, fact.kind, None, False, tree, "", "", ast.unparse(tree), None)
    return other


def _ladder(logic: Logic) -> ast.expr:
    """The rows as one expression."""
    text = "s.was.step"
    for row in reversed(logic.rows):
        steps = ", ".join(logic.step_names[k] for k in row.steps)
        asked = f"s.was.step in ({steps},) and s.{row.guard.name}"
        text = f"({logic.step_names[row.to]} if {asked} else {text})"
    return ast.parse(text, mode="eval").body


class _Renamed(ast.NodeTransformer):
    """Facts that may be otherwise by their other name."""

    def __init__(self, below: Iterable[str]) -> None:
        self._below = below

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        read = read_of(node)
        if read and read.group == "this" and read.name in self._below:
            return ast.Attribute(node.value, f"{read.name}_{OTHER}")
        return node
