"""The high level below: masked while product falls, settled before it is decided on, full when in doubt."""

import pytest
from bench import Bench

from controller.sequence.steps import (
    BATCH,
    CONVEY,
    DRAIN,
    DRAW,
    FULL_BELOW,
    LEVEL_HOLD,
    NO_PRODUCT,
    OPEN,
    PURGE,
    REOPEN,
    REST,
    SEAL,
    SETTLE,
    VENT,
    WARNING,
)


def full(bench: Bench) -> bool:
    return bench.fact("vessel_full")


def test_product_falling_past_the_probe_is_not_a_full_vessel(at):
    """Masked from flap-open given until 1.5 s after the end of drain: covered all that time means nothing."""
    bench = at(OPEN)
    bench.machine.level_free = False
    bench.run_until(DRAIN, within_ms=1_000)
    bench.run_until(SETTLE, within_ms=5_000 + 4_000, never=lambda b: b.step is DRAIN and full(b))
    other = at(OPEN)
    other.machine.level_free = False
    other.run_until(DRAIN, within_ms=1_000)
    other.run_off(within_ms=4_100)
    other.run(1_400)
    other.machine.level_free = True
    other.run_until(CONVEY, within_ms=20_000, never=lambda b: full(b) or b.step is LEVEL_HOLD)


def test_covered_on_behind_the_mask_counts_after_its_on_delay(at):
    """Mask 1.5 s after the end of drain, then 2 s: full, and the batch's end holds."""
    bench = at(DRAIN, settle_ms=5_000)
    bench.machine.level_free = False
    bench.run_off(within_ms=4_100)
    bench.run(3_400, never=full)
    bench.run(150)
    assert full(bench)
    bench.run_until(LEVEL_HOLD, within_ms=10_000, never=lambda b: b.outputs.source_cmd)


def test_while_masked_the_fact_keeps_its_last_value(at):
    """Full before the flap opens, free while product falls: it stays full until seen free again."""
    bench = at(CONVEY)
    bench.machine.level_free = False
    bench.run_until(OPEN, within_ms=20_000)
    assert full(bench)
    bench.machine.level_free = True
    bench.run_until(DRAIN, within_ms=1_000)
    bench.run(3_900, never=lambda b: not full(b))


def test_seal_waits_until_the_level_is_settled(at):
    """No clean between the batches: 1.5 s of mask and 2 s of on-delay behind the drain, not 1 s of charge."""
    bench = at(DRAIN, clean_every=50)
    bench.run_until(SEAL, within_ms=5_000)
    assert bench.run_until(DRAW, within_ms=6_000) == pytest.approx(3_500, abs=20)


def test_a_level_found_full_in_seal_holds_before_any_product_is_drawn(at):
    """Decided again in seal: covered behind the mask, flap proven closed, LEVEL_HOLD."""
    bench = at(DRAIN, clean_every=50)
    bench.machine.level_free = False
    bench.run_until(SEAL, within_ms=5_000)
    bench.run_until(LEVEL_HOLD, within_ms=6_000, never=lambda b: b.outputs.source_cmd)
    assert bench.remembers("hold_reason") == FULL_BELOW


@pytest.mark.parametrize("purges", [False, True], ids=["to draw", "to purge"])
def test_no_batch_begins_with_level_high(at, purges):
    """Covered for 2 s in a long seal, whether the line is loaded or not."""
    bench = at(PURGE if purges else SEAL)
    if purges:
        bench.request("halt")
        bench.run(6_000)
        bench.press_start()
    bench.preset(tank_charge_ms=5_000)
    bench.run_until(SEAL, within_ms=40_000)
    bench.machine.level_free = False
    bench.run_until(LEVEL_HOLD, within_ms=8_000, never=lambda b: b.outputs.source_cmd)


def test_at_power_up_the_vessel_counts_as_full_until_seen_otherwise(new):
    """True at power-up: a start without warning time waits until the probe has shown 2 s of free."""
    bench = new(warning_ms=0)
    bench.run(300)
    assert bench.press_start() == []
    assert bench.step is LEVEL_HOLD
    bench.run(1_000, never=lambda b: b.step is not LEVEL_HOLD)
    bench.run_until(VENT, within_ms=6_000)


def test_full_after_the_warning_holds_instead_of_drawing_or_emptying(at):
    """Level high after the horn: LEVEL_HOLD, nothing on board or a batch on board."""
    for step, on_board in ((REST, 0), (CONVEY, BATCH)):
        bench = at(step)
        if step is CONVEY:
            bench.request("halt")
        bench.machine.level_free = False
        bench.run(6_000)
        bench.press_start()
        bench.run_until(LEVEL_HOLD, within_ms=4_000)
        assert bench.remembers("on_board") == on_board


