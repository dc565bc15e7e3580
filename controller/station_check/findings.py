"""
Findings: one figure each, with its limit, the verdict, what to change, and why the limit is so.

Figures and limits are in the units that people read. A finding with `computed` is a preset: besides its
limits it is compared with the figure that the prediction itself would set. Where no setting can hold all
limits the finding has no room: it shows none of them and says what is needed.
"""

import math
from typing import Literal, NamedTuple

from controller import settings
from controller.sequence.presets import Presets, limits
from controller.strict_yaml import dotted
from io_sim import settings as plant_settings

Verdict = Literal["ok", "warning", "error"]

FACTOR = 1.5  # a preset off its computed figure by more is warned of
SIZES = {"kPa": 1e3, "ms": 1.0, "s": 1e3, "m/s": 1.0, "l": 1e-3, "mm": 1e-3, "kg/h": 1.0, "m/min": 1.0 / 60.0,
         "%": 1e-2, "/h": 1.0, "": 1.0}  # fmt: skip
"""Size of each unit in the units of the prediction (Pa, ms, m, m3, kg/h)."""


class Finding(NamedTuple):
    """One line of the check; `low` and `high` are None where there is no such limit."""

    what: str
    figure: float | None  # None: a remark on an option
    unit: str
    low: float | None
    high: float | None
    computed: float | None
    verdict: Verdict
    change: str
    source: str
    has_room: bool = True  # some figure can hold all limits


def finding(
    what: str,
    figure: float,
    unit: str,
    change: str,
    source: str,
    *,
    low: float | None = None,
    high: float | None = None,
    computed: float | None = None,
    fails: Verdict = "error",
    needs: str = "another plant, or other limits beside it",
) -> Finding:
    """
    Judge a figure; all numbers in the units of the prediction.

    Args:
        what: What the figure is.
        figure: The figure.
        unit: A key of `SIZES`.
        change: What to do if it does not hold.
        source: Where the limit comes from.
        low: Least that it may be.
        high: Most that it may be.
        computed: What the prediction would set; off by `FACTOR` is a warning.
        fails: Verdict outside low..high; a figure that is not finite fails too.
        needs: What is needed if the limits leave no room.
    """
    size = SIZES[unit]
    if lacking := _lacking(unit, low, high, computed):
        text = f"no room: {lacking}; needs {needs}"
        return Finding(what, figure / size, unit, None, None, None, fails, text, source, has_room=False)
    holds = math.isfinite(figure) and (low is None or figure >= low) and (high is None or figure <= high)
    verdict: Verdict = "ok" if holds else fails
    if verdict == "ok" and computed is not None and not near(figure, computed):
        verdict = "warning"
    scaled = [None if x is None else x / size for x in (low, high, computed)]
    return Finding(what, figure / size, unit, scaled[0], scaled[1], scaled[2], verdict, change, source)


def _lacking(unit: str, low: float | None, high: float | None, computed: float | None) -> str:
    """Why no figure can hold these limits; empty if one can."""
    if not all(math.isfinite(x) for x in (low, high, computed) if x is not None):
        return "what it depends on is not reached at this plant"
    if low is not None and high is not None and low > high:
        return f"it should be at least {quantity(low, unit)} and at most {quantity(high, unit)}"
    return ""


def remark(what: str, change: str, source: str, *, verdict: Verdict = "warning") -> Finding:
    """A finding without a figure: an option that is allowed and deserves a word."""
    return Finding(what, None, "", None, None, None, verdict, change, source)


def near(figure: float, computed: float) -> bool:
    """
    Whether two figures agree within `FACTOR`.

    >>> near(15.0, 10.0), near(15.1, 10.0), near(6.6, 10.0)
    (True, False, False)
    """
    return figure <= FACTOR * computed and computed <= FACTOR * figure


def preset(
    presets: Presets,
    name: str,
    source: str,
    *,
    change: str = "",
    low: float | None = None,
    high: float | None = None,
    computed: float | None = None,
    fails: Verdict = "error",
    needs: str = "another plant, or other limits beside it",
) -> Finding:
    """
    Judge a preset, by its name in the code; `computed` is kept within the preset's own limits.

    A limit that lies beyond what can be typed leaves no room.
    """
    allowed = limits()[name]
    if low is not None and low > allowed.high:
        high = float(allowed.high)
    elif high is not None and high < allowed.low:
        low = float(allowed.low)
    if computed is not None and math.isfinite(computed):
        computed = min(max(computed, allowed.low), allowed.high)
    unit = _typed_unit(name)
    figure = float(getattr(presets, name))
    text = change or _move(name, figure, unit, low, high, computed)
    return finding(
        place(name), figure, unit, text, source,
        low=low, high=high, computed=computed, fails=fails, needs=needs,
    )  # fmt: skip


def _typed_unit(name: str) -> str:
    """The unit that a preset is typed in; none for a count."""
    if not name.endswith("_ms"):
        return "kPa" if name.endswith(("_pa", "_pa_g")) else ""
    return "ms" if place(name).endswith("_ms") else "s"


def _move(
    name: str, figure: float, unit: str, low: float | None, high: float | None, computed: float | None
) -> str:
    """Which way a preset has to go, and to what."""
    if computed is not None:
        return f"set {place(name)} to about {quantity(computed, unit)}, or correct plant.yaml"
    if high is not None and figure > high:
        return f"lower {place(name)} to {quantity(high, unit)}"
    if low is not None:
        return f"raise {place(name)} to {quantity(low, unit)}"
    return f"look at {place(name)}"


def place(name: str) -> str:
    """
    Where a preset or a plant parameter is typed.

    >>> place("proving_pa"), place("line_bore_m")
    ('proving.proving_kpa', 'line.bore_mm')
    """
    return next(dotted(item.loc) for item in (*settings.keys(), *plant_settings.keys()) if item.name == name)


def shown(figure: float) -> str:
    """
    Three digits, no exponent.

    >>> shown(0.12345), shown(12.345), shown(12345.6), shown(float("inf"))
    ('0.123', '12.3', '12346', 'not reached')
    """
    if not math.isfinite(figure):
        return "not reached"
    digits = 2 - math.floor(math.log10(abs(figure))) if figure else 0
    return f"{figure:.{max(min(digits, 3), 0)}f}"


def quantity(figure: float, unit: str) -> str:
    """
    A figure of the prediction as people read it, with its unit.

    >>> quantity(12_345.0, "kPa"), quantity(float("inf"), "s")
    ('12.3 kPa', 'not reached')
    """
    return f"{shown(figure / SIZES[unit])} {unit}".rstrip() if math.isfinite(figure) else shown(figure)
