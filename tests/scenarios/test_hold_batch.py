"""Hold the batch on board, plant enable, feed low: why a receiver waits, in which order, and how it goes on."""

import pytest
from bench import Bench

from controller.sequence.steps import (
    BATCH,
    CLEAR,
    CONVEY,
    DRAIN,
    EMPTY,
    EMPTYING,
    FAULT,
    FILTER_CLEAN,
    FULL_BELOW,
    LEVEL_HOLD,
    NO_PRODUCT,
    OPEN,
    PULSE,
    RECOVER,
    REST,
    SEAL,
    SETTLE,
    SUCTION,
    UNWANTED,
    VENT,
    WARNING,
)

CLEAR_DELAY_MS, PAUSE_MS = 5_000, 60_000
HOLD = {"level_policy": 1}
ENABLE = {"plant_enable_fitted": 1}
FEED = {"feed_low_fitted": 1, "feed_low_ms": 2_000}


def opens(bench: Bench) -> bool:
    return bench.outputs.flap_open_cmd


def held(fitted, **presets) -> Bench:
    """In the hold, a batch on board, the vessel full."""
    bench = fitted(**HOLD, **presets).at(CONVEY)
    bench.run(3_000)
    bench.machine.level_free = False
    bench.run_until(LEVEL_HOLD, within_ms=20_000, never=opens)
    return bench


# ---- hold the batch ----


def test_level_high_in_convey_clears_the_line_vents_and_holds_the_batch(fitted):
    """Feed off, clear, vent, LEVEL_HOLD: the source is not cut with a full riser, the flap stays shut."""
    bench = held(fitted)
    assert bench.path == [CLEAR, VENT, LEVEL_HOLD]
    assert bench.remembers("on_board") == BATCH
    assert not bench.remembers("line_loaded")
    assert bench.on <= {"run_lamp"}
    bench.run(60_000, never=lambda b: opens(b) or b.step is not LEVEL_HOLD)


def test_finish_batch_lets_it_drop(fitted):
    bench = fitted().at(CONVEY)
    bench.run(3_000)
    bench.machine.level_free = False
    bench.run_until(DRAIN, within_ms=30_000)
    assert bench.path[0] is CLEAR
    bench.run_until(LEVEL_HOLD, within_ms=20_000)
    assert bench.remembers("on_board") == EMPTY


def test_level_high_found_in_vent_holds_the_batch(fitted):
    bench = fitted(**HOLD).at(CLEAR)
    bench.machine.air_only_kpa = 5.9  # clear lasts its 3.5 s
    bench.run(1_800)
    bench.machine.level_free = False
    bench.run_until(VENT, within_ms=2_000, never=lambda b: b.fact("vessel_full"))
    bench.run_until(LEVEL_HOLD, within_ms=10_000, never=opens)
    assert bench.remembers("on_board") == BATCH


def test_level_clear_for_the_clear_delay_empties_the_held_batch(fitted):
    bench = held(fitted)
    bench.machine.level_free = True
    assert bench.run_until(VENT, within_ms=6_000, never=opens) == pytest.approx(CLEAR_DELAY_MS, abs=20)
    bench.run_until(SEAL, within_ms=20_000)
    assert bench.path.count(DRAIN) == 1
    assert bench.remembers("on_board") == EMPTY
    bench.run_until(CONVEY, within_ms=10_000)


def test_a_held_batch_is_an_ordinary_one_and_leaves_the_clean_due_as_it_was(fitted):
    """Only what is found on board is a recovery, and always cleaned after."""
    bench = held(fitted)
    bench.preset(clean_every=50)
    bench.machine.level_free = True
    bench.run_until(SEAL, within_ms=40_000)
    assert PULSE not in bench.path


@pytest.mark.parametrize("how", ["stop", "halt"])
def test_stop_in_the_hold_keeps_the_batch_and_start_empties_it(fitted, how):
    """To IDLE at once, flap closed, batch kept on board; start goes through emptying when there is room."""
    bench = held(fitted)
    bench.request(how)
    assert bench.step is REST
    assert bench.remembers("on_board") == BATCH
    bench.machine.level_free = True
    bench.run(10_000, never=lambda b: opens(b) or b.on != set())
    bench.press_start()
    bench.run_until(DRAIN, within_ms=10_000, never=lambda b: b.step in SUCTION)
    bench.run_until(CONVEY, within_ms=30_000)


