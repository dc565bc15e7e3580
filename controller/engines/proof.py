"""
Claims over the facts, shown for all inputs, all presets and all histories, by k-induction.

A claim is shown to hold in the first k scans after power-up, and in any scan that follows k in which it
held. Kept memory comes from the last scan of an earlier run: in the first scan after power-up it is
unknown, but for the claims over kept memory alone that are proved already. Assumed are the limits of the
presets (the same from power-up on), the ranges of the inputs and 1 to 1,000 ms between scans; no more.
"""

import ast
from collections.abc import Callable, Iterable, Iterator
from dataclasses import KW_ONLY, dataclass
from typing import Any

from controller.engines.counterexample import Counterexample, replayed
from controller.engines.terms import Scans
from controller.sequence.definition import DAY_MS
from controller.sequence.expressions import NotInTheSubset, Read, Refused, reads_of, written
from controller.sequence.logic import Logic
from controller.sequence.reasons import reason

Rule = Callable[[Any], bool]


@dataclass(frozen=True)
class Claim:
    """In every scan: `then`, whenever `when`. Both are rules over the scan `s`."""

    name: str
    _: KW_ONLY
    then: Rule
    when: Rule | None = None  # None: always
    k: int = 1  # how many scans the induction looks back
    why: str = ""


@dataclass(frozen=True)
class Verdict:
    """What the prover says of a claim."""

    claim: Claim
    proved: bool
    possible: bool = True  # its left side is not excluded by what is proved
    counterexample: Counterexample | None = None

    def __str__(self) -> str:
        if self.counterexample is None:
            empty = "" if self.possible else " (but its left side can never be true)"
            return f"proved  {self.claim.name}{empty}"
        return f"FAILS   {self.claim.name}: {self.counterexample}"


class _Window:
    """A few scans in a row in one solver, with all that is proved said of each of them."""

    def __init__(self, scans: Scans, length: int) -> None:
        import z3

        self.scans, self.length = scans, length
        self.solver = z3.Solver()
        self._said = 0

    def add(self, *terms: Any) -> None:
        self.solver.add(*self.scans.assumed[self._said :], *terms)
        self._said = len(self.scans.assumed)

    def learn(self, claim: ast.expr) -> None:
        """From now on `claim` holds in every scan of the window."""
        self.add(*(self.scans.of(n, claim) for n in range(self.length)))

    def lengthen(self, claims: Iterable[ast.expr]) -> None:
        """One scan more, in which all `claims` hold."""
        self.length += 1
        self.add(*(self.scans.of(self.length - 1, claim) for claim in claims))

    def model(self, *terms: Any) -> Any | None:
        """A model in which all terms hold, if it can be had one with exact percentages; or None."""
        import z3

        self.add()
        self.solver.push()
        self.solver.add(*terms)
        answer = self.solver.check()
        assert answer != z3.unknown, self.solver.reason_unknown()
        model = self.solver.model() if answer == z3.sat else None
        if model is not None and self.scans.percents:
            for exact in self.scans.pinned(model):
                if self.solver.check(*exact) == z3.sat:
                    model = self.solver.model()
                    break
        self.solver.pop()
        return model


