"""
Drift warnings: the CUSUM against its published tables, then what is made of it.

Montgomery: Introduction to Statistical Quality Control, table 9.2 (data of table 9.1, target 10, sigma 1,
k 0.5, h 5). Lucas and Crosier: Technometrics 24 (1982) 199-205, table 1. Waldmann: Technometrics 28 (1986)
61-67, table 1, as quoted with the former in the manual of the R package spc.
"""

import json
import random

import numpy
import pytest
from test_journal import cycle

from controller.drift import (
    DOWN,
    LEARNED,
    QUANTITIES,
    UP,
    WINSOR,
    H,
    K,
    State,
    Sums,
    accumulate,
    as_document,
    from_document,
    is_good,
    observe,
)

# fmt: off
CONCENTRATION = (
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08,
    9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
)
HIGH_SUMS = (
    0, 0, 0, 1.16, 2.82, 2.50, 0.04, 1.00, 0, 0, 0, 0.97, 0.98, 0, 0,
    0, 0.12, 0, 0, 0.34, 0.74, 0, 1.79, 2.79, 2.89, 3.47, 3.35, 4.47, 5.28, 5.30,
)
# fmt: on
RUN_LENGTHS = {0.0: 168.0, 0.25: 74.2, 0.5: 26.6, 1.0: 8.38, 2.0: 3.34, 3.0: 2.19}
"""Shift in sigma, and the published mean run length of a two-sided CUSUM with k 0.5 and h 4."""
RUNS = 3_000


def test_the_sums_of_the_textbook_example_are_those_of_its_table():
    sums, found = Sums(), []
    for value in CONCENTRATION:
        sums = accumulate(sums, value - 10.0, k=0.5)
        found.append(sums)
    assert [round(one.high, 2) for one in found] == pytest.approx(HIGH_SUMS, abs=1e-9)
    assert [round(one.low, 2) for one in found[:8]] == pytest.approx((0.05, 1.56, 1.77, 0, 0, 0, 1.46, 0))
    signal = next(n for n, one in enumerate(found, 1) if one.high > 5)
    assert (signal, found[signal - 1].high_for) == (29, 7), "the shift began between 22 and 23"


def run_length(chance, shift, k, h):
    sums, n = Sums(), 0
    while max(sums.high, sums.low) <= h:
        sums, n = accumulate(sums, chance.gauss(shift, 1.0), k), n + 1
    return n


@pytest.mark.parametrize(("shift", "published"), RUN_LENGTHS.items())
def test_mean_run_lengths_are_the_published_ones(shift, published):
    """Within four standard errors of the simulated mean, and the rounding of the table."""
    chance = random.Random(7)
    lengths = numpy.array([run_length(chance, shift, 0.5, 4.0) for _ in range(RUNS)])
    assert abs(lengths.mean() - published) < 4 * lengths.std() / RUNS**0.5 + 0.005 * published


def one_sided_run_length(k, h, shift=0.0, cells=400):
    """Mean run length by a Markov chain over the sum (Brook and Evans, Biometrika 59, 1972, 539-548)."""
    from math import erf

    width = 2 * h / (2 * cells - 1)
    middles = width * numpy.arange(cells)
    normal = numpy.vectorize(lambda x: 0.5 * (1 + erf(x / 2**0.5)))
    upper = middles[None, :] + width / 2 - middles[:, None] + k - shift
    below = normal(upper)
    step = numpy.diff(below, axis=1, prepend=0.0)
    return float(numpy.linalg.solve(numpy.eye(cells) - step, numpy.ones(cells))[0])


def test_the_chosen_limits_raise_a_false_alarm_in_ten_million_cycles_and_find_two_spreads_in_ten():
    assert one_sided_run_length(0.5, 3.0) == pytest.approx(117.4, rel=2e-3), (
        "Waldmann's value: the chain is right"
    )
    assert one_sided_run_length(K, H) > 1e7
    assert one_sided_run_length(K, H, shift=2.0) < 10


# ---- what is made of it --------------------------------------------------------------------------------
def good(number, **values):
    """A good cycle of a machine that is steady but for these values."""
    steady = {"flap_opening_ms": 360, "flap_closing_ms": 390, "draw_ms": 106, "release_ms": 158,
              "vacuum_air_only_pa": 4_300, "fill_rate_kg_h": 1_800.0, "filter_dp_cleaned_pa": None}  # fmt: skip
    return cycle(number)._replace(**{**steady, **values})


def watched(records, state=None):
    """The state after these records, and every warning."""
    state, warnings = state or State(), []
    for record in records:
        state, raised = observe(state, record)
        warnings += raised
    return state, warnings


def learned(**values):
    return watched(good(n, **values) for n in range(LEARNED))[0]


def noisy(first, cycles, seed=1, **shift):
    """Good cycles with every value spread by 2 %, shifted by these shares."""
    chance, usual = random.Random(seed), good(0)
    names = ("flap_opening_ms", "draw_ms", "release_ms", "vacuum_air_only_pa", "fill_rate_kg_h")
    for number in range(first, first + cycles):
        yield good(
            number, **{n: getattr(usual, n) * (chance.gauss(1, 0.02) + shift.get(n, 0)) for n in names}
        )


