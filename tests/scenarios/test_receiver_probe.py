"""The probe in the receiver: it ends the batch, and what is too early, too late or still there afterwards."""

import pytest
from bench import Bench

from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    EMPTY,
    FAULT,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    RECOVER,
    REST,
    SEAL,
    VENT,
)

ON_MS, FILL_MS, USUAL_S = 300, 16_000, 10.0
PROBE = {
    "receiver_full_fitted": 1, "receiver_full_ms": ON_MS, "fill_ms": FILL_MS, "fill_min_ms": 3_000,
    "too_fast_percent": 60, "too_fast_in_row": 3, "time_over_in_row": 3, "short_cycles_max": 3,
}  # fmt: skip


def batch(bench: Bench, full_at_s: float = USUAL_S) -> list:
    """One batch, full at so many seconds of filling: the steps of it, from convey to the next (or to the end)."""
    bench.machine.full_at_s = full_at_s
    begin = len(bench.path)
    bench.scan_ms = 20
    while True:
        bench.scan()
        if bench.step in (FAULT, LEVEL_HOLD) or (bench.step is CONVEY and len(bench.path) > begin):
            return bench.path[begin:]
        assert bench.now_ms < 3_600_000, bench.explain()


def usual(fitted) -> Bench:
    """In convey, three usual batches behind it."""
    bench = fitted(**PROBE).at(CONVEY)
    for _ in range(3):
        batch(bench)
    return bench


# ---- the end of a batch ----


def test_the_probe_ends_the_batch(fitted):
    """Covered for its on-delay in convey: clear."""
    bench = fitted(**PROBE).at(CONVEY)
    bench.machine.full_at_s = 5.0
    assert bench.run_until(CLEAR, within_ms=6_000) == pytest.approx(5_000 + ON_MS, abs=30)


def test_a_splash_on_the_probe_ends_nothing(fitted):
    bench = fitted(**PROBE).at(CONVEY)
    bench.run(4_000)
    bench.force(receiver_free=False)
    bench.run(ON_MS - 50)
    bench.release("receiver_free")
    bench.run(2_000, never=lambda b: b.step is not CONVEY)


def test_without_a_probe_fitted_the_wire_is_not_read(fitted):
    bench = fitted().at(CONVEY)
    bench.force(receiver_free=False)
    assert bench.run_until(CLEAR, within_ms=17_000) == 16_000
    bench.run_until(SEAL, within_ms=30_000, never=lambda b: b.step is FAULT)


def test_a_bad_probe_leaves_the_batch_to_its_time_and_warns(fitted):
    """SIGNAL_BAD: receiver full → fill time, warn."""
    bench = fitted(**PROBE).at(CONVEY)
    bench.force(receiver_free=False, receiver_full_good=False)
    assert bench.run_until(CLEAR, within_ms=17_000) == FILL_MS
    assert "SIGNAL_BAD" in bench.acted
    bench.run_until(SEAL, within_ms=30_000, never=lambda b: b.step is FAULT)


# ---- FILL_TOO_FAST ----


def test_full_too_early_three_times_is_emptied_once_more_with_a_clean_then_warns_then_trips(fitted):
    """Under 60 % of the usual: one more emptying with clean; then warn; then trip."""
    bench = usual(fitted)
    once = [CLEAR, VENT, OPEN, DRAIN]
    for _ in range(2):
        assert batch(bench, 4.0)[:5] == [*once, PULSE]
        assert "FILL_TOO_FAST" not in bench.acted
    third = batch(bench, 4.0)
    assert third.count(DRAIN) == 2
    assert "FILL_TOO_FAST" not in bench.acted
    fourth = batch(bench, 4.0)
    assert "FILL_TOO_FAST" in bench.acted
    assert FAULT not in fourth
    batch(bench, 4.0)
    assert bench.step is FAULT
    assert bench.first_out == "FILL_TOO_FAST"