class Prover:
    """
    Proves claims one after another; what is proved helps the next.

    Args:
        logic: What the claims are about.
        search: After a claim failed by induction, how many scans from power-up to search for a real way.
        trusting: Take what holds of every logic (bounds of steps and clocks) for proved already.
    """

    def __init__(self, logic: Logic, search: int = 8, trusting: bool = False) -> None:
        self.logic, self.search = logic, search
        self._first = {n: v for n, v in logic.memory.items() if n not in logic.kept}
        self._any, self._start = Scans(logic, {}), Scans(logic, self._first)
        self._never_run = {Read("this", n): v for n, v in logic.memory.items()}
        self._proved: list[ast.expr] = []
        self._windows: dict[tuple[bool, int], _Window] = {}
        self._before: list[ast.expr] = []  # proved, over kept memory alone
        for text in _of_every_logic(logic):
            tree = ast.parse(text, mode="eval").body
            if trusting or self._fails(tree, k=1) is None:
                self._learn(tree)

    def verdict(self, claim: Claim) -> Verdict:
        """Prove a claim, or show how it fails. Raises NotInTheSubset if it is not in the subset."""
        when, tree = self._read(claim)
        counterexample = self._fails(tree, claim.k)
        possible = self._window(False, 1).model(self._any.of(0, when)) is not None
        if counterexample is None:
            self._learn(tree)
        return Verdict(claim, counterexample is None, possible, counterexample)

    def assume(self, claim: Claim) -> None:
        """Take a claim for proved without proving it: to show that another fails all the same."""
        self._learn(self._read(claim)[1])

    def _learn(self, tree: ast.expr) -> None:
        """It is proved: it holds in every scan of every window from now on."""
        self._proved.append(tree)
        for window in self._windows.values():
            window.learn(tree)
        if self._over_kept(tree):
            self._before.append(tree)
            for (start, _), window in self._windows.items():
                if start:
                    window.add(self._earlier(tree))

    def _read(self, claim: Claim) -> tuple[ast.expr, ast.expr]:
        """The left side and the whole claim in core form."""
        try:
            then = self.logic.expression(written(claim.then))
            when = self.logic.expression(written(claim.when)) if claim.when else ast.Constant(True)
        except Refused as no:
            raise NotInTheSubset([f"claim {claim.name}: {no}"]) from None
        return when, ast.BoolOp(ast.Or(), [ast.UnaryOp(ast.Not(), when), then])

    def _fails(self, tree: ast.expr, k: int) -> Counterexample | None:
        """How the claim fails, or None if it is proved."""
        any_scan = self._window(False, 1)
        if any_scan.model(_not(any_scan.scans.of(0, tree))) is None:
            return None  # in any scan, whatever was before it
        for length in range(1, k + 1):
            if (found := self._after_power_up(self._window(True, length), tree)) is not None:
                return found
        window = self._window(False, k + 1)
        terms = [window.scans.of(n, tree) for n in range(window.length)]
        model = window.model(*terms[:-1], _not(terms[-1]))
        if model is None:
            return None
        if (found := self._searched(tree)) is not None:
            return found
        start = (
            f"by induction only, in some scan: within {self.search} scans from power-up no way leads there"
        )
        return replayed(self.logic, window.scans, model, window.length, tree, start)

    def _after_power_up(self, window: _Window, tree: ast.expr) -> Counterexample | None:
        """A way from power-up to a first failure in the last scan of the window."""
        kept = self._over_kept(tree)
        if kept and not reason(tree, self._never_run, self.logic.constants).value:
            return Counterexample("before the first scan of all", [], "")
        terms = [window.scans.of(n, tree) for n in range(window.length)]
        model = window.model(*([self._earlier(tree)] if kept else []), *terms[:-1], _not(terms[-1]))
        if model is None:
            return None
        return replayed(self.logic, window.scans, model, window.length, tree, "after power-up")

    def _searched(self, tree: ast.expr) -> Counterexample | None:
        window = self._made_window(True, 1)
        while window.length <= self.search:
            if (found := self._after_power_up(window, tree)) is not None:
                return found
            window.lengthen(self._proved)
        return None

    def _window(self, start: bool, length: int) -> _Window:
        if (start, length) not in self._windows:
            self._windows[start, length] = self._made_window(start, length)
        return self._windows[start, length]

    def _made_window(self, start: bool, length: int) -> _Window:
        window = _Window(self._start if start else self._any, length)
        for claim in self._proved:
            window.learn(claim)
        if start:
            window.add(*map(self._earlier, self._before))
        return window

    def _over_kept(self, tree: ast.expr) -> bool:
        return all(r.group == "this" and r.name in self.logic.kept for r in reads_of(tree))

    def _earlier(self, tree: ast.expr) -> Any:
        """A claim over kept memory, said of the last scan of an earlier run."""
        return self._start.of(0, _Earlier().visit(_copy(tree)))


def _of_every_logic(logic: Logic) -> Iterator[str]:
    """What holds of the facts that tables and delays make; proved like any claim before it helps."""
    yield f"s.step >= 0 and s.step <= {len(logic.steps) - 1}"
    yield f"s.first_out >= 0 and s.first_out <= {len(logic.interlock_names)}"
    clocks = [n for n, f in logic.facts.items() if n.endswith("_held_ms") and f.rule is None]
    if clocks:
        yield " and ".join(f"s.{n} >= 0 and s.{n} <= {DAY_MS}" for n in clocks)


class _Earlier(ast.NodeTransformer):
    """`s.name` becomes `s.was.name`."""

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        return ast.Attribute(ast.Attribute(ast.Name("s"), "was"), node.attr)


def prove(logic: Logic, claims: Iterable[Claim], search: int = 8) -> list[Verdict]:
    """The verdict on each claim, in order; a proved claim helps those behind it."""
    return list(proving(logic, claims, search))


def proving(logic: Logic, claims: Iterable[Claim], search: int = 8) -> Iterator[Verdict]:
    """`prove`, one verdict at a time."""
    prover = Prover(logic, search)
    for claim in claims:
        yield prover.verdict(claim)


def shadowed_rows(logic: Logic) -> list[tuple[int, str]]:
    """Rows that can never be taken from one of their steps, as (number from 1, step): earlier rows win."""
    import z3

    scans = Scans(logic, {})
    window = _Window(scans, 1)
    was = scans.read(0, Read("was", "step"))
    guards = [scans.read(0, Read("this", row.guard.name)) for row in logic.rows]
    found = []
    for n, row in enumerate(logic.rows):
        for k in row.steps:
            earlier = [z3.Not(guards[m]) for m in range(n) if k in logic.rows[m].steps]
            if window.model(was == int(k), guards[n], *earlier) is None:
                found.append((n + 1, logic.steps(k).name))
    return found


def _not(term: Any) -> Any:
    import z3

    return z3.Not(term)


def _copy(tree: ast.expr) -> ast.expr:
    return ast.parse(ast.unparse(tree), mode="eval").body
