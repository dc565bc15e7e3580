"""
What was found, made small: fewer deeds (delta debugging), rounder times, simpler deeds, a shorter run.

Zeller and Hildebrandt, Simplifying and Isolating Failure-Inducing Input, IEEE Transactions on Software
Engineering 28(2), 2002: halves are left out, then quarters, down to single deeds. Only what still breaks the
same rule is kept.
"""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from controller.campaign.scenario import Action, Deed
from controller.campaign.search.episode import Episode
from controller.campaign.search.invariants import DELIVERS
from controller.campaign.search.trial import Ran
from controller.campaign.words import NEVER

ROUND_MS = (60_000, 10_000, 1_000, 500, 100)
AFTER_MS = 100
"""How long a run goes on after what it shows."""


class Shrunk(NamedTuple):
    """The smallest episode that was found, when it breaks the rule, and what it took."""

    episode: Episode
    at_ms: int
    tries: int


class Shrinking:
    """
    Makes one episode small.

    Args:
        again: Runs an episode.
        rule: The rule that it must break still.
        where: Where it must stand then, of a rule that says that it goes on.
        tries: The most runs that it may take.
    """

    def __init__(self, again: Callable[[Episode], Ran], rule: str, where: str = "", tries: int = 400) -> None:
        self._again, self._rule, self._where = again, rule, where
        self._left = self._most = tries
        self._at_ms = 0

    def shrunk(self, episode: Episode) -> Shrunk:
        """The smallest that was found; the episode as it is if it does not break the rule again."""
        best = episode
        if self._rule != DELIVERS and episode.tail:  # what was broken after its end: that is a deed as others
            deeds = (*episode.deeds, *episode.tail)
            best = episode._replace(deeds=deeds, ends_ms=deeds[-1].at_ms + episode.delivers_ms, delivers_ms=0)
        if not self._breaks(best):
            return Shrunk(episode, 0, self._most - self._left)
        best = self._cut(best)
        while self._left > 0:
            before = best
            best = self._simpler(self._fewer(best))
            if best == before:
                break
            best = self._cut(best)
        return Shrunk(best, self._at_ms, self._most - self._left)

    def _breaks(self, episode: Episode) -> bool:
        if self._left <= 0:
            return False
        self._left -= 1
        found = self._again(episode).violations
        at = [v.at_ms for v in found if (v.rule, v.where) == (self._rule, self._where)]
        if at:
            self._at_ms = at[0]
        return bool(at)

    def _cut(self, best: Episode) -> Episode:
        """Without what comes after; the end is judged only where the rule is about it."""
        if self._rule == DELIVERS:
            last_ms = max((d.at_ms for d in best.deeds), default=0)
            ends = (last_ms + more for more in (10, 1_000, 10_000, 60_000))
            return self._first((best._replace(ends_ms=ms) for ms in ends if ms < best.ends_ms), best)
        end_ms = self._at_ms + AFTER_MS
        deeds = tuple(d for d in best.deeds if d.at_ms <= end_ms)
        return self._first([best._replace(deeds=deeds, ends_ms=end_ms, delivers_ms=0)], best)

    def _fewer(self, best: Episode) -> Episode:
        """Delta debugging on the deeds."""
        size = max(len(best.deeds) // 2, 1)
        while size:
            k = 0
            while k < len(best.deeds):
                tried = best._replace(deeds=best.deeds[:k] + best.deeds[k + size :])
                if self._breaks(tried):
                    best = tried
                else:
                    k += size
            size //= 2
        return best

    def _simpler(self, best: Episode) -> Episode:
        """The plant as it is at the station, and each deed as plain as it can be."""
        for k in range(len(best.plant)):
            best = self._first([best._replace(plant=best.plant[:k] + best.plant[k + 1 :])], best)
        best = self._first([best._replace(seed=1)] if best.seed != 1 else [], best)
        for k in range(len(best.deeds)):
            for plainer in (_plainer, _rounder):
                best = self._first((_with(best, k, deed) for deed in plainer(best.deeds[k])), best)
        return best

    def _first(self, tried: Iterator[Episode] | list[Episode], best: Episode) -> Episode:
        return next((episode for episode in tried if self._breaks(episode)), best)


def _with(episode: Episode, k: int, deed: Deed) -> Episode:
    """With another deed in this place; its time moves no deed past another."""
    low = episode.deeds[k - 1].at_ms if k else 0
    high = episode.deeds[k + 1].at_ms if k + 1 < len(episode.deeds) else episode.ends_ms
    at_ms = min(max(deed.at_ms, low), high)
    return episode._replace(deeds=(*episode.deeds[:k], deed._replace(at_ms=at_ms), *episode.deeds[k + 1 :]))


def _plainer(deed: Deed) -> Iterator[Deed]:
    """The same, with less to say about it: the plainest first."""
    a = deed.action
    plain: list[Action] = []
    if a.kind == "fail":
        plain = [
            Action("fail", a.name, 1.0),
            a._replace(during_ms=NEVER, every_ms=0, times=1),
            a._replace(every_ms=0, times=1),
            a._replace(grows_ms=0),
            a._replace(value=1.0),
        ]
    elif a.kind == "command":
        plain = [a._replace(source="panel")]
    elif a.kind == "power_cut":
        plain = [a._replace(value=ms) for ms in (1_000, 10)]
    yield from (Deed(deed.at_ms, other) for other in plain if other != a)


def _rounder(deed: Deed) -> Iterator[Deed]:
    """At a rounder time, and for a rounder one: the roundest first."""
    a = deed.action
    for ms in ROUND_MS:
        for at_ms in (deed.at_ms // ms * ms, -(-deed.at_ms // ms) * ms):
            if 0 < at_ms != deed.at_ms and deed.at_ms % ms:
                yield deed._replace(at_ms=at_ms)
        if a.during_ms < NEVER and a.during_ms % ms and a.times == 1:
            yield deed._replace(action=a._replace(during_ms=-(-a.during_ms // ms) * ms))
