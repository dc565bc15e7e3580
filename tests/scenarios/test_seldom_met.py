"""Combinations that are seldom met: each was wrong once."""

from bench import Bench, vacuum_ua

from controller.sequence.steps import CONVEY, DRAIN, FAULT, LEVEL_HOLD, REST, SEAL, VENT, WARNING

DP = {"dp_fitted": True, "dp_ms": 500, "dp_mask_ms": 500}


def test_a_second_batch_over_the_collapse_limit_trips_though_the_vessel_was_full_between(fitted):
    """Trip when it repeats: the hold between the two batches, with its second seal, makes nothing forgotten."""
    bench = fitted(**DP).at(CONVEY)
    bench.machine.dp_kpa = 12
    bench.run_until(SEAL, within_ms=40_000, never=lambda b: b.step is FAULT)
    bench.machine.level_free = False
    bench.run_until(LEVEL_HOLD, within_ms=20_000)
    bench.machine.level_free = True
    bench.run_until(CONVEY, within_ms=40_000)
    bench.run_until(FAULT, within_ms=5_000)
    assert bench.first_out == "FILTER_DP_HIGH"


def test_a_start_after_a_halt_with_the_flap_open_may_wait_for_the_vessel(fitted):
    """The flap closes on command: that it leaves its place then is no FLAP_MOVED."""
    bench = fitted().at(DRAIN)
    bench.run(500)
    bench.request("halt")
    bench.machine.level_free = False
    bench.run(4_000)
    bench.press_start()
    bench.run_until(WARNING, within_ms=100)
    bench.run_until(LEVEL_HOLD, within_ms=4_000)
    bench.run(5_000, never=lambda b: b.step is FAULT)


def test_repairs_are_not_learned_as_travel(fitted):
    """A lump, a trip, ten minutes with the flap half open: the learned time is that of moves alone."""
    bench = fitted(flap_retries_max=0).at(DRAIN)
    bench.machine.seat_free = False
    bench.run_until(FAULT, within_ms=40_000)
    bench.scan_ms = 100
    bench.run(600_000)
    bench.machine.seat_free = True
    bench.run(2_000)
    assert bench.remembers("closing_sum_ms") <= 10_000


def falls_short(bench: Bench) -> None:
    """A batch that material misses after a second or two."""
    bench.run_until(CONVEY, within_ms=60_000)
    bench.run(4_000)
    bench.force(vacuum_ua=vacuum_ua(4))


def test_a_jammed_flap_without_command_is_passed_for_want_of_product_once_only(fitted):
    """Little drawn may not open it; little drawn again and again adds up, and nobody has seen it open."""
    bench = fitted(flap_kind=1, flap_feedback=1, short_batches_max=20).at(CONVEY)
    bench.force(flap_closed_fb=1)
    bench.run(4_000)
    bench.force(vacuum_ua=vacuum_ua(4))
    bench.run_until(VENT, within_ms=10_000)
    bench.release("vacuum_ua")
    bench.run_until(SEAL, within_ms=60_000, never=lambda b: b.step is FAULT)
    falls_short(bench)
    bench.run_until(VENT, within_ms=10_000)
    bench.release("vacuum_ua")
    bench.run_until(FAULT, within_ms=30_000)
    assert bench.first_out == "FLAP_NOT_OPEN"


def test_returns_of_air_are_counted_for_a_flap_without_command_too(fitted):
    """Its hold is left to an emptying; more than two in a row is hunting all the same."""
    bench = fitted(flap_kind=1, flap_feedback=1, supply_low_effect=1, resume_spacing_ms=300_000).at(CONVEY)
    for _ in range(2):
        bench.run(6_000)
        bench.machine.supply_bar_g = 4.2
        bench.run_until(LEVEL_HOLD, within_ms=3_000, never=lambda b: b.step is FAULT)
        bench.machine.supply_bar_g = 7.0
        bench.run_until(VENT, within_ms=20_000)
        bench.run_until(CONVEY, within_ms=90_000, never=lambda b: b.step is FAULT)
    bench.machine.supply_bar_g = 4.2
    bench.run_until(FAULT, within_ms=3_000)
    assert bench.first_out == "SUPPLY_AIR_LOW"


def test_a_motor_seen_running_in_the_warning_cancels_it(fitted):
    """Permissives still true when the warning is over: source off proven is one of them."""
    bench = fitted(
        source_kind=1, run_feedback_fitted=True, motor_off_min_ms=1_000, start_spacing_ms=60_000
    ).at(WARNING)
    bench.run(500)
    bench.force(source_running_fb=1)
    bench.run_until(REST, within_ms=200)
