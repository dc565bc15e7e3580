"""Low probe and refill on low, a level that was never seen, a probe that chatters, holds that last too long."""

import pytest
from bench import Bench

from controller.sequence.steps import (
    BATCH,
    CONVEY,
    DRAIN,
    DRAWING,
    EMPTY,
    FAULT,
    FULL_BELOW,
    LEVEL_HOLD,
    NOT_SEEN_BELOW,
    OPEN,
    REST,
    SEAL,
    SETTLE,
    VENT,
)

CLEAR_MS, ON_MS, MINUTE_MS = 5_000, 2_000, 60_000
LOW = {"level_low_fitted": 1, "level_disagree_ms": 10_000}
REFILL = {**LOW, "refill_on_low": 1}


def moves(bench: Bench) -> bool:
    return bench.step is not LEVEL_HOLD


# ---- refill on low ----


def test_refill_on_low_waits_for_the_low_probe_not_for_the_clear_delay(fitted):
    bench = fitted(**REFILL).at(LEVEL_HOLD)
    bench.machine.level_free = True
    bench.run(60_000, never=moves)
    bench.machine.low_covered = False
    assert bench.run_until(SEAL, within_ms=3_000) == pytest.approx(ON_MS, abs=20)


def test_without_refill_on_low_the_clear_delay_counts(fitted):
    bench = fitted(**LOW).at(LEVEL_HOLD)
    bench.machine.level_free = True
    assert bench.run_until(SEAL, within_ms=6_000) == pytest.approx(CLEAR_MS, abs=20)


def test_refill_on_low_fills_until_high_again(fitted):
    """It starts on low and stops on high: covered low between the batches is no hold."""
    bench = fitted(**REFILL).at(LEVEL_HOLD)
    bench.machine.level_free, bench.machine.low_covered = True, False
    bench.run_until(CONVEY, within_ms=20_000)
    bench.machine.low_covered = True
    bench.run_until(DRAIN, within_ms=30_000)
    bench.run_until(CONVEY, within_ms=30_000, never=lambda b: b.step is LEVEL_HOLD)
    bench.machine.level_free = False
    bench.run_until(LEVEL_HOLD, within_ms=60_000)
    assert bench.remembers("hold_reason") == FULL_BELOW


def test_a_bad_low_probe_leaves_refill_to_the_level_high(fitted):
    """SIGNAL_BAD: level low → not low, refill by level high."""
    bench = fitted(**REFILL).at(LEVEL_HOLD)
    bench.force(level_low_good=False, level_low_covered=False)
    bench.machine.level_free = True
    assert bench.run_until(SEAL, within_ms=6_000) == pytest.approx(CLEAR_MS, abs=20)
    assert "SIGNAL_BAD" in bench.acted


def test_a_low_probe_that_is_not_fitted_is_not_read(fitted):
    bench = fitted(refill_on_low=1).at(LEVEL_HOLD)
    bench.force(level_low_good=False, level_low_covered=False)
    bench.machine.level_free = True
    assert bench.run_until(SEAL, within_ms=6_000) == pytest.approx(CLEAR_MS, abs=20)
    assert not bench.acted.keys() & {"SIGNAL_BAD", "LEVEL_DISAGREES"}


# ---- LEVEL_DISAGREES ----


@pytest.mark.parametrize("station", [LOW, REFILL], ids=["clear delay", "refill on low"])
def test_high_covered_while_low_is_uncovered_warns_and_counts_as_high(fitted, station):
    """Probe caked, or a rat-hole: full all the same, nothing is filled on top."""
    bench = fitted(**station).at(LEVEL_HOLD)
    bench.machine.low_covered = False
    bench.run(11_500, never=lambda b: moves(b) or "LEVEL_DISAGREES" in b.acts)
    bench.run(20_000, never=moves)
    assert "LEVEL_DISAGREES" in bench.acts


@pytest.mark.parametrize("step", [REST, FAULT, SEAL, CONVEY])
def test_the_two_probes_are_compared_always(fitted, step):
    bench = fitted(**LOW).at(step, fill_ms=60_000, tank_charge_ms=20_000)
    bench.machine.level_free = bench.machine.low_covered = False
    bench.run(14_100)
    assert "LEVEL_DISAGREES" in bench.acts


