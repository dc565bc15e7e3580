"""
Which mistakes scenarios notice: a mutant is killed where a scenario that passes without it fails with it.

Most mutants change nothing in most scenarios; that is seen over the recorded scans, without a run: a mutant
under which memory, outputs and acts of every scan stay the same would run the very same way. So each
scenario is recorded once, for all mutants, and the closed loop is run only where something differs: first in
the scenarios that guard the line, then where step, outputs or acts differ, then where memory alone does.
"""

from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

from controller.campaign.conditions import Reader
from controller.campaign.mutants import Mutant, with_all
from controller.campaign.planted import by_row
from controller.campaign.recording import Recording
from controller.campaign.runner import Outcome, Runner
from controller.campaign.scenario import Scenario
from controller.campaign.words import Guarded, guarded
from controller.engines.columns import Columns, RanRules, Rule
from controller.sequence.logic import Logic
from controller.sequence.made_facts import lines_of


class Fate(NamedTuple):
    """What became of a mutant: what kills it, and where it made a difference and lived."""

    mutant: Mutant
    killed_by: str  # a scenario; empty: none
    lived_in: tuple[str, ...] = ()
    shows_in: int = 0  # scenarios that would be otherwise
    broken_in: tuple[str, ...] = ()  # where it could not be run: that is no kill
    claim: str = ""  # that fails with it
    none: bool = False  # it is proved to be no mistake

    @property
    def fell_to(self) -> str:
        """scenario, claim, none (it is no mistake), or nobody: empty."""
        return "scenario" if self.killed_by else "claim" if self.claim else "none" if self.none else ""

    @property
    def noticed(self) -> bool:
        """Whether a scenario or a claim fails with it."""
        return bool(self.killed_by or self.claim)

    def story(self) -> str:
        """Of one that nobody noticed, where it was looked for; empty where it shows nowhere."""
        tried = (
            f"; passed in {len(self.lived_in)} of {self.shows_in} where it shows: {', '.join(self.lived_in)}"
        )
        broken = "".join(f"; could not be run in {name}" for name in self.broken_in)
        return (tried if self.shows_in else "") + broken


class Chance(NamedTuple):
    """A scenario in which a mutant makes a difference; the least is tried first."""

    other: bool  # than one that guards its line
    quiet: bool  # only memory differs
    still: int  # less: more of the conditions that read the mutated fact move
    scans: int
    scenario: str


class Difference(NamedTuple):
    """How a recorded run would be otherwise with a mutant."""

    how: str  # loud: in step, outputs or acts; quiet: in memory alone
    moving: int  # conditions that read the mutated fact, in this scan or the next, and are on and off


class Differences:
    """What is otherwise in a recorded run with each of some mutants."""

    def __init__(self, logic: Logic, mutants: Iterable[Mutant]) -> None:
        self.logic = by_row(logic)
        self.reader = Reader(self.logic)
        self._below, self._readers = descendants(self.logic), _readers(self.logic, ("this", "was"))
        acts = [f"{name.lower()}_acts" for name in logic.interlock_names]
        self._loud = {"step", *logic.definition.outputs._fields, *acts}
        self._reads = {
            n: [r.name for r in self.logic.reads(n) if r.group == "this"] for n in self.logic.facts
        }
        rows = enumerate(self.logic.rows, 1)
        self._asked = {f"row_{n}": sum(1 << k for k in row.steps) for n, row in rows}
        self._planted = [(m, self.reader.rules.rule(m.tree(self.logic))) for m in mutants]

    def in_run(self, recording: Recording) -> dict[Mutant, Difference]:
        """The mutants under which some scan gives something else."""
        import numpy as np

        found: dict[Mutant, str] = {}
        moving: set[str] = set()
        for piece in recording.pieces():
            for name, fact in self.logic.facts.items():
                column = piece.columns.this(name)
                moving |= {name} if fact.kind is bool and np.any(column) and not np.all(column) else set()
            for mutant, rule in self._planted:
                if found.get(mutant) != "loud" and (how := self._differs(piece.columns, mutant, rule)):
                    found[mutant] = how
        return {m: Difference(how, len(self._readers[m.fact] & moving)) for m, how in found.items()}

    def _differs(self, columns: Columns, mutant: Mutant, rule: Rule) -> str:
        """Carries the difference on from fact to fact, as far as it goes."""
        import numpy as np

        other, changed, quiet = columns, set[str](), ""
        for name in self._below[mutant.fact]:
            if name != mutant.fact and changed.isdisjoint(self._reads[name]):
                continue
            column = (rule if name == mutant.fact else self.reader.rules.of(name))(other)
            differs = column != columns.this(name)
            if name in self._asked:  # a row is asked in its steps alone
                differs = differs & (self._asked[name] >> columns.was("step") & 1 == 1)
            if np.any(differs):
                if name in self._loud:
                    return "loud"
                quiet = "quiet" if name in self.logic.memory else quiet
                changed.add(name)
                other = other.otherwise(name, column)
            elif name == mutant.fact:
                break
        return quiet


