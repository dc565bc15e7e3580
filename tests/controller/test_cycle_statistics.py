"""Statistics over cycles, against a reference data set and a reference library."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_journal import cycle

from controller.cycle_statistics import by_step, percentiles, throughput
from controller.records import StepTaken

ORDER = ("SEAL", "CONVEY", "VENT")


def taking(number, **steps):
    """A cycle with these steps; a list is a step taken more than once."""
    taken = [
        (name, ms) for name, times in steps.items() for ms in (times if isinstance(times, list) else [times])
    ]
    return cycle(number)._replace(steps=tuple(StepTaken(name, ms, "") for name, ms in taken))


def test_mean_and_spread_are_those_certified_for_numbers_that_round_badly():
    """NIST StRD, univariate summary statistics, data set NumAcc1: mean 10000002, standard deviation 1 (from memory)."""
    records = [taking(n, CONVEY=ms) for n, ms in enumerate((10_000_001, 10_000_003, 10_000_002), 1)]
    convey = by_step(records, ORDER)[0]
    assert (convey.mean, convey.spread) == (10_000_002.0, 1.0)
    assert (convey.slowest, convey.slowest_cycle) == (10_000_003, 2)


@given(st.lists(st.integers(0, 10**7), min_size=1, max_size=60))
def test_percentiles_are_those_of_numpy(values):
    """numpy.percentile, method linear: definition 7 of Hyndman and Fan (1996)."""
    assert percentiles(values) == pytest.approx(
        tuple(numpy.percentile(values, (5, 50, 95))), rel=1e-12, abs=1e-6
    )


def test_rows_stand_in_the_order_of_the_steps_and_end_with_the_whole_cycle():
    records = [taking(1, VENT=300, SEAL=1_000), taking(2, SEAL=1_200)]
    rows = by_step(records, ORDER)
    assert [(row.name, row.cycles) for row in rows] == [("seal", 2), ("vent", 1), ("cycle", 2)]
    assert (rows[-1].mean, rows[-1].slowest, rows[-1].slowest_cycle) == (1_250, 1_300, 1)


def test_a_step_taken_twice_counts_with_its_sum():
    assert by_step([taking(1, SEAL=[1_000, 500])], ORDER)[0].slowest == 1_500


def test_one_cycle_has_no_spread():
    row = by_step([taking(1, SEAL=1_000)], ORDER)[0]
    assert (row.spread, row.p5, row.p95) == (None, 1_000, 1_000)


def test_the_rate_is_over_the_time_that_passed_and_air_is_by_the_tonne():
    """Two batches of 8 kg within 40 s are 1,440 kg/h; 0.8 Nm3 for 16 kg are 50 Nm3 a tonne."""
    records = [
        taking(1, CONVEY=10_000)._replace(start_ms=0, delivered_kg=8.0, air_nm3=0.4),
        taking(2, CONVEY=10_000)._replace(start_ms=30_000, delivered_kg=8.0, air_nm3=0.4),
    ]
    came_to = throughput(records)
    assert (came_to.ms, came_to.rate_kg_h, came_to.air_nm3_per_t) == (40_000, 1_440.0, pytest.approx(50.0))


def test_no_cycles_have_no_rate():
    assert throughput([]).rate_kg_h is None
    assert by_step([], ORDER) == []
