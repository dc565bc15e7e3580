"""
Where a run is to end before its time: at the first trip, at a step or state, or at an event.

`trip`; a step or a state, in capitals or not (`drain`, `level_hold`, `suction`); an event or alarm by its id
(`NO_MATERIAL`). `#3` behind it: the third time.
"""

from collections.abc import Iterable
from typing import NamedTuple

from controller.events import ALARM_IDS, EVENTS
from controller.problems import did_you_mean
from controller.records import EventRecord
from controller.sequence.steps import FAULT, STATES, Step

TRIP = "trip"


class Until(NamedTuple):
    """What ends a run: how often these steps are entered from others, or how often an event is written."""

    said: str  # as it was typed
    steps: frozenset[int]  # empty: it is an event
    event: str
    times: int


def read(text: str) -> Until:
    """
    What was typed after --until.

    Raises:
        ValueError: There is no such step, state or event; says which there are.

    >>> read("drain#3").times, [*map(int, sorted(read("filter_clean").steps))], read("no_material").event
    (3, [11, 12, 13], 'NO_MATERIAL')
    """
    name, mark, count = text.partition("#")
    if mark and not (count.isdecimal() and int(count)):
        msg = f"--until {text}: #{count}: which time, a whole number from 1"
        raise ValueError(msg)
    times, wanted = int(count or 1), name.upper()
    if name.lower() == TRIP:
        return Until(text, frozenset({FAULT}), "", times)
    if wanted in STATES:
        return Until(text, frozenset(STATES[wanted]), "", times)
    if wanted in Step.__members__:
        return Until(text, frozenset({Step[wanted]}), "", times)
    if wanted in EVENTS:
        return Until(text, frozenset(), wanted, times)
    raise ValueError(_unknown(text, name))


def _unknown(text: str, name: str) -> str:
    """That there is no such name, and the nearest; if there is none, all there are."""
    steps = [step.name.lower() for step in Step]
    states = [state.lower() for state in STATES if state not in Step.__members__]
    groups = {"Steps": steps, "States": states, "Events": list(EVENTS)}
    known = {known.lower(): known for known in (TRIP, *steps, *states, *EVENTS)}
    said = f"--until {text}: {name!r} is neither trip nor a step, a state or an event"
    if hint := did_you_mean(name.lower(), known):
        return said + hint
    listed = "\n".join(f"  {head}: {', '.join(names)}" for head, names in groups.items())
    return f"{said}. There are:\n  trip\n{listed}"


class RunEnd:
    """Looks on while a run goes, and says when it has come to its end; without `until` it never does."""

    def __init__(self, until: Until | None) -> None:
        self._until, self._left = until, until.times if until else 1

    @property
    def reached(self) -> bool:
        """Whether the run is to end now."""
        return self._left <= 0

    def entered(self, step: int, before: int) -> None:
        """A step was entered from another."""
        if self._until:
            self._left -= step in self._until.steps and before not in self._until.steps

    def written(self, events: Iterable[EventRecord]) -> None:
        """Events of the journal; of an alarm those in which its cause begins to stand."""
        if self._until and self._until.event:
            alarm = self._until.event in ALARM_IDS
            self._left -= sum(e.id == self._until.event and (e.what == "raised" or not alarm) for e in events)