def test_started_with_a_batch_on_board_and_the_vessel_still_full_it_holds(fitted):
    bench = held(fitted)
    bench.request("stop")
    bench.run(6_000)
    bench.press_start()
    bench.run_until(LEVEL_HOLD, within_ms=4_000, never=opens)
    bench.machine.level_free = True
    bench.run_until(OPEN, within_ms=12_000)


def test_stop_pending_and_level_high_in_vent_rests_with_the_batch(fitted):
    """A hold is not entered without the latch: IDLE, batch kept on board."""
    bench = fitted(**HOLD).at(CONVEY)
    bench.run(3_000)
    bench.machine.level_free = False
    bench.run(1_000)
    bench.request("stop")
    bench.run_until(REST, within_ms=20_000, never=lambda b: opens(b) or b.step is LEVEL_HOLD)
    assert bench.path == [CLEAR, VENT, REST]
    assert bench.remembers("on_board") == BATCH


def test_a_stop_with_room_below_drops_the_batch(fitted):
    bench = fitted(**HOLD).at(CONVEY)
    bench.run(3_000)
    bench.request("stop")
    bench.run_until(REST, within_ms=40_000)
    assert bench.remembers("on_board") == EMPTY
    assert DRAIN in bench.path


def test_once_given_the_level_does_not_withdraw_the_flap(fitted):
    """Last word 3: not first given with level high; once given, it stays."""
    bench = fitted(**HOLD).at(DRAIN)
    bench.machine.level_free = False
    bench.run_until(SETTLE, within_ms=20_000, never=lambda b: not opens(b))


def test_a_batch_held_over_a_power_cut_is_emptied_first(fitted):
    bench = held(fitted)
    bench.power_cycle()
    bench.machine.level_free = True
    bench.run(9_000)
    bench.press_start()
    bench.run_until(DRAIN, within_ms=12_000, never=lambda b: b.step in SUCTION)


# ---- plant enable ----


def test_start_without_plant_enable_is_accepted_and_waits(fitted):
    """It does not refuse start: it waits and says so."""
    bench = fitted(**ENABLE).at(REST)
    bench.run(6_000)
    bench.force(plant_enable=False)
    bench.run(100)
    assert bench.press_start() == []
    bench.run_until(LEVEL_HOLD, within_ms=4_000, never=lambda b: b.step in SUCTION)
    assert bench.remembers("hold_reason") == UNWANTED
    bench.run(30_000, never=lambda b: b.step is not LEVEL_HOLD)
    bench.release("plant_enable")
    bench.run_until(SEAL, within_ms=200)
    bench.run_until(CONVEY, within_ms=10_000)


def test_plant_enable_lost_in_convey_finishes_the_batch_cleans_and_waits(fitted):
    """After the batch; a hold is certain at the end of drain: more pulses."""
    bench = fitted(**ENABLE, pulses=1, pulses_last=3).at(CONVEY)
    bench.force(plant_enable=False)
    bench.run_until(LEVEL_HOLD, within_ms=60_000)
    assert bench.remembers("hold_reason") == UNWANTED
    assert bench.path.count(PULSE) == 3
    assert bench.remembers("on_board") == EMPTY


def test_plant_enable_that_is_not_fitted_is_not_read(fitted):
    bench = fitted().at(CONVEY)
    bench.force(plant_enable=False)
    bench.run_until(SEAL, within_ms=60_000, never=lambda b: b.step is LEVEL_HOLD)


def test_plant_enable_back_after_the_batch_but_a_stop_in_between_starts_nothing(fitted):
    bench = fitted(**ENABLE).at(CONVEY)
    bench.force(plant_enable=False)
    bench.run_until(LEVEL_HOLD, within_ms=60_000)
    bench.request("stop")
    bench.release("plant_enable")
    bench.run(10_000, never=lambda b: b.step is not REST)


# ---- feed low ----


def test_feed_low_finishes_the_batch_and_waits_until_it_is_gone_and_the_pause_over(fitted):
    bench = fitted(**FEED, starved_pause_ms=20_000).at(CONVEY)
    bench.force(feed_present=False)
    bench.run_until(LEVEL_HOLD, within_ms=60_000)
    assert bench.remembers("hold_reason") == NO_PRODUCT
    bench.run(30_000, never=lambda b: b.step is not LEVEL_HOLD)
    bench.release("feed_present")
    bench.run_until(SEAL, within_ms=200)
    early = fitted(**FEED, starved_pause_ms=20_000).at(CONVEY)
    early.force(feed_present=False)
    early.run_until(LEVEL_HOLD, within_ms=60_000)
    early.run(5_000)
    early.release("feed_present")
    assert early.run_until(SEAL, within_ms=16_000) == pytest.approx(15_000, abs=30)