def test_full_during_convey_finishes_the_batch_and_drops_it(at):
    """Level policy `finish batch`: freeboard takes this one; then it holds."""
    bench = at(CONVEY)
    bench.machine.level_free = False
    bench.run_until(LEVEL_HOLD, within_ms=60_000)
    assert bench.path[-1] is LEVEL_HOLD
    assert DRAIN in bench.path
    assert SEAL not in bench.path
    assert bench.path.count(SETTLE) == 1


def test_the_hold_ends_only_when_the_level_is_clear_for_the_clear_delay(at):
    """Clear for 5 s, every collapse of the heap begins the delay anew; then SUCTION."""
    bench = at(LEVEL_HOLD)
    for _ in range(3):
        bench.machine.level_free = True
        bench.run(4_900, never=lambda b: b.step is not LEVEL_HOLD)
        bench.machine.level_free = False
        bench.run(50, never=lambda b: b.step is not LEVEL_HOLD)
    bench.machine.level_free = True
    assert bench.run_until(SEAL, within_ms=6_000) == pytest.approx(5_000, abs=20)


def test_the_hold_with_a_batch_on_board_empties_when_clear(at):
    bench = at(CONVEY)
    bench.request("halt")
    bench.machine.level_free = False
    bench.run(6_000)
    bench.press_start()
    bench.run_until(LEVEL_HOLD, within_ms=4_000)
    bench.machine.level_free = True
    assert bench.run_until(VENT, within_ms=6_000) == pytest.approx(5_000, abs=20)
    bench.run_until(SEAL, within_ms=30_000)
    assert SETTLE in bench.path, "a recovery emptying is always followed by a clean"


def test_a_level_covered_for_less_than_its_on_delay_is_not_full(at):
    bench = at(CONVEY)
    for _ in range(3):
        bench.machine.level_free = False
        bench.run(1_950)
        bench.machine.level_free = True
        bench.run(2_100)
    assert not full(bench)


def test_a_level_that_flutters_lets_no_batch_begin_and_does_not_hang(at):
    """Never settled: neither draws nor waits in seal for ever; in doubt the vessel is full."""
    bench = at(SETTLE)
    for _ in range(100):
        bench.machine.level_free = not bench.machine.level_free
        bench.run(300, never=lambda b: b.outputs.source_cmd)
    assert bench.step is LEVEL_HOLD


def test_with_a_stop_pending_a_full_vessel_means_rest_and_not_hold(at):
    bench = at(CONVEY)
    bench.machine.level_free = False
    bench.run(3_000)
    bench.request("stop")
    bench.run_until(REST, within_ms=40_000, never=lambda b: b.step is LEVEL_HOLD)


def test_full_is_the_first_reason_and_reasons_change_in_place(at):
    """Starved, then full, then starved again when the level is clear and the pause not over."""
    bench = at(CONVEY, short_batches_max=1)
    bench.machine.conveying_kpa = 4.3
    bench.run_until(LEVEL_HOLD, within_ms=40_000)
    assert bench.remembers("hold_reason") == NO_PRODUCT
    bench.machine.level_free = False
    bench.run(2_100, never=lambda b: b.step is not LEVEL_HOLD)
    assert bench.remembers("hold_reason") == FULL_BELOW
    bench.machine.level_free = True
    bench.run(5_100, never=lambda b: b.step is not LEVEL_HOLD)
    assert bench.remembers("hold_reason") == NO_PRODUCT


def test_the_mask_covers_a_reopening_until_the_flap_has_closed_again(at):
    """In reopen masked until 1.5 s after flap-open is withdrawn; seal waits for the level behind it."""
    bench = at(REOPEN)
    bench.machine.level_free = False
    bench.run_until(SEAL, within_ms=2_000)
    bench.run(1_400)
    bench.machine.level_free = True
    bench.run_until(DRAW, within_ms=8_000, never=full)


def test_the_mask_covers_the_whole_clean_of_a_clean_order(at):
    """Command clean: masked until after flap-open is withdrawn, whatever the pulses shake down."""
    bench = at(REST)
    bench.run(6_000)
    bench.request("clean")
    bench.run_until(OPEN, within_ms=5_000)
    bench.machine.level_free = False
    bench.run_until(REST, within_ms=15_000, never=full)
    bench.run(1_400, never=full)
    bench.run(2_200)
    assert full(bench)


def test_level_high_in_warning_of_a_run_is_decided_when_the_warning_is_over(at):
    """Covered shortly and free again before the horn ends: the run goes to seal."""
    bench = at(WARNING)
    bench.machine.level_free = False
    bench.run(500)
    bench.machine.level_free = True
    bench.run_until(SEAL, within_ms=3_000)