def test_nothing_is_judged_while_it_learns():
    assert watched(good(n, draw_ms=100 * (1 + n)) for n in range(LEARNED))[1] == []


def test_a_thousand_noisy_cycles_raise_nothing():
    assert watched(noisy(0, 1_000))[1] == []


@pytest.mark.parametrize(
    ("name", "share", "id", "direction"),
    [
        ("flap_opening_ms", 0.2, "flap_opening", UP),
        ("draw_ms", 0.1, "draw", UP),
        ("release_ms", 0.12, "release", UP),
        ("vacuum_air_only_pa", 0.12, "air_only", UP),
        ("vacuum_air_only_pa", -0.12, "air_only", DOWN),
        ("fill_rate_kg_h", -0.2, "fill_rate", DOWN),
    ],
)
def test_a_shift_is_found_within_ten_cycles_and_dated(name, share, id, direction):
    state, _ = watched(noisy(0, LEARNED + 50))
    _, warnings = watched(noisy(1_000, 40, seed=2, **{name: share}), state)
    assert [(w.id, w.direction) for w in warnings] == [(id, direction)]
    found = warnings[0]
    assert found.cycle < 1_015
    assert found.cycle - found.cycles + 1 == pytest.approx(1_000, abs=2)
    assert found.now / found.reference == pytest.approx(1 + share, abs=0.02)
    assert found.text


def test_better_than_usual_is_no_warning():
    _, warnings = watched(
        (good(n, flap_opening_ms=200, draw_ms=50, fill_rate_kg_h=2_500.0) for n in range(60)), learned()
    )
    assert warnings == []


def test_a_steady_machine_is_not_warned_of_for_less_than_half_of_what_matters():
    draw = next(q for q in QUANTITIES if q.id == "draw")
    small = 106 * (1 + 0.49 * draw.matters)
    assert watched((good(n, draw_ms=small) for n in range(5_000)), learned())[1] == []
    assert watched((good(n, draw_ms=106 * (1 + draw.matters)) for n in range(12)), learned())[1] != []


def test_four_strange_cycles_in_a_row_do_not_warn_and_the_fifth_does():
    state = learned()
    most = int(H / (WINSOR - K))
    assert watched((good(n, draw_ms=9_000) for n in range(most)), state)[1] == []
    assert len(watched((good(n, draw_ms=9_000) for n in range(most + 1)), state)[1]) == 1


def test_a_few_strange_cycles_do_not_spoil_the_reference():
    state, _ = watched(good(n, draw_ms=900 if n % 10 == 0 else 106) for n in range(LEARNED))
    assert state.charts[[q.id for q in QUANTITIES].index("draw")].reference == 106


def test_a_warning_is_raised_once_and_again_after_a_repair():
    state, first = watched((good(n, draw_ms=130) for n in range(100)), learned())
    state, between = watched((good(n, draw_ms=106) for n in range(100)), state)
    _, second = watched((good(n, draw_ms=130) for n in range(100)), state)
    assert [len(first), len(between), len(second)] == [1, 0, 1]


BAD = {
    "short": {"fill_ended_by": "empty"},
    "stopped": {"fill_ended_by": "stop"},
    "tripped": {"result": "trip NO_VACUUM"},
    "held": {"resumes": 1},
    "reopened": {"flap_retries": 1},
    "found on board": {"on_board": "unknown"},
    "line loaded": {"line_loaded": True},
    "cleaning": {"kind": "clean"},
}


@pytest.mark.parametrize("changed", BAD.values(), ids=BAD)
def test_cycles_that_were_disturbed_change_nothing(changed):
    disturbed = good(1, draw_ms=9_000)._replace(**changed)
    state = learned()
    assert not is_good(disturbed)
    assert observe(state, disturbed) == (state, ())


def test_another_recipe_is_learned_anew():
    slower = (good(n, draw_ms=200)._replace(recipe="ffffffff") for n in range(LEARNED + 50))
    state, warnings = watched(slower, learned())
    assert warnings == []
    assert state.recipe == "ffffffff"


def test_the_filter_is_judged_by_its_pressure_drop_where_it_is_measured():
    """Cleaned 1800 of laden 2500 Pa is a ratio of 0.72; at 2300 cleaning has all but stopped."""
    state = learned(filter_dp_cleaned_pa=1_800, filter_dp_laden_pa=2_500)
    worse = (good(n, filter_dp_cleaned_pa=2_300, filter_dp_laden_pa=2_500) for n in range(20))
    assert {(w.id, w.direction) for w in watched(worse, state)[1]} == {("filter_dp", UP), ("cleaning", UP)}


def test_the_state_survives_a_restart():
    state, _ = watched(noisy(0, LEARNED + 7))
    again = from_document(json.loads(json.dumps(as_document(state))))
    assert again == state
    assert watched(noisy(100, 30, draw_ms=0.2), again) == watched(noisy(100, 30, draw_ms=0.2), state)


def test_a_state_from_before_a_quantity_was_watched_begins_to_learn_it():
    document = as_document(learned())
    del document["charts"]["release"]
    state = from_document(document)
    assert state.charts[[q.id for q in QUANTITIES].index("release")].reference is None