def test_falling_product_is_no_disagreement(fitted):
    """While product falls past the high probe the fact is masked."""
    bench = fitted(**LOW).at(OPEN, drain_ms=30_000)
    bench.machine.level_free = bench.machine.low_covered = False
    bench.run_until(SETTLE, within_ms=60_000, never=lambda b: "LEVEL_DISAGREES" in b.acts)


# ---- LEVEL_NOT_SEEN ----

NOT_SEEN = {"not_seen_batches": 3}


def dropped(bench: Bench, batches: int) -> None:
    bench.scan_ms = 20
    for _ in range(batches):
        bench.run_until(DRAIN, within_ms=60_000, never=lambda b: b.step in (LEVEL_HOLD, FAULT))
        bench.run_off(within_ms=5_000)


def at_the_fourth(fitted, **presets) -> Bench:
    """The level has not been seen through three batches; the fourth is drawn and waits before the flap."""
    bench = fitted(**NOT_SEEN, **presets).at(REST)
    bench.run(6_000)
    bench.force(level_free=False)
    bench.run(3_000)
    bench.release("level_free")
    bench.run(6_000)
    assert bench.remembers("unseen_batches") == 0
    bench.press_start()
    dropped(bench, 3)
    return bench


def test_more_delivered_than_the_vessel_explains_holds_with_the_batch_on_board(fitted):
    """Looked at before the flap opens: on board, flap shut, reason not seen; it stays so."""
    bench = at_the_fourth(fitted)
    bench.run_until(LEVEL_HOLD, within_ms=60_000, never=lambda b: b.step in (OPEN, DRAIN))
    assert bench.remembers("hold_reason") == NOT_SEEN_BELOW
    assert bench.remembers("on_board") == BATCH
    assert "LEVEL_NOT_SEEN" in bench.acted
    bench.run(60_000, never=lambda b: moves(b) or b.outputs.flap_open_cmd)


def test_somebody_who_looked_lets_it_go_on(fitted):
    bench = at_the_fourth(fitted)
    bench.run_until(LEVEL_HOLD, within_ms=60_000)
    bench.request("vessel_seen", remote=True)
    bench.run_until(OPEN, within_ms=2_000)
    assert VENT in bench.path[-2:]
    bench.run_until(SEAL, within_ms=30_000)
    assert bench.remembers("on_board") == EMPTY


def test_it_begins_to_count_anew_after_the_look(fitted):
    bench = at_the_fourth(fitted)
    bench.run_until(LEVEL_HOLD, within_ms=60_000)
    bench.request("vessel_seen")
    dropped(bench, 3)
    bench.run_until(LEVEL_HOLD, within_ms=60_000)


def test_with_the_effect_trip_it_trips_before_the_flap_opens(fitted):
    bench = at_the_fourth(fitted, not_seen_effect=1)
    bench.run_until(VENT, within_ms=60_000)
    bench.run_to_trip("LEVEL_NOT_SEEN", within_ms=8_000, never=lambda b: b.outputs.flap_open_cmd)
    assert bench.remembers("on_board") == BATCH


def test_a_level_seen_covered_is_certain(fitted):
    """Full once is the certain level: the count begins anew."""
    bench = at_the_fourth(fitted)
    bench.run_until(SEAL, within_ms=20_000)
    bench.machine.level_free = False
    bench.run_until(LEVEL_HOLD, within_ms=8_000)
    assert bench.remembers("hold_reason") == FULL_BELOW
    bench.machine.level_free = True
    bench.run_until(SEAL, within_ms=8_000)
    dropped(bench, 3)


def test_a_low_probe_seen_uncovered_is_certain(fitted):
    bench = at_the_fourth(fitted, **LOW)
    bench.run_until(CONVEY, within_ms=20_000)
    bench.machine.low_covered = False
    bench.run(3_000)
    bench.machine.low_covered = True
    dropped(bench, 1)


