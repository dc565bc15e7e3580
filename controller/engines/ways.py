"""
Ways through a few scans in a row, in which something holds that is asked for, and all that is proved.

What is proved is told to the solver only where it is needed: each way that the solver finds is run on the
rules as written, and what it breaks is told, until nothing is broken or nothing is found. So "no way" is
shown from few assumptions, and a way that comes back keeps to all of them.
"""

import ast
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from controller.engines.as_written import AsWritten, Laid
from controller.engines.terms import Scans
from controller.sequence import definition as language
from controller.sequence.expressions import Read
from controller.sequence.logic import Logic

Way = list[Laid]
"""Scans that follow each other under the same presets, each laid open."""


class Said(NamedTuple):
    """Something said of one scan of a way, for the solver and to be asked of the scan itself."""

    tree: ast.expr  # in core form
    holds: Callable[[Any], bool]
    scan: int = 0

    def at(self, scan: int) -> "Said":
        """The same, said of another scan."""
        return self._replace(scan=scan)

    def denied(self) -> "Said":
        """The contrary."""
        holds = self.holds
        return Said(ast.UnaryOp(ast.Not(), self.tree), lambda s: not holds(s), self.scan)

    def before(self) -> "Said":
        """Something over memory alone, said of the scan before."""
        tree = _Before().visit(ast.parse(ast.unparse(self.tree), mode="eval").body)
        holds = self.holds
        return Said(tree, lambda s: holds(s.was), self.scan)


class Shown(NamedTuple):
    """That there is no way, and what it was shown from."""

    length: int
    power_up: bool
    said: tuple[Said, ...]  # what was asked for, and what the solver was told of what was learned
    learned: tuple[int, int]  # how much was by then: of every scan, of the first after power-up


class _Before(ast.NodeTransformer):
    """`s.name` becomes `s.was.name`."""

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        return ast.Attribute(ast.Attribute(ast.Name("s"), "was"), node.attr)


class Ways:
    """The scans of a logic, from any memory or from power-up, and what is learned of them."""

    def __init__(self, logic: Logic) -> None:
        self.logic = logic
        first = {n: v for n, v in logic.memory.items() if n not in logic.kept}
        self._any, self._start = Scans(logic, {}), Scans(logic, first)
        self._engine = AsWritten(logic, _on_rows)
        self._learned: list[Said] = []
        self._of_start: list[Said] = []
        self.shown: list[Shown] = []  # all that was, one after the other

    def said(self, text: str) -> Said:
        """A condition in core form."""
        names = vars(language) | dict(self.logic.constants)
        return Said(ast.parse(text, mode="eval").body, eval("lambda s: " + text, names))

    def learn(self, said: Said) -> None:
        """From now on it holds in every scan."""
        self._learned.append(said)

    def learn_of_start(self, said: Said) -> None:
        """From now on it holds in the first scan after power-up."""
        self._of_start.append(said)

    def never(self, asked: Said) -> bool:
        """Whether it can be seen of a single scan, whatever was learned, that it cannot be."""
        never = _Solver(self._any, [asked]).answer() is None
        self.shown += [Shown(1, False, (asked,), (0, 0))] if never else []
        return never

    def find(self, length: int, asked: list[Said], power_up: bool = False) -> Way | None:
        """
        A way of so many scans in which all holds that is asked for; None if there is none.

        Args:
            length: How many scans.
            asked: What must hold, each in its scan.
            power_up: Whether the first scan is the first after power-up; else the memory before it is open.

        Returns:
            A way in which all holds that was learned. Where the percentages that the solver needs cannot be
            had exact, what was asked for may not hold.
        """
        scans = self._start if power_up else self._any
        solver = _Solver(scans, asked)
        left = [one.at(n) for one in self._learned for n in range(length)]
        left += self._of_start if power_up else []
        told = list(asked)
        while (model := solver.answer()) is not None:
            way = self._laid(scans.values(model), length)
            broken = _broken(left, way)
            if not broken and _broken(asked, way):
                if solver.bound_percentages():
                    continue
                for exact in solver.exact(model):
                    way = self._laid(scans.values(exact), length)
                    if (broken := _broken(left, way)) or not _broken(asked, way):
                        break
                else:
                    broken = left
            if not broken:
                return way
            solver.add(broken)
            told += broken
            left = [one for one in left if one not in broken]
        self.shown.append(Shown(length, power_up, tuple(told), (len(self._learned), len(self._of_start))))
        return None

    def of(self, logic: Logic) -> "Ways":
        """Ways of another logic with the same names, of which the same is taken for learned."""
        other = Ways(logic)
        other._learned, other._of_start = self._learned, self._of_start
        return other

    def again(self, shown: Shown) -> Way | None:
        """A way where there was none, given what was learned by then; None if there still is none."""
        every, first = self._learned, self._of_start
        self._learned, self._of_start = every[: shown.learned[0]], first[: shown.learned[1]]
        found = self.find(shown.length, list(shown.said), shown.power_up)
        self._learned, self._of_start = every, first
        return found

    def _laid(self, found: Mapping[tuple[int, Read], int], length: int) -> Way:
        """What the solver found, run on the rules as written; what it left open is as at first."""
        d = self.logic.definition

        def values(scan: int, group: str, defaults: Mapping[str, int]) -> dict[str, int]:
            return {n: found.get((scan, Read(group, n)), v) for n, v in defaults.items()}

        presets = d.presets(**values(0, "set", _defaults(d.presets, d.limits)))
        memory, way = self.logic.Memory(**values(0, "was", self.logic.memory)), []
        for n in range(length):
            inputs = d.inputs(**values(n, "now", _defaults(d.inputs, d.ranges)))
            way.append(self._engine.laid(memory, inputs, presets, found.get((n, Read("this", "dt_ms")), 10)))
            memory = self.logic.Memory(*(getattr(way[-1], name) for name in self.logic.memory))
        return way


