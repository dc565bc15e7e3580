"""
What may never be, over time: a condition for too long, or one without what must come before it.

    source_cmd and not flap_closed_fb for 150ms
    source_cmd unless horn for 2900ms since step == REST

The first is broken once the condition has stood so long without a gap. The second is broken by a scan in
which the condition is true, and `horn` has not stood so long since the last scan at rest; where there was no
such scan, since the start of the record. Both parts may be left out: a condition alone is broken at once.
"""

import re
from collections.abc import Callable
from typing import Any, NamedTuple

from controller.campaign.conditions import Condition
from controller.simulate.times import milliseconds

_WORDS = re.compile(
    r"(?P<holds>.+?)(?: for (?P<for_>\S+))?"
    r"(?: unless (?P<unless>.+?)(?: for (?P<unless_for>\S+))? since (?P<since>.+))?"
)

Columns = Callable[[Condition], Any]
"""The column of a condition over the whole record: one truth a scan."""


class Pattern(NamedTuple):
    """What may never be."""

    holds: Condition
    for_ms: int
    unless: Condition | None = None
    unless_ms: int = 0
    since: Condition | None = None

    @property
    def conditions(self) -> list[Condition]:
        """All that it reads."""
        return [c for c in (self.holds, self.unless, self.since) if c]

    def broken(self, times: Any, scan_ms: int, of: Columns) -> Any:
        """
        The scans that break it, one truth a scan.

        Args:
            times: When each scan ended, whole ms.
            scan_ms: Between two; where more passed, the controller was without power: what stood begins anew.
            of: Column by condition.
        """
        found = _stood(of(self.holds), times, scan_ms, self.for_ms)
        if self.unless is None or self.since is None:
            return found
        met = _last(_stood(of(self.unless), times, scan_ms, self.unless_ms))
        return found & (met <= _last(of(self.since)))


def pattern(text: str, read: Callable[[str], Condition]) -> Pattern:
    """
    A pattern as it is typed.

    Raises:
        ValueError: It cannot be read, or a condition in it cannot.
    """
    words = _WORDS.fullmatch(text.strip())
    if words is None or (" unless " in text) != (words["unless"] is not None):
        msg = f"{text!r}: write CONDITION, CONDITION for 150ms, or CONDITION unless CONDITION since CONDITION"
        raise ValueError(msg)
    for_ms, unless_ms = (milliseconds(words[w]) if words[w] else 0 for w in ("for_", "unless_for"))
    if words["unless"] is None:
        return Pattern(read(words["holds"]), for_ms)
    return Pattern(read(words["holds"]), for_ms, read(words["unless"]), unless_ms, read(words["since"]))


def _stood(true: Any, times: Any, scan_ms: int, ms: int) -> Any:
    """Where it has been true without a gap for so long; 0: where it is true."""
    if not ms or not len(times):
        return true
    import numpy as np

    begins = true.copy()
    begins[1:] &= ~true[:-1] | (np.diff(times) > scan_ms)
    begun = np.maximum.accumulate(np.where(begins, times, times[0]))
    return true & (times - begun >= ms)


def _last(true: Any) -> Any:
    """The last scan up to each in which it was true, by number; -1: there was none."""
    import numpy as np

    return np.maximum.accumulate(np.where(true, np.arange(len(true)), -1)) if len(true) else true
