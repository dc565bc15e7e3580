"""
Failure modes asked for on the command line: which, by how much, when, for how long.

`MODE@WHEN`, where WHEN is a time (`line_blocked@10m`) or a step, in capitals or not (`flap_slow@drain`, the
first time; `@drain#3`, the third). `MODE=0.5@...` sets an amount between 0 and 1; `MODE=0.5/2h@...` lets it
grow to that in two hours; `@10m+30s` ends it after 30 s.
"""

import re
from collections import Counter
from collections.abc import Iterable
from typing import NamedTuple

from controller.problems import did_you_mean
from controller.sequence.steps import Step
from controller.simulate.station_loop import StationLoop
from controller.simulate.times import HINT, milliseconds, typed
from io_sim.failures import CATALOGUE, SLOTS, FailureMode

_TYPED = re.compile(
    r"(?P<mode>[^=@/]*)(?:=(?P<amount>[^@/]*))?(?:/(?P<over>[^@]*))?@(?P<when>[^+]*)(?:\+(?P<lasts>.*))?"
)


class Asked(NamedTuple):
    """One failure mode, as asked for."""

    mode: str
    amount: float
    at_ms: int | None  # None: when a step is entered
    step: int | None
    entry: int  # which entry of that step, from 1
    lasts_ms: int | None  # None: to the end
    over_ms: int  # how long it grows to its amount; 0: at once


def read(text: str, modes: Iterable[FailureMode] = CATALOGUE) -> Asked:
    """
    What was typed.

    Raises:
        ValueError: It cannot be read; says what there is to choose from: of the `modes`.
    """
    found = _TYPED.fullmatch(text)
    if found is None:
        msg = f"--fail {text}: write MODE@TIME or MODE@STEP, as line_blocked@10m or flap_sticks_open@drain"
        raise ValueError(msg)
    mode, when = found["mode"], found["when"]
    if mode not in SLOTS:
        listed = "\n".join(f"  {row.id:28} {row.seen}" for row in modes)
        hint = did_you_mean(mode, SLOTS) or "."
        msg = f"--fail {text}: no failure mode {mode!r}{hint} There are:\n{listed}"
        raise ValueError(msg)
    try:
        at_ms, step, entry = _when(when)
        lasts_ms = None if found["lasts"] is None else milliseconds(found["lasts"])
        over_ms = milliseconds(found["over"]) if found["over"] else 0
        return Asked(mode, _amount(found["amount"]), at_ms, step, entry, lasts_ms, over_ms)
    except ValueError as no:
        msg = f"--fail {text}: {no}"
        raise ValueError(msg) from None


def _amount(text: str | None) -> float:
    try:
        amount = 1.0 if text is None else float(text)
    except ValueError:
        amount = -1.0
    if not 0 < amount <= 1:
        msg = f"the amount is {text!r}, must be over 0 and at most 1"
        raise ValueError(msg)
    return amount


def _when(text: str) -> tuple[int | None, int | None, int]:
    if text[:1].isdigit():
        return milliseconds(text), None, 1
    name, _, entry = text.lower().partition("#")
    names = [step.name.lower() for step in Step]
    if name not in names:
        hint = did_you_mean(name, names) or "."
        msg = f"{name!r} is neither a time ({HINT}) nor a step{hint} Steps: {', '.join(names)}"
        raise ValueError(msg)
    if entry and (not entry.isdigit() or int(entry) == 0):
        msg = f"#{entry}: which entry of the step, a whole number from 1"
        raise ValueError(msg)
    return None, Step[name.upper()].value, int(entry or 1)


class Failures:
    """Sets the modes asked for at their scans; says which it set (True) and which it ended (False)."""

    def __init__(self, asked: list[Asked]) -> None:
        self._by_time = [(a.at_ms, a) for a in asked if a.at_ms is not None]
        self._by_step = [a for a in asked if a.at_ms is None]
        self._ends: list[tuple[int, Asked]] = []
        self._entries: Counter[int] = Counter()

    @property
    def next_ms(self) -> int | None:
        """When the next one begins or ends by the clock."""
        return min((ms for ms, _ in (*self._by_time, *self._ends)), default=None)

    def on_time(self, loop: StationLoop) -> list[tuple[str, bool]]:
        """What is due now."""
        ended = [entry for entry in self._ends if entry[0] <= loop.now_ms]
        begun = [entry for entry in self._by_time if entry[0] <= loop.now_ms]
        self._ends = [entry for entry in self._ends if entry not in ended]
        self._by_time = [entry for entry in self._by_time if entry not in begun]
        for _, asked in ended:
            loop.fail(asked.mode, 0)
        return [(asked.mode, False) for _, asked in ended] + [self._begin(loop, a) for _, a in begun]

    def on_step(self, loop: StationLoop, step: int) -> list[tuple[str, bool]]:
        """What is due because this step was entered in the scan just run."""
        self._entries[step] += 1
        due = [a for a in self._by_step if a.step == step and a.entry == self._entries[step]]
        return [self._begin(loop, asked) for asked in due]

    def _begin(self, loop: StationLoop, asked: Asked) -> tuple[str, bool]:
        loop.fail(asked.mode, asked.amount, asked.over_ms / 1_000)
        if asked.lasts_ms is not None:
            self._ends.append((loop.now_ms + asked.lasts_ms, asked))
        return asked.mode, True

    def left(self) -> list[str]:
        """What was asked for and never came due."""
        by_step = [a for a in self._by_step if self._entries[a.step or 0] < a.entry]
        steps = [f"{a.mode} at {Step(a.step or 0).name} #{a.entry}" for a in by_step]
        return [f"{a.mode} at {typed(ms)}" for ms, a in self._by_time] + steps
