"""Where a verdict looked: its stretch of time, its condition and the reason that its file gives."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from controller.campaign.conditions import Condition
from controller.campaign.judge import Verdict
from controller.campaign.scenario import Scenario


class Window(NamedTuple):
    """From when to when a verdict looked."""

    line: int  # of the scenario file
    text: str
    first_ms: int
    last_ms: int
    condition: Condition | None
    wrong: bool = False  # the condition must not be true
    because: str = ""


def window_of(s: Scenario, moments: Sequence[int | None], end_ms: int, verdict: Verdict) -> Window:
    """The window of a verdict; the whole run where the file says none."""
    for window in _windows(s, moments, end_ms):
        if window.line == verdict.line and window.text in verdict.wanted:
            return window
    return Window(verdict.line, "", 0, end_ms, None)


def _windows(s: Scenario, moments: Sequence[int | None], end_ms: int) -> Iterable[Window]:
    for beat, at_ms in zip(s.beats, moments, strict=False):
        if at_ms is None:
            continue
        for e in beat.expected:
            first, last = at_ms + e.not_before_ms, min(at_ms + e.within_ms, end_ms)
            yield Window(e.line, e.text, first, last, e.condition, because=e.because)
    for rule in s.rules:
        yield Window(rule.line, rule.text, 0, end_ms, rule.holds, wrong=not rule.wanted)