def test_the_further_emptying_is_followed_by_a_clean_though_none_was_due(fitted):
    bench = usual(fitted)
    bench.preset(clean_every=50)
    for _ in range(2):
        assert PULSE not in batch(bench, 4.0)
    third = batch(bench, 4.0)
    assert third.count(DRAIN) == 2
    last_drain = len(third) - 1 - third[::-1].index(DRAIN)
    assert PULSE in third[last_drain:]


def test_a_usual_batch_in_between_begins_the_count_anew(fitted):
    bench = usual(fitted)
    for full_at_s in (4.0, 4.0, USUAL_S, 4.0, 4.0, USUAL_S):
        assert batch(bench, full_at_s).count(DRAIN) == 1
    assert "FILL_TOO_FAST" not in bench.acted


def test_a_little_early_is_not_too_early(fitted):
    bench = usual(fitted)
    for _ in range(4):
        assert batch(bench, 7.0).count(DRAIN) == 1
    assert "FILL_TOO_FAST" not in bench.acted


def test_the_usual_time_outlives_the_power(fitted):
    """Too early is told by what was learned before the power went; the first batch has a purge in its fill time."""
    bench = usual(fitted)
    learned_ms = bench.remembers("usual_sum_ms")
    bench.power_cycle()
    assert bench.remembers("usual_sum_ms") == learned_ms > 0
    bench.run(6_000)
    bench.press_start()
    bench.scan_ms = 20
    bench.run_until(CONVEY, within_ms=60_000)
    batch(bench)
    batch(bench, 5.0)
    assert bench.remembers("too_fast_batches") == 1


def test_after_a_recipe_change_the_usual_time_is_learned_anew(fitted):
    bench = usual(fitted)
    bench.request("stop")
    bench.run_until(REST, within_ms=40_000)
    bench.run(6_000)
    assert bench.request("recipe") == []
    bench.press_start()
    bench.run_until(CONVEY, within_ms=20_000)
    for _ in range(5):
        assert batch(bench, 4.0).count(DRAIN) == 1
    assert "FILL_TOO_FAST" not in bench.acted


# ---- FILL_TIME_OVER, SHORT_CYCLE ----


def test_a_probe_that_the_time_beats_three_times_warns(fitted):
    """Failed dry, or the feed is weak: a warning, the batches go on."""
    bench = fitted(**PROBE).at(CONVEY)
    for n in range(4):
        assert ("FILL_TIME_OVER" in bench.acted) == (n == 3)
        assert FAULT not in batch(bench, 1e9)
    assert "FILL_TIME_OVER" in bench.acted


def test_a_batch_that_the_probe_ends_begins_the_count_of_time_over_anew(fitted):
    bench = fitted(**PROBE).at(CONVEY)
    for full_at_s in (1e9, 1e9, USUAL_S, 1e9, 1e9):
        batch(bench, full_at_s)
    assert "FILL_TIME_OVER" not in bench.acted


def test_three_batches_under_the_minimum_fill_time_trip(fitted):
    """A probe that flickers on drives source and flap for ever: the third trips."""
    bench = fitted(**PROBE).at(CONVEY)
    assert FAULT not in batch(bench, 1.0)
    assert FAULT not in batch(bench, 1.0)
    assert FAULT in batch(bench, 1.0)
    assert bench.first_out == "SHORT_CYCLE"


def test_a_longer_batch_begins_the_count_of_short_cycles_anew(fitted):
    bench = fitted(**PROBE).at(CONVEY)
    for full_at_s in (1.0, 1.0, 5.0, 1.0, 1.0):
        assert FAULT not in batch(bench, full_at_s)


def test_short_of_material_is_no_short_cycle(fitted):
    """Not starved: a batch that ends for want of material is another matter."""
    bench = fitted(**PROBE).at(CONVEY, no_material_arm_ms=300, no_material_ms=500, short_batches_max=20)
    bench.machine.conveying_kpa = 5.0
    for _ in range(4):
        assert FAULT not in batch(bench, 1e9)
    assert "SHORT_CYCLE" not in bench.acted


# ---- RECEIVER_OVERFULL ----


