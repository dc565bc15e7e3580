"""
Drift over cycles: slow changes that no interlock sees, found before they stop the receiver.

A tabular CUSUM on each quantity (Page, Biometrika 41, 1954, 100-115; Montgomery, Introduction to Statistical
Quality Control, section 9.1): what exceeds a shift of K spreads from the reference is summed up, from zero,
on each side; a sum over H spreads is a warning. K = 1 and H = 8 are far stricter than the textbook's 0.5 and
5: eight quantities are watched over thousands of cycles, and a warning nobody believes is worth nothing.
(The run lengths of the tables hold for independent normal values. Cycles are not quite that: what holds for
them is measured on simulated normal days.)

The reference is learned from the first good cycles: their median, and as spread 1.4826 times the median
absolute deviation, but never less than half of the shift that matters in practice (`Quantity.matters`). So
a shift smaller than that half never adds up, however steady the machine is. One strange cycle counts for at
most `WINSOR` spreads (a winsorised sum: Hawkins and Olwell, Cumulative Sum Charts, 1998, from memory), so
that no four cycles by themselves can warn.

Pure: `observe` takes a state and a record and gives the next state; nothing else remembers.
"""

from collections.abc import Callable
from statistics import median
from typing import Any, NamedTuple

from controller.records import CycleRecord

