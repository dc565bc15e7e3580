"""Columns made small: what is unpacked again is what was recorded, or lies as near as was promised."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.campaign import traces
from controller.campaign.traces import analog, changes

COLUMNS = st.lists(st.integers(-300, 300), min_size=1, max_size=80)


def unpacked(trace: traces.Trace, times: np.ndarray) -> list[int]:
    """The value at each time: that of the last point at or before it."""
    points = np.cumsum(trace["t"])
    return [trace["v"][np.searchsorted(points, t, side="right") - 1] for t in times]


@given(st.lists(st.integers(0, 2), min_size=1, max_size=80), st.integers(1, 9), st.integers(0, 30))
def test_a_column_of_changes_gives_every_scan_back(values: list[int], first: int, gap: int) -> None:
    times = first + np.arange(len(values)) + gap * (np.arange(len(values)) >= len(values) // 2)
    trace = changes(times, np.array(values))
    assert unpacked(trace, times) == values
    assert len(trace["t"]) == 1 + sum(a != b for a, b in pairwise(values))


@given(COLUMNS, st.integers(1, 50))
def test_a_reading_is_never_further_off_than_what_is_seen_of_it(values: list[int], quantum: int) -> None:
    times = np.arange(len(values))
    seen = unpacked(analog(times, np.array(values), quantum), times)
    assert all(abs(s * quantum - v) <= 1.5 * quantum for s, v in zip(seen, values, strict=True))


def test_a_reading_that_always_moves_keeps_its_extremes_and_all_near_what_failed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(traces, "MOST", 100)
    values = np.random.default_rng(5).integers(-10_000, 10_000, 10_000)
    times = np.arange(10_000) + 1
    trace = analog(times, values, 1, [(4_000, 4_100)])
    points, each = np.cumsum(trace["t"]), trace["each"]
    assert each == 200
    assert len(points) <= 100 + 101 + 2
    kept = dict(zip(points.tolist(), trace["v"], strict=True))
    assert all(kept[t] == values[t - 1] for t in range(4_000, 4_101))
    for start in range(0, 10_000, each):
        inside = [v for t, v in kept.items() if start < t <= start + each]
        assert (min(inside), max(inside)) == (
            values[start : start + each].min(),
            values[start : start + each].max(),
        )
