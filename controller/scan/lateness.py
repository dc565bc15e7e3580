"""How late the scans began: counted in buckets, so that a run of days needs no more memory than a minute."""

from typing import Any

BUCKET_US = 10
BUCKETS = 10_000
"""Up to 100 ms each on its own; what is later is counted, and the latest of all kept."""


RECENT = 100
"""Deadlines that are looked back on."""


class Lateness:
    """Counts lateness in whole microseconds."""

    def __init__(self) -> None:
        self._counts = [0] * BUCKETS
        self._recent = 0  # a bit for each of the last deadlines: missed
        self.scans = self.max_us = self.missed = 0

    def take(self, late_us: int, missed: int) -> None:
        """One scan: how long after its deadline it began, and how many deadlines it let pass meanwhile."""
        self.scans += 1
        self.missed += missed
        few = min(missed, RECENT)
        self._recent = (self._recent << few + 1 | (1 << few) - 1 << 1) & (1 << RECENT) - 1
        self.max_us = max(self.max_us, late_us)
        if (bucket := max(late_us, 0) // BUCKET_US) < BUCKETS:
            self._counts[bucket] += 1

    @property
    def recent(self) -> int:
        """
        How many of the last `RECENT` deadlines were missed.

        >>> told = Lateness()
        >>> for missed in (200, 0, 3, 0):
        ...     told.take(0, missed)
        >>> told.recent
        96
        >>> for _ in range(95):
        ...     told.take(0, 0)
        >>> told.recent
        3
        """
        return self._recent.bit_count()

    def percentile(self, percent: float) -> int | None:
        """
        So many of a hundred scans were no later than this [us, to the next 10]; None without a scan.

        >>> told = Lateness()
        >>> for late_us in range(1_000):
        ...     told.take(late_us, 0)
        >>> told.percentile(50), told.percentile(99), told.max_us
        (500, 990, 999)
        """
        wanted, seen = self.scans * percent / 100, 0
        for bucket, count in enumerate(self._counts):
            seen += count
            if count and seen >= wanted:
                return (bucket + 1) * BUCKET_US
        return self.max_us if self.scans else None

    def as_document(self) -> dict[str, Any]:
        """As it stands in run.json."""
        figures = {f"p{percent:g}_us": self.percentile(percent) for percent in (50, 99, 99.9)}
        return {"scans": self.scans, **figures, "max_us": self.max_us, "missed_deadlines": self.missed}

    def said(self) -> str:
        """In one line."""
        if not self.scans:
            return "no scan"
        told = "  ".join(f"p{percent:g} {self.percentile(percent)} us" for percent in (50, 99, 99.9))
        return f"{self.scans} scans, late by {told}  max {self.max_us} us; {self.missed} deadlines missed"
