"""A scenario's timeline in words, with what was wanted and what was seen at each moment."""

from typing import Any

from controller.campaign.judge import wanted, window
from controller.campaign.results import Result
from controller.campaign.scenario import Action, Beat, Expected, Scenario
from controller.campaign.words import NEVER
from controller.simulate.times import typed

Document = dict[str, Any]
NOT_RUN = {"good": None, "seen": "", "at_ms": None}


def steps_of(scenario: Scenario, result: Result) -> Document:
    """
    The timeline with what was wanted and seen at each moment (`steps`), and what holds all along (`rules`).

    What was never come to has no verdict: `good` is None.
    """
    verdicts, steps = iter(result.verdicts), []
    gone_on = not result.broken
    for beat, at_ms in zip(scenario.beats, result.moments or [None] * len(scenario.beats), strict=True):
        missed = gone_on and at_ms is None
        gone_on = gone_on and not missed
        checks = [{**(next(verdicts)._asdict() if gone_on else NOT_RUN), **_said(e)} for e in beat.expected]
        if missed:
            checks.insert(0, {"window": f"waits {typed(beat.moment.waits_ms)}", **next(verdicts)._asdict()})
        steps.append({"moment": beat.moment.text, "at_ms": at_ms, "does": doings(beat), "checks": checks})
    rest = [{"window": "all scans", **verdict._asdict()} for verdict in verdicts]
    return {"steps": steps, "rules": rest}


def _said(e: Expected) -> Document:
    return {"wanted": wanted(e), "window": window(e), "because": e.because, "line": e.line}


def doings(beat: Beat) -> list[str]:
    """What is done at a moment, in words."""
    return [_doing(action) for action in beat.actions]


def _doing(a: Action) -> str:
    match a.kind:
        case "command":
            return f"{a.name} from the {a.source}"
        case "set":
            return f"{a.name} = {int(a.value)}"
        case "mend":
            return f"{a.name} ends"
        case "power_cut":
            return f"power off for {typed(int(a.value))}"
    said = f"{a.name} begins"
    said += f", {a.value:.0%} of it" if a.value < 1 else ""
    said += f", grows in {typed(a.grows_ms)}" if a.grows_ms else ""
    said += f", for {typed(a.during_ms)}" if a.during_ms < NEVER else ""
    return said + (f", {a.times} times, every {typed(a.every_ms)}" if a.times > 1 else "")
