"""Verdicts on what was recorded: every expectation and every rule, against the scans of its window."""

from typing import Any, NamedTuple

from controller.campaign.at_the_io import IoRecording
from controller.campaign.conditions import Condition
from controller.campaign.drive import Driven
from controller.campaign.recording import Disagreement, Piece, Recording
from controller.campaign.scenario import Beat, Expected, Rule, Scenario
from controller.campaign.words import NEVER
from controller.engines.as_written import AsWritten
from controller.simulate.times import typed

NOT_JUDGED = "not judged"


class Verdict(NamedTuple):
    """One thing judged."""

    good: bool | None  # None: it could not be judged, and `seen` says why
    wanted: str
    seen: str
    at_ms: int  # where it shows
    line: int  # of the scenario file


class Judged(NamedTuple):
    """All verdicts on a scenario, and where engines differed."""

    verdicts: list[Verdict]
    disagreements: list[Disagreement]
    acts: dict[str, int]  # interlocks that acted: first when

    @property
    def good(self) -> bool:
        """Nothing is known to be otherwise than it must be."""
        return not self.disagreements and not any(verdict.good is False for verdict in self.verdicts)

    @property
    def whole(self) -> bool:
        """Everything was judged."""
        return not any(verdict.good is None for verdict in self.verdicts)


class _Over:
    """Conditions over a whole run, and when each scan ended."""

    def __init__(
        self, scenario: Scenario, recording: Recording | IoRecording, engine: AsWritten | None
    ) -> None:
        import numpy as np

        self.scan_ms, self._at_the_io = recording.scan_ms, isinstance(recording, IoRecording)
        every = {c.text: c for c in scenario.conditions()}
        self._hidden = {text: self._why_hidden(recording, c) for text, c in every.items()}
        conditions = {text: c for text, c in every.items() if not self._hidden[text]}
        columns: dict[str, list[Any]] = {text: [] for text in conditions}
        times = []
        self.acts: dict[str, int] = {}
        self.disagreements: list[Disagreement] = []
        for piece in recording.pieces():
            scans = piece.columns.scans
            times.append(piece.first_ms + recording.scan_ms * np.arange(scans, dtype=np.int64))
            for text, condition in conditions.items():
                columns[text].append(piece.columns.whole(condition.rule))
            if isinstance(recording, Recording) and isinstance(piece, Piece):
                self._add_acts(piece.columns.rescanned.acts != 0, times[-1], recording)
                if engine is not None:
                    self.disagreements += recording.disagreements(piece, engine)
        self.times: Any = np.concatenate(times)
        self._columns = {text: np.concatenate(parts) for text, parts in columns.items()}

    def _add_acts(self, acted: Any, times: Any, recording: Recording) -> None:
        for k, name in enumerate(recording.logic.interlock_names):
            at = acted[:, k].nonzero()[0]
            if len(at):
                self.acts.setdefault(name, int(times[at[0]]))

    @staticmethod
    def _why_hidden(recording: Recording | IoRecording, condition: Condition) -> str:
        return recording.hides(condition) if isinstance(recording, IoRecording) else ""

    def hides(self, *conditions: Condition) -> str:
        """Why these cannot be judged; empty where they can."""
        return next((why for c in conditions if (why := self._hidden[c.text])), "")

    def hides_acts(self) -> str:
        """Why nothing is known of interlocks; empty where it is."""
        return "interlocks do not show at the I/O" if self._at_the_io else ""

    def window(self, condition: Condition, from_ms: float, to_ms: float) -> tuple[Any, Any]:
        """Times and values of the scans that end after `from_ms`, up to `to_ms`."""
        inside = (self.times > from_ms) & (self.times <= to_ms)
        return self.times[inside], self._columns[condition.text][inside]

    def broken(self, rule: Rule) -> Any:
        """The scans that break a rule."""
        if rule.pattern is None:
            return self._columns[rule.holds.text] != rule.wanted
        return rule.pattern.broken(self.times, self.scan_ms, lambda c: self._columns[c.text])

    def before(self, condition: Condition, at_ms: int) -> bool:
        """The value in the last scan up to a moment."""
        values = self._columns[condition.text][self.times <= at_ms]
        return bool(values[-1]) if len(values) else False


def judge(
    scenario: Scenario, driven: Driven, recording: Recording | IoRecording, engine: AsWritten | None
) -> Judged:
    """
    All verdicts.

    Args:
        scenario: What is wanted.
        driven: When its moments came.
        recording: What was recorded.
        engine: The rules as written, to look at the same scans; None: they do not.
    """
    over = _Over(scenario, recording, engine)
    verdicts = []
    for beat, at_ms, kg in zip(scenario.beats, driven.moments, driven.delivered_kg, strict=False):
        if at_ms is None:
            text = f"the moment `{beat.moment.text}`"
            late = beat.moment.at_ms is not None
            seen = "it was over when the entry above had come" if late else "it never came"
            verdicts.append(Verdict(False, text, seen, driven.end_ms, beat.line))
            break
        verdicts += [_expected(over, e, at_ms, driven, kg) for e in beat.expected]
    for rule in scenario.rules:
        verdicts.append(_rule(over, rule, driven.end_ms))
    if scenario.acts_only is not None and (why := over.hides_acts()):
        verdicts.append(_not_judged("no other interlock acts", why, driven.end_ms, scenario.acts_line))
    elif scenario.acts_only is not None:
        more = {name: at for name, at in over.acts.items() if name not in scenario.acts_only}
        seen = ", ".join(f"{name} at {typed(at)}" for name, at in more.items()) or "none"
        at = min(more.values(), default=0)
        verdicts.append(Verdict(not more, "no other interlock acts", seen, at, scenario.acts_line))
    return Judged(verdicts, over.disagreements, over.acts)


