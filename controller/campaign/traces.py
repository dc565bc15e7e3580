"""Columns of a recording made small: only where something changes, or the extremes of short stretches."""

from collections.abc import Iterable
from typing import Any

MOST = 20_000
"""Points of a trace that changes more often are extremes of stretches instead."""
Trace = dict[str, Any]


def changes(times: Any, values: Any) -> Trace:
    """
    Where a column changes.

    Args:
        times: When each scan ended [scans since power-up], rising.
        values: One whole number or boolean a scan.

    Returns:
        `t`, the first time and then what passed since the one before; `v`, the value from then on.

    >>> import numpy as np
    >>> changes(np.array([1, 2, 3, 7]), np.array([0, 0, 5, 5]))
    {'t': [1, 2], 'v': [0, 5]}
    """
    import numpy as np

    at = np.concatenate([[0], np.flatnonzero(values[1:] != values[:-1]) + 1])
    return _trace(times[at], values[at])


def analog(times: Any, values: Any, quantum: int, fine: Iterable[tuple[int, int]] = ()) -> Trace:
    """
    A column of readings in whole `quantum`s: the points that lie at least one from the point kept before.

    If it moves too often, the least and the most of each so many scans (`each`); all of the `fine` stretches.

    Args:
        times: As of `changes`.
        values: Whole numbers, one a scan.
        quantum: What is seen of them.
        fine: Stretches of time in which every point stays, first and last [scans].
    """
    import numpy as np

    values, each = np.asarray(values), 1
    cells = values // quantum
    if np.count_nonzero(cells[1:] != cells[:-1]) <= MOST:
        at = np.array(_apart(values, quantum))
    else:
        near = np.zeros(len(times), dtype=bool)
        for first, last in fine:
            near |= (times >= first) & (times <= last)
        each = max(2, -(-2 * len(values) // MOST))
        at = np.union1d(_extremes(values, each), np.flatnonzero(near))
    return {**_trace(times[at], np.round(values[at] / quantum)), "each": each}


def _apart(values: Any, quantum: int) -> list[int]:
    at, last = [0], int(values[0])
    for k, value in enumerate(values.tolist()):
        if abs(value - last) >= quantum:
            at.append(k)
            last = value
    return at


def _extremes(values: Any, width: int) -> Any:
    """The places of the least and the most of each stretch of so many scans; the first and last place too."""
    import numpy as np

    starts = np.arange(0, len(values) - width + 1, width)
    table = values[: len(starts) * width].reshape(-1, width)
    return np.unique([0, *(starts + table.argmin(1)), *(starts + table.argmax(1)), len(values) - 1])


def _trace(times: Any, values: Any) -> Trace:
    import numpy as np

    passed = np.diff(times, prepend=0)
    return {"t": passed.tolist(), "v": values.astype(np.int64).tolist()}