class _Solver:
    """A new solver for each question: one that has answered before is slowed down by what it has learned."""

    def __init__(self, scans: Scans, said: Iterable[Said]) -> None:
        import z3

        self._scans, self._solver = scans, z3.SimpleSolver()
        self._ranges = self._bounds = 0  # of the scans, those told
        self.add(said)

    def add(self, said: Iterable[Said]) -> None:
        terms = [self._scans.of(one.scan, one.tree) for one in said]
        self._solver.add(self._scans.together([*self._scans.ranges[self._ranges :], *terms]))
        self._ranges = len(self._scans.ranges)

    def bound_percentages(self) -> bool:
        """Tell the bounds of percentages, which few questions need; whether there were any to tell."""
        told, self._bounds = self._bounds, len(self._scans.bounds)
        self._solver.add(self._scans.together(self._scans.bounds[told:]))
        return told < self._bounds

    def answer(self, *more: Any) -> Any | None:
        """A model of all that was told, and of `more`; or None."""
        import z3

        answer = self._solver.check(*more)
        assert answer != z3.unknown, self._solver.reason_unknown()
        return self._solver.model() if answer == z3.sat else None

    def exact(self, model: Any) -> Iterator[Any]:
        """Models near another one, but with exact percentages."""
        for exact in self._scans.exactly(model) if self._scans.percents else ():
            if (found := self.answer(*exact)) is not None:
                yield found


def _on_rows(logic: Logic) -> Callable[[Any], int]:
    """The rows, for a machine that the solver may have put into a step that is none."""
    rows = {int(k): [(r.guard.name, int(r.to)) for r in logic.rows_from(k)] for k in logic.steps}

    def step(s: Any) -> int:
        at: int = s.was.step
        return next((to for guard, to in rows.get(at, ()) if getattr(s, guard)), at)

    return step


def _broken(said: Iterable[Said], way: Way) -> list[Said]:
    return [one for one in said if not one.holds(way[one.scan])]


def _defaults(record: Any, limits: Mapping[str, tuple[int, int]]) -> dict[str, int]:
    return {n: record._field_defaults.get(n, limits.get(n, (0, 0))[0]) for n in record._fields}