def _not_judged(wanted: str, why: str, at_ms: int, line: int) -> Verdict:
    return Verdict(None, wanted, f"{NOT_JUDGED}: {why}", at_ms, line)


def not_driven(beat: Beat, why: str, line: int) -> Judged:
    """The verdict on a scenario whose timeline cannot be driven where it was to run."""
    return Judged([_not_judged(f"the moment `{beat.moment.text}`", why, 0, line)], [], {})


def _rule(over: _Over, rule: Rule, end_ms: int) -> Verdict:
    text = f"{'always' if rule.wanted else 'never'} {rule.text}"
    if why := over.hides(*(rule.pattern.conditions if rule.pattern else [rule.holds])):
        return _not_judged(text, why, end_ms, rule.line)
    wrong = over.times[over.broken(rule)]
    if len(wrong):
        stood = f"{len(wrong)} scans, first at {typed(int(wrong[0]))}"
        return Verdict(False, text, stood, int(wrong[0]), rule.line)
    return Verdict(True, text, f"in all {len(over.times)} scans", end_ms, rule.line)


def _expected(over: _Over, e: Expected, at_ms: int, driven: Driven, kg: float) -> Verdict:
    text = ", ".join(filter(None, (wanted(e), window(e))))
    if e.kind == "delivers":
        mass = driven.delivered_kg[-1] - kg
        return Verdict(e.low <= mass <= e.high, text, f"{mass:.2f} kg", driven.end_ms, e.line)
    assert e.condition is not None
    if why := over.hides(e.condition):
        return _not_judged(text, why, at_ms, e.line)
    times, values = over.window(e.condition, at_ms, at_ms + e.within_ms)
    if e.kind == "keeps":
        kept = times > at_ms + e.not_before_ms
        wrong = times[kept & ~values]
        seen = f"not at {typed(int(wrong[0] - at_ms))}" if len(wrong) else f"in all {int(kept.sum())} scans"
        return Verdict(
            not len(wrong) and bool(kept.any()), text, seen, int(wrong[0]) if len(wrong) else at_ms, e.line
        )
    if e.kind in ("reaches", "first_out"):
        return _reaches(e, text, times, values, at_ms, driven.end_ms)
    import numpy as np

    if e.kind == "lasts":  # what begins with the moment itself counts: `enters: drain` and `step == DRAIN`
        at_ms -= over.scan_ms
        times, values = over.window(e.condition, at_ms, at_ms + e.within_ms)
    was = np.concatenate([[over.before(e.condition, at_ms)], values[:-1]]) if len(values) else values
    rises = times[values & ~was.astype(bool)]
    if e.kind == "counts":
        at = int(rises[-1]) if len(rises) else driven.end_ms
        return Verdict(e.low <= len(rises) <= e.high, text, f"{len(rises)} times", at, e.line)
    return _lasts(over, e, text, rises)


def _reaches(e: Expected, text: str, times: Any, values: Any, at_ms: int, end_ms: int) -> Verdict:
    true = times[values]
    if not len(true):
        return Verdict(False, text, "never in its window", min(at_ms + e.within_ms, end_ms), e.line)
    first_ms = int(true[0])
    seen = f"after {typed(first_ms - at_ms)}"
    return Verdict(first_ms - at_ms >= e.not_before_ms, text, seen, first_ms, e.line)


def _lasts(over: _Over, e: Expected, text: str, rises: Any) -> Verdict:
    """The first stretch that begins in the window; it may end after it."""
    assert e.condition is not None
    if not len(rises):
        return Verdict(False, text, "never began in its window", int(over.times[-1]), e.line)
    begun = int(rises[0])
    times, values = over.window(e.condition, begun, NEVER)
    ends = times[~values]
    if not len(ends):
        so_far = int(over.times[-1]) - begun
        enough = e.high >= NEVER and so_far >= e.low
        return Verdict(enough, text, f"still so at the end, {typed(so_far)} on", begun, e.line)
    lasted = int(ends[0]) - begun
    return Verdict(e.low <= lasted <= e.high, text, typed(lasted), int(ends[0]), e.line)


def wanted(e: Expected) -> str:
    """What is expected, in words."""
    return f"{e.kind} {e.text}{' kg' if e.kind == 'delivers' else ''}"


def window(e: Expected) -> str:
    """Its range and its window in words; empty where it has none."""
    said = []
    if e.kind in ("counts", "lasts"):
        low, high = (typed(int(v)) if e.kind == "lasts" else f"{v:g}" for v in (e.low, e.high))
        said.append(f"at least {low}" if e.high >= NEVER else low if low == high else f"{low} to {high}")
    said += [f"within {typed(e.within_ms)}"] if e.within_ms < NEVER else []
    said += [f"not before {typed(e.not_before_ms)}"] if e.not_before_ms else []
    return ", ".join(said)