LEARNED = 50
"""Good cycles that the reference is learned from."""
K, H, WINSOR = 1.0, 8.0, 3.0
"""Reference value, decision interval and the most that one cycle counts, in spreads."""
NORMAL_MAD = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution, 1 / 0.6745."""
UP, DOWN = 1, -1


class Sums(NamedTuple):
    """The two sums of a tabular CUSUM, in spreads, and for how many cycles each has been over zero."""

    high: float = 0.0
    low: float = 0.0
    high_for: int = 0
    low_for: int = 0


def accumulate(sums: Sums, z: float, k: float = K) -> Sums:
    """One more value, in spreads from the reference (Montgomery, equations 9.2 and 9.3)."""
    high, low = max(0.0, sums.high + z - k), max(0.0, sums.low - z - k)
    return Sums(high, low, sums.high_for + 1 if high else 0, sums.low_for + 1 if low else 0)


def dp_ratio(record: CycleRecord) -> float | None:
    """Pressure drop of the filter after cleaning over that before: what cleaning no longer removes."""
    if record.filter_dp_cleaned_pa is None or not record.filter_dp_laden_pa:
        return None
    return record.filter_dp_cleaned_pa / record.filter_dp_laden_pa


class Quantity(NamedTuple):
    """Something that is watched."""

    id: str
    unit: str
    value: Callable[[CycleRecord], float | None]
    matters: float  # the shift to find, as a share of the reference: an estimate, over a normal day's spread
    up: str  # what a rise usually comes from; empty: a rise is no warning
    down: str


Q = Quantity  # a row reads: Q(id, unit, value, shift that matters, up, down)

# fmt: off
QUANTITIES = (
    Q("flap_opening", "ms", lambda r: r.flap_opening_ms, 0.10,
      "flap opens slower: grease, seal, cylinder air, exhaust silencer clogged", ""),
    Q("flap_closing", "ms", lambda r: r.flap_closing_ms, 0.10,
      "flap closes slower: bearing, spring, cylinder exhaust, product in the hinge", ""),
    Q("filter_dp", "Pa", lambda r: r.filter_dp_cleaned_pa, 0.20,
      "filter is blinding: its pressure drop after cleaning grows; wet or old elements, weak pulses",
      "filter resists less: an element torn, missing or loose"),
    Q("cleaning", "", dp_ratio, 0.20,
      "cleaning removes less of the cake: pulse valve, tank pressure, wet cloth", ""),
    Q("draw", "ms", lambda r: r.draw_ms, 0.05,
      "vacuum builds up slower: leak at flap seat, cover or vent, or a weaker source", ""),
    Q("air_only", "Pa", lambda r: r.vacuum_air_only_pa, 0.06,
      "empty line draws more vacuum: build-up in the line; with a clean-side transmitter a blinding filter",
      "empty line draws less vacuum: leak, weaker source or supply, or, behind a dirty-side transmitter, a "
      "blinding filter"),
    Q("fill_rate", "kg/h", lambda r: r.fill_rate_kg_h, 0.10,
      "", "a fill brings less: feed point, line build-up, blinding filter, weaker source"),
    Q("release", "ms", lambda r: r.release_ms, 0.06,
      "vacuum goes slower: vent or its filter clogged, vent valve slow, source valve passing", ""),
)
# fmt: on


class Chart(NamedTuple):
    """What is known of one quantity."""

    seen: tuple[float, ...] = ()  # while it learns
    reference: float | None = None
    spread: float = 0.0
    sums: Sums = Sums()
    recent: float = 0.0  # mean since the sum that stands, or is nearest to it, left zero
    standing: int = 0  # UP or DOWN while a warning stands


class State(NamedTuple):
    """All that is remembered from cycle to cycle, in the order of `QUANTITIES`."""

    recipe: str = ""
    charts: tuple[Chart, ...] = (Chart(),) * len(QUANTITIES)


class Warned(NamedTuple):
    """A drift, in the cycle that made it certain."""

    cycle: int
    id: str
    direction: int  # UP or DOWN
    cycles: int  # good cycles since it began, by the sum's last zero
    now: float  # mean over these
    reference: float
    unit: str
    text: str  # what it usually comes from


def is_good(record: CycleRecord) -> bool:
    """Whether a cycle may be compared with others: a whole batch that nothing disturbed."""
    return (
        record.kind == "batch"
        and record.result == "complete"
        and record.fill_ended_by in ("time", "full")
        and record.on_board == "no"
        and not (record.line_loaded or record.flap_retries or record.resumes)
    )


def observe(state: State, record: CycleRecord) -> tuple[State, tuple[Warned, ...]]:
    """
    The state after this cycle, and the warnings that it raised.

    Cycles that are not good change nothing. Another recipe is learned anew: other settings, other times.
    """
    if not is_good(record):
        return state, ()
    if state.recipe != record.recipe:
        state = State(recipe=record.recipe)
    charts, raised = [], []
    for quantity, chart in zip(QUANTITIES, state.charts, strict=True):
        value = quantity.value(record)
        after = chart if value is None else _learned(chart, value, quantity)
        if value is not None and chart.reference is not None:
            after = _judged(chart, value, quantity)
            if after.standing and after.standing != chart.standing:
                raised.append(_warned(record.number, quantity, after))
        charts.append(after)
    return State(state.recipe, tuple(charts)), tuple(raised)


def _learned(chart: Chart, value: float, quantity: Quantity) -> Chart:
    """One more value to learn from; with the last of them the reference stands."""
    seen = (*chart.seen, value)
    if len(seen) < LEARNED:
        return chart._replace(seen=seen)
    middle = median(seen)
    spread = NORMAL_MAD * median(abs(one - middle) for one in seen)
    least = max(quantity.matters / 2 * abs(middle), 1e-9)
    return Chart(reference=middle, spread=max(spread, least), recent=middle)


def _judged(chart: Chart, value: float, quantity: Quantity) -> Chart:
    assert chart.reference is not None
    z = (value - chart.reference) / chart.spread
    sums = accumulate(chart.sums, min(max(z, -WINSOR), WINSOR))
    high, low = min(sums.high, 2 * H), min(sums.low, 2 * H)  # so that a repaired part is seen soon
    sums = sums._replace(high=high, low=low)
    over = UP if quantity.up and high > H else DOWN if quantity.down and low > H else 0
    stands = (high if chart.standing == UP else low) > 0
    standing = over or (chart.standing if stands else 0)
    n = max(sums.high_for, sums.low_for)
    recent = chart.recent + (value - chart.recent) / n if n > 1 else value
    return chart._replace(sums=sums, recent=recent, standing=standing)


def _warned(number: int, quantity: Quantity, chart: Chart) -> Warned:
    sums = chart.sums
    up = chart.standing == UP
    return Warned(
        number, quantity.id, chart.standing, sums.high_for if up else sums.low_for,
        chart.recent, chart.reference or 0.0, quantity.unit, quantity.up if up else quantity.down,
    )  # fmt: skip


def as_document(state: State) -> dict[str, Any]:
    """The state in plain values, for JSON."""
    charts = zip(QUANTITIES, state.charts, strict=True)
    known = {
        q.id: {**chart._asdict(), "seen": list(chart.seen), "sums": list(chart.sums)} for q, chart in charts
    }
    return {"recipe": state.recipe, "charts": known}


def from_document(document: dict[str, Any]) -> State:
    """The state that `as_document` wrote; a quantity that it does not know begins to learn."""
    known = document["charts"]
    charts = (
        Chart(**{**known[q.id], "seen": tuple(known[q.id]["seen"]), "sums": Sums(*known[q.id]["sums"])})
        if q.id in known
        else Chart()
        for q in QUANTITIES
    )
    return State(document["recipe"], tuple(charts))