def test_still_covered_after_drain_it_is_emptied_once_more_with_clean_then_it_trips(fitted):
    """Level clear: bridging. One more emptying with clean; still covered then: trip."""
    bench = fitted(**PROBE).at(CONVEY, clean_every=50)
    bench.force(receiver_free=False)
    bench.run_to_trip("RECEIVER_OVERFULL", within_ms=90_000)
    assert bench.path.count(DRAIN) == 2
    second = bench.path[len(bench.path) - 1 - bench.path[::-1].index(DRAIN) :]
    assert PULSE in second
    assert bench.remembers("on_board") != EMPTY


def test_clear_after_the_second_emptying_it_goes_on(fitted):
    bench = fitted(**PROBE).at(CONVEY)
    bench.run(5_000)
    bench.force(receiver_free=False)
    bench.run_until(DRAIN, within_ms=10_000)
    bench.run_until(VENT, within_ms=20_000, never=lambda b: b.step is FAULT)
    bench.release("receiver_free")
    bench.run_until(CONVEY, within_ms=40_000, never=lambda b: b.step is FAULT)
    assert bench.path.count(DRAIN) == 2
    assert RECOVER in bench.path[bench.path.index(VENT, 2) :]


def test_still_covered_with_level_high_the_vessel_is_backed_up_and_it_trips_at_once(fitted):
    bench = fitted(**PROBE).at(CONVEY)
    bench.run(5_000)
    bench.force(receiver_free=False)
    bench.machine.level_free = False
    bench.run_to_trip("RECEIVER_OVERFULL", within_ms=60_000)
    assert bench.path.count(DRAIN) == 1
    assert bench.path.count(VENT) == 1


def test_covered_at_the_end_of_drain_the_receiver_is_not_called_empty(fitted):
    """On board: no only after a drain over its whole time with receiver-full clear."""
    bench = fitted(**PROBE).at(DRAIN)
    bench.force(receiver_free=False)
    bench.run_off(within_ms=5_000)
    assert bench.remembers("on_board") != EMPTY
    clear = fitted(**PROBE).at(DRAIN)
    clear.run_off(within_ms=5_000)
    assert clear.remembers("on_board") == EMPTY


def test_a_stop_with_the_probe_still_covered_empties_once_more_then_rests_or_trips(fitted):
    """The recovery emptying asks no latch: a batch is not stranded by a stop."""
    bench = fitted(**PROBE).at(DRAIN)
    bench.force(receiver_free=False)
    bench.request("stop")
    bench.run_until(VENT, within_ms=30_000)
    bench.release("receiver_free")
    bench.run_until(REST, within_ms=40_000, never=lambda b: b.step is FAULT)
    assert bench.remembers("on_board") == EMPTY


def test_a_probe_covered_at_once_after_draw_still_conveys_no_second_batch(fitted):
    """Covered before convey (a batch left on board): convey ends in its first scan."""
    bench = fitted(**PROBE).at(DRAW)
    bench.force(receiver_free=False)
    bench.run_until(CLEAR, within_ms=4_000)
    assert sum(step is CONVEY for step in bench.path) <= 1


def test_without_any_pulses_the_further_emptying_follows_the_drain(fitted):
    """No pulses set, so none are given; what hangs gets another chance to fall all the same."""
    bench = usual(fitted)
    bench.preset(pulses=0, pulses_last=0)
    for _ in range(2):
        batch(bench, 4.0)
    third = batch(bench, 4.0)
    assert third.count(DRAIN) == 2
    assert third[third.index(DRAIN) + 1] is VENT
    assert PULSE not in third


def test_with_the_drain_a_probe_still_covered_is_emptied_once_more(fitted):
    bench = fitted(**PROBE, clean_mode=1).at(DRAIN)
    bench.force(receiver_free=False)
    bench.run_until(VENT, within_ms=20_000)
    bench.release("receiver_free")
    bench.run_until(CONVEY, within_ms=40_000, never=lambda b: b.step is FAULT)
    assert bench.path.count(DRAIN) == 1