def test_start_with_the_feed_low_is_accepted_and_waits(fitted):
    bench = fitted(**FEED).at(REST)
    bench.force(feed_present=False)
    bench.run(6_000)
    assert bench.press_start() == []
    bench.run_until(LEVEL_HOLD, within_ms=4_000)
    assert bench.path == [WARNING, LEVEL_HOLD]
    assert bench.remembers("hold_reason") == NO_PRODUCT


def test_product_that_slides_past_the_switch_is_nothing(fitted):
    bench = fitted(**FEED).at(CONVEY)
    for _ in range(4):
        bench.force(feed_present=False)
        bench.run(1_900)
        bench.release("feed_present")
        bench.run(300)
    bench.run_until(SEAL, within_ms=60_000, never=lambda b: b.step is LEVEL_HOLD)


def test_a_bad_feed_switch_is_ignored_and_warned_of(fitted):
    bench = fitted(**FEED).at(CONVEY)
    bench.force(feed_present=False, feed_present_good=False)
    bench.run_until(SEAL, within_ms=60_000, never=lambda b: b.step is LEVEL_HOLD)
    assert "SIGNAL_BAD" in bench.acted


def test_with_a_batch_on_board_and_feed_low_start_empties_first(fitted):
    """On board not "no" comes before feed low in the warning's exits."""
    bench = held(fitted, **FEED)
    bench.request("stop")
    bench.machine.level_free = True
    bench.force(feed_present=False)
    bench.run(10_000)
    bench.press_start()
    bench.run_until(DRAIN, within_ms=10_000, never=lambda b: b.step is LEVEL_HOLD)
    bench.run_until(LEVEL_HOLD, within_ms=20_000)
    assert bench.remembers("on_board") == EMPTY


# ---- the order of the reasons ----


def test_the_first_reason_that_stands_is_named_and_it_changes_in_place(fitted):
    """full, not seen, starved, not wanted."""
    bench = fitted(**ENABLE, **FEED, starved_pause_ms=2_000).at(SETTLE)
    bench.force(plant_enable=False, feed_present=False)
    bench.machine.level_free = False
    bench.run(900)
    bench.preset(settle_ms=8_000)
    bench.run_until(LEVEL_HOLD, within_ms=10_000)
    assert bench.remembers("hold_reason") == FULL_BELOW
    bench.machine.level_free = True
    bench.run(6_000)
    assert bench.remembers("hold_reason") == NO_PRODUCT
    bench.release("feed_present")
    bench.run(2_500)
    assert bench.remembers("hold_reason") == UNWANTED
    assert bench.step is LEVEL_HOLD
    bench.machine.level_free = False
    bench.run(2_500)
    assert bench.remembers("hold_reason") == FULL_BELOW
    bench.machine.level_free = True
    bench.run(6_000)
    assert bench.remembers("hold_reason") == UNWANTED
    bench.release("plant_enable")
    bench.run_until(SEAL, within_ms=200)


@pytest.mark.parametrize("step", [*EMPTYING[1:], *FILTER_CLEAN])
def test_a_stop_pending_after_the_batch_rests_whatever_stands(fitted, step):
    """After the batch, in this order: stop first."""
    bench = fitted(**ENABLE, **FEED).at(step)
    bench.force(plant_enable=False, feed_present=False)
    bench.machine.level_free = False
    bench.request("stop")
    bench.run_until(REST, within_ms=60_000, never=lambda b: b.step in (LEVEL_HOLD, FAULT))


def test_the_last_clean_counts_recoveries_of_its_pulses(fitted):
    """Each pulse is followed by its recovery time, the last too."""
    bench = fitted(**ENABLE, pulses=1, pulses_last=3).at(DRAIN)
    bench.force(plant_enable=False)
    bench.run_until(SETTLE, within_ms=30_000)
    assert bench.path.count(RECOVER) == bench.path.count(PULSE) == 3


def test_without_any_pulses_the_hold_follows_the_drain(fitted):
    """No clean is ever due where no pulses are set."""
    bench = fitted(**ENABLE, pulses=0, pulses_last=0).at(DRAIN)
    bench.force(plant_enable=False)
    bench.run_off(within_ms=5_000)
    assert bench.step is LEVEL_HOLD
    assert bench.remembers("hold_reason") == UNWANTED
