"""What a cycle is measured by: made-up columns with a known answer, and the plant's own state."""

from itertools import pairwise

import pytest
from test_cycle_book import run

from controller.sequence.presets import Presets
from controller.sequence.steps import BY_SWITCH, BY_TIMES, CONVEY, DRAW, VENT
from controller.simulate.cycle_measures import Gauges, Measures


class Scans:
    """Scans of 10 ms; a column that is not given is 0."""

    def __init__(self, first_ms, scans, **columns):
        self.first_ms, self.scan_ms, self.scans, self.columns = first_ms, 10, scans, columns

    def column(self, name):
        return list(self.columns.get(name, [0] * self.scans))


def drawn(presets, vacuum, split=None, **more):
    """A draw that starts in the first scan, whole or in two segments."""
    columns = {"source_cmd": [1] * len(vacuum), "vacuum_pa": vacuum, **more}
    gauges, seen = Gauges(presets), Measures()
    for first, last in pairwise((0, *([split] if split else []), len(vacuum))):
        part = {name: values[first:last] for name, values in columns.items()}
        gauges.follow(Scans(first * 10, last - first, **part), seen)
    return seen


@pytest.mark.parametrize("split", [None, 1, 2, 3])
def test_the_draw_time_ends_between_two_scans_where_the_straight_line_meets_the_threshold(split):
    """200, 1000, 1800: the threshold of 1200 is met a quarter of a scan after the second."""
    assert drawn(Presets(proving_pa=1_200), [0, 200, 1_000, 1_800, 2_600], split).draw_ms == 22


def test_a_draw_that_is_not_proved_has_no_draw_time():
    assert drawn(Presets(proving_pa=1_200), [0, 200, 1_000, 1_100]).draw_ms is None


def test_a_vacuum_switch_tells_the_draw_time_to_a_scan_and_no_release_time():
    seen = drawn(
        Presets(vacuum_by=BY_SWITCH), [0] * 6, vacuum_switch=[0, 0, 0, 1, 1, 0], source_cmd=[1] * 5 + [0]
    )
    assert (seen.draw_ms, seen.release_ms) == (30, None)


def test_without_an_instrument_neither_is_known():
    seen = drawn(Presets(vacuum_by=BY_TIMES), [0, 5_000, 0], source_cmd=[1, 1, 0])
    assert (seen.draw_ms, seen.release_ms) == (None, None)


def test_a_motor_draws_from_the_bypass_on_not_from_its_start():
    seen = drawn(Presets(bypass_fitted=True), [0, 0, 0, 600, 1_800], bypass_close_cmd=[0, 0, 1, 1, 1])
    assert seen.draw_ms == 15


def test_the_release_time_runs_from_source_off_to_under_the_threshold():
    presets = Presets(release_pa=1_000)
    gauges, seen = Gauges(presets), Measures()
    gauges.follow(Scans(0, 3, source_cmd=[1] * 3, vacuum_pa=[4_000] * 3), seen)
    gauges.follow(Scans(30, 5, source_cmd=[0] * 5, vacuum_pa=[4_000, 3_000, 1_500, 500, 100]), seen)
    assert seen.release_ms == 25


def test_pulses_of_every_group_are_counted_once_across_segments():
    gauges, seen = Gauges(Presets()), Measures()
    gauges.follow(Scans(0, 3, pulse_1_cmd=[0, 1, 1], pulse_3_cmd=[0, 0, 1]), seen)
    gauges.follow(Scans(30, 4, pulse_1_cmd=[1, 0, 1, 0], pulse_3_cmd=[1, 1, 1, 1]), seen)
    assert seen.pulses == 3


def test_the_filter_is_looked_at_after_the_mask_and_in_the_last_second_before_its_cleaning():
    """20 mA is 20 kPa at 125 Pa for 100 uA: 8 uA are 10 Pa."""
    presets = Presets(dp_fitted=True, dp_mask_ms=2_000, dp_pa_per_100ua=125)
    gauges, seen = Gauges(presets), Measures()
    ages = list(range(0, 8_000, 10))
    for part in (ages[:430], ages[430:]):
        currents = [
            9_999 if ms < 2_000 else 5_600 if ms < 3_000 else 4_800 if ms < 7_000 else 6_400 for ms in part
        ]
        gauges.read(Scans(part[0], len(part), step_ms=part, filter_dp_ua=currents), CONVEY, seen)
    assert set(seen.dp_cleaned) == {2_000}
    assert set(seen.dp_laden) == {3_000}
    assert len(seen.dp_cleaned) == len(seen.dp_laden) == 100


def test_without_its_transmitter_the_filter_is_not_looked_at():
    gauges, seen = Gauges(Presets()), Measures()
    gauges.read(Scans(0, 300, filter_dp_ua=[6_000] * 300, step_ms=[2_500] * 300), CONVEY, seen)
    assert (seen.dp_cleaned, seen.dp_laden) == ([], [])


def test_a_run_measures_draw_release_and_fill_rate_of_every_whole_batch():
    """The fill rate against the feed point: the plant gives 0.5 kg/s, 1,800 kg/h, and the line its content."""
    presets = Presets()
    _, cycles = run(190_000)
    whole = [cycle for cycle in cycles if cycle.kind == "batch" and cycle.result == "complete"][1:]
    assert whole
    for cycle in whole:
        proved_ms, released_ms = cycle.step_ms(DRAW.name), cycle.step_ms(VENT.name)
        assert proved_ms - 10 <= cycle.draw_ms <= proved_ms
        assert 0 < cycle.release_ms <= released_ms - presets.release_settle_ms + 10
        assert cycle.fill_rate_kg_h == pytest.approx(1_800, rel=0.05)


def test_the_settings_name_the_recipe_and_other_settings_another():
    (_, cycles), (_, others) = run(30_000), run(30_000, presets=Presets()._replace(drain_ms=5_000))
    assert len(cycles[0].recipe) == 8
    assert {cycle.recipe for cycle in cycles}.isdisjoint(cycle.recipe for cycle in others)
