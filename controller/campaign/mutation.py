"""
Which mistakes scenarios notice: a mutant is killed where a scenario that passes without it fails with it.

Most mutants change nothing in most scenarios; that is seen over the recorded scans, without a run: a mutant
under which memory, outputs and acts of every scan stay the same would run the very same way. Only where
something differs is the closed loop run again, with the mistake in it.
"""

from collections.abc import Callable, Iterable, Iterator
from typing import Any, NamedTuple

from controller.campaign.mutants import Mutant
from controller.campaign.recording import Recording
from controller.campaign.runner import Runner
from controller.campaign.scenario import Scenario
from controller.engines.columns import ColumnRules
from controller.sequence.logic import Logic


class Fate(NamedTuple):
    """What became of a mutant: what kills it, and where it made a difference and lived."""

    mutant: Mutant
    killed_by: str
    lived_in: tuple[str, ...]


class Differences:
    """In which mutants a recorded run would be another."""

    def __init__(self, logic: Logic, rules: ColumnRules) -> None:
        self.logic, self.rules = logic, rules
        self._below = _descendants(logic)
        acts = [f"{name.lower()}_acts" for name in logic.interlock_names]
        self._told = dict.fromkeys([*logic.memory, *logic.definition.outputs._fields, *acts])

    def in_run(self, recording: Recording, mutants: Iterable[Mutant]) -> list[Mutant]:
        """Those of the mutants under which some scan of the run gives something else."""
        left, found = list(mutants), []
        for piece in recording.pieces():
            for name in self.logic.facts:
                piece.columns.this(name)
            for mutant in left[:]:
                if self._differs(piece.columns, mutant):
                    left.remove(mutant)
                    found.append(mutant)
        return found

    def _differs(self, columns: Any, mutant: Mutant) -> bool:
        import numpy as np

        stale = self._below[mutant.fact]
        alike = [name for name in self.logic.facts if name != mutant.fact]
        other = columns.under(ColumnRules(mutant.logic(self.logic), self.rules, alike), {mutant.fact, *stale})
        if not np.any(other.this(mutant.fact) != columns.this(mutant.fact)):
            return False
        told = (name for name in self._told if name == mutant.fact or name in stale)
        return any(np.any(other.this(name) != columns.this(name)) for name in told)


def _descendants(logic: Logic) -> dict[str, frozenset[str]]:
    """For each fact, those that come to depend on it within the scan."""
    readers: dict[str, set[str]] = {name: set() for name in logic.facts}
    for name in logic.facts:
        reads = [row.guard.name for row in logic.rows] if name == "step" else []
        reads += [read.name for read in logic.reads(name) if read.group == "this" and read.name in readers]
        for read in reads:
            readers[read].add(name)
    below: dict[str, frozenset[str]] = {}
    for name in reversed(logic.facts):  # working order: who reads a fact stands behind it
        below[name] = frozenset().union(*({r, *below[r]} for r in readers[name]))
    return below


def fates(
    mutants: list[Mutant],
    scenarios: Iterable[Scenario],
    runner: Runner,
    tries: int,
    tell: Callable[[str], None],
) -> Iterator[Fate]:
    """
    The fate of each mutant, the killed ones as they fall.

    Args:
        mutants: What is planted.
        scenarios: That pass without a mistake; those that do not are left out, and told of.
        runner: On the logic without a mistake.
        tries: In so many scenarios a mutant may make a difference and live, before it counts as alive.
        tell: Is told how far it is.
    """
    differences = Differences(runner.logic, runner.reader.rules)
    lived: dict[str, list[str]] = {mutant.name: [] for mutant in mutants}
    alive = {mutant.name: mutant for mutant in mutants}
    for scenario in scenarios:
        outcome = runner.run(scenario)
        if outcome.recording is None or outcome.verdict != "passed":
            tell(f"{scenario.name}: {outcome.verdict} without any mistake, left out")
            continue
        asked = [mutant for mutant in alive.values() if len(lived[mutant.name]) < tries]
        found = differences.in_run(outcome.recording, asked)
        tell(f"{scenario.name}: {len(found)} of {len(alive)} mutants make a difference")
        for mutant in found:
            if _kills(scenario, mutant, runner):
                del alive[mutant.name]
                yield Fate(mutant, scenario.name, tuple(lived[mutant.name]))
            else:
                lived[mutant.name].append(scenario.name)
    for mutant in alive.values():
        yield Fate(mutant, "", tuple(lived[mutant.name]))


def _kills(scenario: Scenario, mutant: Mutant, runner: Runner) -> bool:
    """Whether the scenario, run with the mistake in it, is not passed."""
    other = Runner(mutant.logic(runner.logic), name="generated", check=False)
    return other.run(scenario).verdict != "passed"
