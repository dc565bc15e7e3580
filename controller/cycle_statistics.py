"""
Statistics over cycles: each step, the whole cycle, rate and air.

Spread is the sample standard deviation. Percentiles are interpolated between the sorted values with the
smallest at 0 and the largest at 100 (definition 7 of Hyndman and Fan, The American Statistician 50, 1996,
361-365), so that they are never outside what was measured.
"""

from collections.abc import Iterable, Sequence
from statistics import fmean, quantiles, stdev
from typing import NamedTuple

from controller.records import CycleRecord

HOUR_MS = 3_600_000


class Statistic(NamedTuple):
    """One row: a time in ms, over the cycles that have it."""

    name: str  # a step, or "cycle"
    cycles: int
    mean: float
    spread: float | None  # None with one cycle
    p5: float
    p50: float
    p95: float
    slowest: int
    slowest_cycle: int  # its number


class Throughput(NamedTuple):
    """What the cycles came to, from the start of the first to the end of the last."""

    cycles: int
    ms: int
    delivered_kg: float | None  # None where a cycle does not tell it
    rate_kg_h: float | None
    air_nm3: float | None
    air_nm3_per_t: float | None


def percentiles(values: Sequence[float]) -> tuple[float, float, float]:
    """The 5th, 50th and 95th percentile of at least one value."""
    if len(values) == 1:
        return (values[0],) * 3
    cuts = quantiles(values, n=20, method="inclusive")
    return cuts[0], cuts[9], cuts[18]


def by_step(records: Sequence[CycleRecord], order: Iterable[str]) -> list[Statistic]:
    """
    One row for each step taken, in this order, and one for the whole cycle.

    A step that a cycle takes twice counts with the sum; a cycle without the step is not counted in its row.
    """
    rows = []
    for name in order:
        times = [(record.step_ms(name), record.number) for record in records if _takes(record, name)]
        if times:
            rows.append(_statistic(name.lower(), times))
    if records:
        rows.append(_statistic("cycle", [(record.ms, record.number) for record in records]))
    return rows


def _takes(record: CycleRecord, name: str) -> bool:
    return any(taken.step == name for taken in record.steps)


def _statistic(name: str, times: Sequence[tuple[int, int]]) -> Statistic:
    values = [ms for ms, _ in times]
    slowest, number = max(times, key=lambda time: time[0])
    spread = stdev(values) if len(values) > 1 else None
    return Statistic(name, len(values), fmean(values), spread, *percentiles(values), slowest, number)


def throughput(records: Sequence[CycleRecord]) -> Throughput:
    """Rate over the time that passed, standing and holding between the cycles included."""
    if not records:
        return Throughput(0, 0, 0.0, None, 0.0, None)
    ms = records[-1].start_ms + records[-1].ms - records[0].start_ms
    kg = _sum(record.delivered_kg for record in records)
    air_nm3 = _sum(record.air_nm3 for record in records)
    rate_kg_h = kg * HOUR_MS / ms if ms and kg is not None else None
    per_t = air_nm3 * 1_000 / kg if kg and air_nm3 is not None else None
    return Throughput(len(records), ms, kg, rate_kg_h, air_nm3, per_t)


def _sum(values: Iterable[float | None]) -> float | None:
    """None if one of them is not known."""
    known = list(values)
    return None if None in known else sum(value for value in known if value is not None)
