"""
Normal cycles raise no drift warning, and a drift in the plant does: the short version.

The whole of it, 1,000 normal cycles and every drift at its slow pace, is `python tests/drift_runs.py STATION`.
"""

from functools import cache

import drift_runs
import pytest

from controller.drift import LEARNED

BEGINS = LEARNED + 5
QUICK = 40


@cache
def station():
    return drift_runs.bench(drift_runs.CONFIGS / "buckwheat_mill")


def test_normal_cycles_are_uneven_and_raise_nothing():
    normal = drift_runs.day(*station(), 150)
    rates = [record.fill_rate_kg_h for record in normal.good]
    assert max(rates) / min(rates) > 1.3, "fed at another rate each time"
    assert len({record.supply_resting_pa_g // 10_000 for record in normal.good}) > 3, "the supply moves"
    assert normal.totals.level_stops > 20
    assert (normal.warnings, normal.totals.trips) == ([], ())


@pytest.mark.parametrize("name", ["flap slower", "filter blinding"])
def test_a_drift_in_the_plant_is_found_before_the_receiver_stops(name):
    drift = next(drift for drift in drift_runs.DRIFTS if drift.name == name)._replace(cycles=QUICK)
    drifted = drift_runs.day(*station(), BEGINS + QUICK + 20, seed=2, drift=drift, begins=BEGINS)
    after, warnings = drift_runs.delay(drifted, drift, BEGINS)
    assert after is not None
    assert {warned.id for warned in warnings} <= set(drift.shown_by)
    assert drifted.totals.trips == ()