def descendants(logic: Logic) -> dict[str, dict[str, None]]:
    """For each fact itself and those that come to depend on it within the scan, in working order."""
    readers = _readers(logic, ("this",))
    below: dict[str, set[str]] = {}
    for name in reversed(logic.facts):  # working order: who reads a fact stands behind it
        below[name] = {name}.union(*(below[r] for r in readers[name]))
    return {name: {n: None for n in logic.facts if n in found} for name, found in below.items()}


def _readers(logic: Logic, groups: tuple[str, ...]) -> dict[str, set[str]]:
    """For each fact those that read it."""
    readers: dict[str, set[str]] = {name: set() for name in logic.facts}
    for name in logic.facts:
        for read in logic.reads(name):
            if read.group in groups and read.name in readers:
                readers[read.name].add(name)
    return readers


class Trial:
    """
    Scenarios against mutants.

    Args:
        logic: Without a mistake.
        planted: All mistakes, whichever are asked for.
        name: Of the executor, as in `Runner`.
    """

    def __init__(self, logic: Logic, planted: list[Mutant], name: str | None = None) -> None:
        self.logic, self.runner = logic, Runner(with_all(logic, planted), name, check=False)
        self.runner.reader.rules = RanRules(self.runner.logic)
        self._scenarios: dict[str, Scenario] = {}

    def fates(
        self, mutants: list[Mutant], scenarios: Iterable[Scenario], tries: int, tell: Callable[[str], None]
    ) -> Iterator[Fate]:
        """
        The fate of each mutant, in their order.

        Args:
            mutants: Of those planted.
            scenarios: Those that do not pass without a mistake are left out, and told of.
            tries: In so many scenarios a mutant may make a difference and live, before it counts as alive.
            tell: Is told what was left out.
        """
        chances = self._chances(mutants, scenarios, tell)
        for mutant in mutants:
            yield self._fate(mutant, sorted(chances[mutant]), tries)

    def run(self, scenario: Scenario, number: int) -> Outcome:
        """A scenario with one of the mistakes in it; 0: with none."""
        station = scenario.station
        presets = self.runner.logic.definition.presets(*scenario.presets, number)
        receiver = station.receiver._replace(presets=presets)
        return self.runner.run(scenario._replace(station=station._replace(receiver=receiver)))

    def _chances(
        self, mutants: list[Mutant], scenarios: Iterable[Scenario], tell: Callable[[str], None]
    ) -> dict[Mutant, list[Chance]]:
        differences = Differences(self.logic, mutants)
        chances: dict[Mutant, list[Chance]] = {mutant: [] for mutant in mutants}
        for scenario in scenarios:
            outcome = self.run(scenario, 0)
            if outcome.driven is None or outcome.recording is None or outcome.verdict != "passed":
                tell(f"{scenario.name}: {outcome.verdict} without any mistake, left out")
                continue
            self._scenarios[scenario.name] = scenario
            recording = outcome.recording.read_by(differences.reader)
            scans = sum(chunk.scans for chunk in outcome.driven.chunks)
            about = _guarded_facts(self.logic, scenario)
            for mutant, (how, moving) in differences.in_run(recording).items():
                chance = Chance(mutant.fact not in about, how == "quiet", -moving, scans, scenario.name)
                chances[mutant].append(chance)
        return chances

    def _fate(self, mutant: Mutant, chances: list[Chance], tries: int) -> Fate:
        lived: dict[str, list[str]] = {"passed": [], "broken": []}
        killed_by = ""
        for chance in chances[:tries]:
            verdict = self.run(self._scenarios[chance.scenario], mutant.number).verdict
            if verdict == "failed":
                killed_by = chance.scenario
                break
            lived[verdict].append(chance.scenario)
        return Fate(mutant, killed_by, tuple(lived["passed"]), len(chances), tuple(lived["broken"]))


def _guarded_facts(logic: Logic, scenario: Scenario) -> set[str]:
    """The facts of the table lines that a scenario guards, and those that they read."""
    lines, found = lines_of(logic.definition.interlocks), set()
    for text in scenario.head.guards:
        match guarded(logic, text):
            case Guarded("row", name):
                found |= {f"row_{n}" for n, r in enumerate(logic.rows, 1) if r.guard.name == name} | {name}
            case Guarded("interlock", name):
                found |= {fact for fact, line in lines if line.name == name}
                found |= {line.cause.name for _, line in lines if line.name == name}
            case Guarded("refusal", name, more):
                found |= {f"{name}_refused", more}
            case Guarded(_, name):
                found.add(name)
    reads = (read for name in found if name in logic.facts for read in logic.reads(name))
    return found | {read.name for read in reads if read.group == "this"}
