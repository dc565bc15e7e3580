"""What is left of a scenario that ran: plain values, to send between processes, print, file and compare."""

from typing import Any, NamedTuple

from controller.campaign.judge import Verdict
from controller.campaign.runner import Outcome
from controller.campaign.timing_diagram import timing_diagram
from controller.engines.as_written import AsWritten
from controller.explain import Scene
from controller.simulate.times import typed


class Result(NamedTuple):
    """One scenario's result."""

    name: str  # of the file, without its ending
    path: str
    title: str
    station: str
    verdict: str  # passed, failed, broken
    verdicts: tuple[Verdict, ...]
    why: tuple[str, ...]  # of the first bad verdict: the scan laid open
    disagreements: tuple[str, ...]
    acts: tuple[tuple[str, int], ...]  # interlock, first when
    done: tuple[tuple[int, str], ...]  # what was done to it, when
    moments: tuple[int | None, ...]  # when each entry of the timeline came
    broken: str
    ran_ms: int  # of virtual time
    took_s: float
    executor: str = ""  # what ran it; the others looked at its scans
    diagram: tuple[str, ...] = ()  # around the first bad verdict, in lines
    page: str = ""  # where the page of the run was written

    @property
    def bad(self) -> tuple[Verdict, ...]:
        """The verdicts that are not good."""
        return tuple(v for v in self.verdicts if not v.good)

    def as_document(self) -> dict[str, Any]:
        """As a JSON document."""
        return {**self._asdict(), "verdicts": [v._asdict() for v in self.verdicts]}


def result_of(outcome: Outcome, engine: AsWritten) -> Result:
    """The result of an outcome; what failed is explained from its recording."""
    s, judged, driven = outcome.scenario, outcome.judged, outcome.driven
    verdicts = tuple(judged.verdicts) if judged else ()
    bad = next((v for v in verdicts if not v.good), None)
    scene = outcome.recording.scene(bad.at_ms, engine) if bad and outcome.recording else None
    differ = judged.disagreements if judged else []
    return Result(
        s.name, str(s.path), s.head.title, s.station.receiver.name, outcome.verdict, verdicts,
        grounds(scene) if scene else (),
        tuple(f"{typed(d.at_ms)}: {d.name} is {d.here}, {d.engine} says {d.there}" for d in differ[:10]),
        tuple(judged.acts.items()) if judged else (), tuple(driven.done) if driven else (),
        tuple(driven.moments) if driven else (), outcome.broken,
        driven.end_ms if driven else 0, outcome.took_s, outcome.executor,
        timing_diagram(s, outcome.recording, driven.moments, driven.end_ms, bad)
        if bad and driven and outcome.recording else (),
    )  # fmt: skip


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
