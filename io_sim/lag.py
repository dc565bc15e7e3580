"""First-order lags of valves, pressures and transmitters."""

import math

SETTLED = 1e-6  # closer to its target than this a lag has arrived: saves an exponential, avoids denormals


def lagged(value: float, target: float, lag_s: float, step_s: float) -> float:
    """
    Where a first-order lag stands after one step with its target held; exact for any step.

    >>> lagged(1.0, 0.0, 0.1, 0.1)
    0.3679
    """
    if abs(value - target) < SETTLED:
        return target
    return target + (value - target) * math.exp(-step_s / lag_s)
