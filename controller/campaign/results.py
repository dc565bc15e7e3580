"""What is left of a scenario that ran: plain values, to send between processes, print, file and compare."""

from collections.abc import Iterable, Iterator
from itertools import zip_longest
from typing import Any, NamedTuple

from controller.campaign.judge import Verdict
from controller.campaign.runner import Outcome
from controller.campaign.timing_diagram import timing_diagram
from controller.engines.as_written import AsWritten
from controller.explain import Scene
from controller.simulate.times import typed

FACTS_OF = 3
"""Of so many failed verdicts the facts are told: the rest mostly follows from them."""


class Facts(NamedTuple):
    """What stood behind a failed verdict, at its moment."""

    at_ms: int
    said: tuple[str, ...]  # the scan laid open
    diagram: tuple[str, ...]  # of the time around it, in lines


class Result(NamedTuple):
    """One scenario's result."""

    name: str  # of the file, without its ending
    path: str
    title: str
    station: str
    verdict: str  # passed, failed, not judged (whole or in part), broken
    verdicts: tuple[Verdict, ...]
    facts: tuple[Facts, ...]  # of the first of the bad verdicts, in their order
    disagreements: tuple[str, ...]
    acts: tuple[tuple[str, int], ...]  # interlock, first when
    done: tuple[tuple[int, str], ...]  # what was done to it, when
    moments: tuple[int | None, ...]  # when each entry of the timeline came
    broken: str
    ran_ms: int  # of virtual time
    took_s: float
    executor: str = ""  # what ran it; the others looked at its scans
    page: str = ""  # where the page of the run was written
    foreign: bool = False  # another controller ran it: of its interlocks nothing is known

    @property
    def bad(self) -> tuple[Verdict, ...]:
        """The verdicts that are not good, in order of time: what failed first explains most."""
        return failed(self.verdicts)

    @property
    def not_judged(self) -> tuple[Verdict, ...]:
        """The verdicts that nobody can give, in their order; what they saw says why."""
        return tuple(v for v in self.verdicts if v.good is None)

    @property
    def told(self) -> list[tuple[Verdict, Facts | None]]:
        """The bad verdicts, each with its facts; the later ones have none."""
        return list(zip_longest(self.bad, self.facts))

    @property
    def untold(self) -> str:
        """Says how many bad verdicts have no facts; empty where all have, or none."""
        more = len(self.bad) - len(self.facts) if self.facts else 0
        return f"{more} more failed: facts are told of the first {len(self.facts)}" if more > 0 else ""

    @property
    def why(self) -> tuple[str, ...]:
        """What is said of the first bad verdict."""
        return self.facts[0].said if self.facts else ()

    def as_document(self) -> dict[str, Any]:
        """As a JSON document."""
        verdicts, facts = ([row._asdict() for row in rows] for rows in (self.verdicts, self.facts))
        return {**self._asdict(), "verdicts": verdicts, "facts": facts}


def failed(verdicts: Iterable[Verdict]) -> tuple[Verdict, ...]:
    """Those that failed, in order of time."""
    return tuple(sorted((v for v in verdicts if v.good is False), key=lambda v: v.at_ms))


def result_of(outcome: Outcome, engine: AsWritten) -> Result:
    """The result of an outcome; what failed is explained from its recording."""
    s, judged, driven = outcome.scenario, outcome.judged, outcome.driven
    verdicts = tuple(judged.verdicts) if judged else ()
    differ = judged.disagreements if judged else []
    return Result(
        s.name, str(s.path), s.head.title, s.station.receiver.name, outcome.verdict, verdicts,
        tuple(_facts(outcome, engine, verdicts)),
        tuple(f"{typed(d.at_ms)}: {d.name} is {d.here}, {d.engine} says {d.there}" for d in differ[:10]),
        tuple(judged.acts.items()) if judged else (), tuple(driven.done) if driven else (),
        tuple(driven.moments) if driven else (), outcome.broken,
        driven.end_ms if driven else 0, outcome.took_s, outcome.executor,
        foreign=outcome.foreign,
    )  # fmt: skip


def _facts(outcome: Outcome, engine: AsWritten, verdicts: Iterable[Verdict]) -> Iterator[Facts]:
    recording, driven = outcome.recording, outcome.driven
    if recording is None or driven is None:
        return
    for bad in failed(verdicts)[:FACTS_OF]:
        scene = recording.scene(bad.at_ms, engine)
        diagram = timing_diagram(outcome.scenario, recording, driven.moments, driven.end_ms, bad)
        yield Facts(bad.at_ms, grounds(scene) if scene else (), diagram)


def grounds(scene: Scene) -> tuple[str, ...]:
    """One scan in words: the step, why it was left or what it waits for, what acts."""
    names = scene.logic.step_names
    said = [f"in {names[scene.was_step]}"]
    if scene.fired():
        said.append(f"left for {names[scene.facts['step']]}: {scene.reason()}")
    else:
        said += [f"to {w.to} not yet: {'; '.join(w.holds_back)}" for w in scene.waiting()]
    for name in scene.logic.interlock_names:
        if scene.facts[f"{name.lower()}_acts"]:
            said.append(f"{name} acts: {'; '.join(scene.grounds_of_interlock(name))}")
    return tuple(said)