def test_guaranteed_consumption_explains_batches(fitted):
    """A batch is surely used in 20 s: it never gets ahead of the vessel."""
    bench = fitted(**NOT_SEEN, batch_use_ms=20_000).at(REST)
    bench.run(6_000)
    bench.press_start()
    dropped(bench, 6)
    assert "LEVEL_NOT_SEEN" not in bench.acted


def test_off_it_is_not_looked_at(fitted):
    bench = fitted().at(CONVEY)
    dropped(bench, 5)
    assert "LEVEL_NOT_SEEN" not in bench.acted


def test_a_stop_in_the_hold_keeps_the_batch_and_the_next_start_looks_again(fitted):
    bench = at_the_fourth(fitted)
    bench.run_until(LEVEL_HOLD, within_ms=60_000)
    bench.request("stop")
    assert bench.step is REST
    assert bench.remembers("on_board") == BATCH
    bench.run(6_000)
    assert bench.press_start() == []
    bench.run(20_000, never=lambda b: b.outputs.flap_open_cmd or b.step in DRAWING)
    assert bench.step is LEVEL_HOLD
    assert bench.remembers("hold_reason") == NOT_SEEN_BELOW


def test_empty_with_the_level_not_seen_is_refused_with_a_reason_or_empties(fitted):
    """A command is refused with a reason, never silently ignored."""
    bench = at_the_fourth(fitted)
    bench.run_until(LEVEL_HOLD, within_ms=60_000)
    bench.request("stop")
    bench.run(6_000)
    if bench.request("empty") == []:
        bench.run_until(DRAIN, within_ms=20_000)


def test_what_was_delivered_unseen_outlives_the_power(fitted):
    bench = at_the_fourth(fitted)
    bench.power_cycle()
    assert bench.remembers("unseen_batches") == 3


# ---- LEVEL_CHATTERS, LEVEL_NEVER_CLEARS, BATCH_HELD ----


def test_more_than_ten_changes_a_minute_outside_the_mask_chatter(fitted):
    bench = fitted().at(REST)
    for _ in range(8):
        for free in (False, True):
            bench.machine.level_free = free
            bench.run(1_500)
    assert "LEVEL_CHATTERS" in bench.acted
    bench.scan_ms = 50
    bench.run(2 * MINUTE_MS)
    assert "LEVEL_CHATTERS" not in bench.acts


def test_a_level_on_the_edge_that_changes_six_times_a_minute_does_not(fitted):
    bench = fitted().at(REST)
    bench.scan_ms = 50
    for _ in range(9):
        for free in (False, True):
            bench.machine.level_free = free
            bench.run(10_000, never=lambda b: "LEVEL_CHATTERS" in b.acts)


def test_falling_product_past_the_probe_does_not_chatter(fitted):
    """Outside the mask only."""
    bench = fitted().at(DRAIN, drain_ms=60_000)
    for _ in range(20):
        for free in (False, True):
            bench.machine.level_free = free
            bench.run(500, never=lambda b: "LEVEL_CHATTERS" in b.acts)
    assert bench.step is DRAIN


def test_a_level_that_never_clears_warns_and_holds_on(fitted):
    bench = fitted(level_never_clears_ms=MINUTE_MS).at(LEVEL_HOLD)
    bench.scan_ms = 50
    bench.run(MINUTE_MS - 100, never=lambda b: "LEVEL_NEVER_CLEARS" in b.acts)
    bench.run(10_000, never=moves)
    assert "LEVEL_NEVER_CLEARS" in bench.acts
    assert "BATCH_HELD" not in bench.acted, "nothing on board"


def test_a_batch_held_for_long_warns(fitted):
    """A batch on board may set."""
    bench = fitted(level_policy=1, batch_held_ms=MINUTE_MS).at(CONVEY)
    bench.machine.level_free = False
    bench.run_until(LEVEL_HOLD, within_ms=20_000)
    assert bench.remembers("on_board") == BATCH
    bench.scan_ms = 50
    bench.run(MINUTE_MS - 100, never=lambda b: "BATCH_HELD" in b.acts)
    bench.run(1_000)
    assert "BATCH_HELD" in bench.acts
