"""
Claims over the facts, shown for all inputs, all presets and all histories, by k-induction.

A claim is shown to hold in the first k scans after power-up, and in any scan that follows k in which it
held. Kept memory comes from the last scan of an earlier run: in the first scan after power-up it is
unknown, but for the claims over kept memory alone that are proved already. Assumed are the limits of the
presets (the same from power-up on), the ranges of the inputs and 1 to 1,000 ms between scans; no more.

A claim that can be seen of any single scan, whatever was before, needs neither induction nor power-up. It
is no help to others either: whatever scan they look at, it holds there.
"""

import ast
from collections.abc import Callable, Iterable, Iterator
from dataclasses import KW_ONLY, dataclass
from typing import Any

from controller.engines.as_written import Laid
from controller.engines.counterexample import Counterexample, replayed
from controller.engines.ways import Said, Way, Ways
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
        self.ways = Ways(logic)
        self._never_run = {Read("this", n): v for n, v in logic.memory.items()}
        self._seen: list[Laid] = []  # scans in which all holds that is proved
        for text in _of_every_logic(logic):
            said = self.ways.said(text)
            if trusting or self._fails(said, k=1) is None:
                self._learn(said)

    def verdict(self, claim: Claim) -> Verdict:
        """Prove a claim, or show how it fails. Raises NotInTheSubset if it is not in the subset."""
        when, whole = self._read(claim)
        if self.ways.never(whole.denied()):  # it holds in any scan, whatever was before
            self._learn_of_start(whole)
        elif (counterexample := self._fails(whole, claim.k)) is not None:
            return Verdict(claim, False, True, counterexample)
        else:
            self._learn(whole)
        return Verdict(claim, True, self._possible(when))

    def assume(self, claim: Claim) -> None:
        """Take a claim for proved without proving it: to show that another fails all the same."""
        self._learn(self._read(claim)[1])

    def _read(self, claim: Claim) -> tuple[Said, Said]:
        """The left side and the whole claim."""
        rule, left = claim.then, claim.when or (lambda s: True)
        try:
            then = self.logic.expression(written(rule))
            when = self.logic.expression(written(claim.when)) if claim.when else ast.Constant(True)
        except Refused as no:
            raise NotInTheSubset([f"claim {claim.name}: {no}"]) from None
        whole = ast.BoolOp(ast.Or(), [ast.UnaryOp(ast.Not(), when), then])
        return Said(when, left), Said(whole, lambda s: not left(s) or rule(s))

    def _learn(self, said: Said) -> None:
        self.ways.learn(said)
        self._learn_of_start(said)
        self._seen = [scan for scan in self._seen if said.holds(scan)]

    def _learn_of_start(self, said: Said) -> None:
        """What holds of kept memory alone held of the last scan of an earlier run, if there was one."""
        if self._over_kept(said) and self._before_all(said):
            self.ways.learn_of_start(said.before())

    def _possible(self, when: Said) -> bool:
        """Whether what is proved leaves a scan in which it is so."""
        if any(map(when.holds, self._seen)):
            return True
        way = self.ways.find(1, [when])
        self._seen += filter(when.holds, way or ())
        return way is not None

    def _fails(self, said: Said, k: int) -> Counterexample | None:
        """How a claim fails, or None if it is proved."""
        if self._over_kept(said) and not self._before_all(said):
            return Counterexample("before the first scan of all", [], "")
        way = self.ways.find(k + 1, _first_failure(said, k + 1))
        for length in range(1, (k if way is None else self.search) + 1):
            if (found := self._after_power_up(said, length)) is not None:
                return replayed(self.logic, found, said.tree, "after power-up")
        if way is None:
            return None
        start = (
            f"by induction only, in some scan: within {self.search} scans from power-up no way leads there"
        )
        return replayed(self.logic, way, said.tree, start)

    def _after_power_up(self, said: Said, length: int) -> Way | None:
        """A way from power-up to a first failure in the last of so many scans."""
        earlier = [said.before()] if self._over_kept(said) else []
        return self.ways.find(length, [*earlier, *_first_failure(said, length)], power_up=True)

    def _over_kept(self, said: Said) -> bool:
        return all(r.group == "this" and r.name in self.logic.kept for r in reads_of(said.tree))

    def _before_all(self, said: Said) -> bool:
        """Whether it holds of a machine that never ran."""
        return bool(reason(said.tree, self._never_run, self.logic.constants).value)


def _first_failure(said: Said, length: int) -> list[Said]:
    """It holds in so many scans but the last."""
    return [*(said.at(n) for n in range(length - 1)), said.denied().at(length - 1)]


def _of_every_logic(logic: Logic) -> Iterator[str]:
    """What holds of the facts that tables and delays make; proved like any claim before it helps."""
    yield f"s.step >= 0 and s.step <= {len(logic.steps) - 1}"
    yield f"s.first_out >= 0 and s.first_out <= {len(logic.interlock_names)}"
    clocks = [n for n, f in logic.facts.items() if n.endswith("_held_ms") and f.rule is None]
    if clocks:
        yield " and ".join(f"s.{n} >= 0 and s.{n} <= {DAY_MS}" for n in clocks)


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
    ways = Ways(logic)
    found = []
    for n, row in enumerate(logic.rows):
        for k in row.steps:
            earlier = [f"not s.{r.guard.name}" for r in logic.rows[:n] if k in r.steps]
            here = [f"s.was.step == {logic.steps(k).name}", f"s.{row.guard.name}", *earlier]
            if ways.find(1, [ways.said(" and ".join(here))]) is None:
                found.append((n + 1, logic.steps(k).name))
    return found
