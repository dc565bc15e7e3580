"""A flap that no valve moves: shut by its counterweight or at last by the vacuum, opened by the batch."""

import pytest
from bench import Bench

from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    DRAWING,
    EMPTY,
    FAULT,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    PURGE,
    RECOVER,
    REST,
    SEAL,
    SETTLE,
    VENT,
)

PULL_IN_MS, SHUT_MS, TRAVEL_MS, DRAIN_MS = 1_500, 500, 2_500, 4_000
COUNTERWEIGHT = {"flap_kind": 1, "flap_shut_ms": SHUT_MS}
VACUUM_HELD = {"flap_kind": 2, "flap_shut_ms": SHUT_MS, "flap_pull_in_ms": PULL_IN_MS}
KINDS = pytest.mark.parametrize("kind", [COUNTERWEIGHT, VACUUM_HELD], ids=["counterweight", "vacuum-held"])
ALL = (SEAL, DRAW, CONVEY, CLEAR, VENT, OPEN, DRAIN, PULSE, RECOVER, SETTLE)


def commanded(bench: Bench) -> bool:
    return bench.outputs.flap_open_cmd or bench.outputs.flap_close_cmd


def delivers(bench: Bench) -> None:
    """Run on to a whole batch that drops."""
    bench.scan_ms = 20
    bench.run_until(CONVEY, within_ms=120_000, never=lambda b: b.step is FAULT)
    bench.run_until(DRAIN, within_ms=40_000, never=lambda b: b.step is FAULT)
    bench.run_until(CONVEY, within_ms=40_000, never=lambda b: b.step is FAULT)


# ---- the normal batch ----


@KINDS
def test_a_whole_batch_without_any_command_to_the_flap(fitted, kind):
    bench = fitted(**kind).at(CONVEY)
    bench.run_until(SEAL, within_ms=60_000, never=commanded)
    bench.run_until(CONVEY, within_ms=20_000, never=commanded)
    steps = [step for step in bench.path if step not in (PULSE, RECOVER)]
    assert steps == [CLEAR, VENT, OPEN, DRAIN, SETTLE, SEAL, DRAW, CONVEY]


@KINDS
def test_drain_ends_when_the_flap_has_been_shut_again_for_its_time(fitted, kind):
    """Swung shut is empty: the whole emptying time is not waited for."""
    bench = fitted(**kind).at(DRAIN)
    bench.machine.batch_s = 1.0
    while not bench.machine.flap_place < 0.02:
        bench.scan()
    shut_ms = bench.now_ms
    bench.run_off(within_ms=1_000)
    assert bench.now_ms - shut_ms == pytest.approx(SHUT_MS, abs=60)
    bench.run_until(SEAL, within_ms=20_000)
    assert bench.remembers("on_board") == EMPTY


@KINDS
def test_pulses_are_given_with_the_flap_hanging_closed_vent_open_and_source_off(fitted, kind):
    bench, pulses = fitted(**kind).at(DRAIN), 0
    while bench.step is not SEAL:
        bench.scan()
        if bench.outputs.pulse_1_cmd:
            pulses += 1
            assert bench.machine.flap_place < 0.02
            assert bench.on & {"source", "vent_close"} == set()
    assert pulses == 2 * 12


@KINDS
def test_clean_at_rest_pulses_without_product_and_comes_back(fitted, kind):
    bench, pulses = fitted(**kind).at(REST), 0
    bench.run(6_000)
    assert bench.request("clean") == []
    bench.run_until(PULSE, within_ms=20_000)
    while bench.step is not REST:
        bench.scan()
        pulses += bench.outputs.pulse_1_cmd
        assert bench.now_ms < 120_000
        assert bench.step is not FAULT
    assert pulses > 0


# ---- closing: by the vacuum ----


def test_ajar_in_seal_the_vacuum_pulls_it_in(fitted):
    """`seal` passes, the source starts, and closed comes within the pull-in time; convey only then."""
    bench = fitted(**VACUUM_HELD).at(SEAL)
    bench.machine.ajar = bench.machine.flap_place = 0.3
    bench.run_until(DRAW, within_ms=6_000)
    assert bench.machine.flap_place > 0.02
    bench.run_until(CONVEY, within_ms=PULL_IN_MS, never=lambda b: b.step is FAULT)
    assert bench.machine.flap_place < 0.02
    bench.machine.ajar = 0.0
    delivers(bench)


def test_not_pulled_in_within_its_time_the_source_goes_off_and_it_trips(fitted):
    bench = fitted(**VACUUM_HELD).at(SETTLE)
    bench.machine.seat_free = False
    bench.machine.flap_place = 0.5
    bench.run_until(DRAW, within_ms=8_000)
    took_ms = bench.run_to_trip(
        "FLAP_NOT_CLOSED", within_ms=2_000, never=lambda b: b.outputs.feed_cmd or b.step is CONVEY
    )
    assert took_ms == pytest.approx(PULL_IN_MS, abs=30)


@pytest.mark.parametrize("seat_free", [True, False])
def test_a_purge_too_pulls_the_flap_in_or_trips(fitted, seat_free):
    """The line is loaded: the source first acts in purge."""
    bench = fitted(**VACUUM_HELD).at(CONVEY)
    bench.request("halt")
    bench.run(6_000)
    bench.press_start()
    bench.run_until(SEAL, within_ms=40_000)
    bench.machine.ajar = bench.machine.flap_place = 0.5
    bench.machine.seat_free = seat_free
    bench.run_until(PURGE, within_ms=8_000)
    if seat_free:
        bench.run_until(CONVEY, within_ms=10_000, never=lambda b: b.step is FAULT)
    else:
        assert bench.run_to_trip("FLAP_NOT_CLOSED", within_ms=2_000) == pytest.approx(PULL_IN_MS, abs=30)


def test_a_counterweight_must_have_shut_the_flap_before_the_source_starts(fitted):
    """Travel time over, not proven: no valve could re-open it, so FLAP_NOT_CLOSED at once."""
    bench = fitted(**COUNTERWEIGHT).at(SETTLE)
    bench.run_until(SEAL, within_ms=2_000)
    bench.machine.seat_free, bench.machine.flap_place = False, 0.5
    took_ms = bench.run_to_trip(
        "FLAP_NOT_CLOSED", within_ms=6_000, never=lambda b: b.outputs.source_cmd or commanded(b)
    )
    assert took_ms >= TRAVEL_MS


@KINDS
def test_the_seat_lost_while_drawing_trips(fitted, kind):
    for step in (DRAW, CONVEY, CLEAR):
        bench = fitted(**kind).at(step)
        bench.run(100)
        bench.force(flap_closed_fb=False)
        bench.run_to_trip("FLAP_LOST_CLOSED", within_ms=200)


# ---- opening: by the batch ----


@KINDS
def test_a_batch_that_does_not_open_the_flap_is_vented_again_once_then_it_trips(fitted, kind):
    bench = fitted(**kind).at(VENT)
    bench.force(flap_closed_fb=True)
    bench.run_to_trip("FLAP_NOT_OPEN", within_ms=20_000)
    assert bench.path == [OPEN, VENT, OPEN, FAULT]


@KINDS
def test_with_nothing_on_board_open_passes_after_its_time(fitted, kind):
    """Asked to empty a receiver that may be empty: closed stays, and that is no fault."""
    bench = fitted(**kind).new()
    bench.run(6_000)
    assert bench.request("empty") == []
    bench.run_until(OPEN, within_ms=10_000)
    assert bench.run_until(DRAIN, within_ms=4_000, never=commanded) == TRAVEL_MS
    bench.run_until(REST, within_ms=40_000, never=lambda b: b.step is FAULT)
    assert bench.remembers("on_board") == EMPTY


@KINDS
def test_product_that_hangs_gets_one_clean_then_trips(fitted, kind):
    """Still open after the emptying time: one clean, and when that did not help, a trip."""
    bench = fitted(**kind).at(OPEN, clean_every=50)
    bench.machine.hangs = True
    bench.run_until(DRAIN, within_ms=1_000)
    bench.run_until(PULSE, within_ms=DRAIN_MS + 50)
    bench.run_to_trip("FLAP_NOT_CLOSED", within_ms=20_000, never=lambda b: b.outputs.source_cmd)
    assert bench.path.count(SETTLE) == 1


@KINDS
def test_product_that_the_clean_shakes_loose_is_a_batch_like_others(fitted, kind):
    bench = fitted(**kind).at(OPEN, clean_every=50)
    bench.machine.hangs = True
    bench.run_until(RECOVER, within_ms=10_000)
    bench.machine.hangs = False
    delivers(bench)


# ---- rows that are not looked at ----


@KINDS
@pytest.mark.parametrize("step", [REST, LEVEL_HOLD, DRAIN, PULSE, SETTLE])
def test_rows_of_a_driven_flap_are_not_looked_at(fitted, kind, step):
    """FLAP_MOVED, FLAP_LOST_OPEN, FLAP_DISAGREES: closed going or coming, and an open switch that nobody wired."""
    for closed, opened in ((0, 0), (0, 1), (1, 1)):
        bench = fitted(**kind).at(step, settle_ms=4_000)
        bench.run(50)
        bench.force(flap_closed_fb=closed, flap_open_fb=opened)
        bench.run(3_500, never=lambda b: b.step is FAULT or b.acts & {"FLAP_MOVED", "FLAP_DISAGREES"})


@KINDS
def test_an_open_switch_that_nobody_wired_does_not_refuse_start(fitted, kind):
    bench = fitted(**kind).at(REST)
    bench.force(flap_open_fb=True)
    bench.run(6_000)
    assert bench.press_start() == []


# ---- any loss of the source drops the batch ----


@KINDS
@pytest.mark.parametrize("how", ["halt", "trip", "power"])
def test_a_loss_of_the_source_drops_the_batch_and_nobody_calls_it_empty(fitted, kind, how):
    bench = fitted(**kind).at(CONVEY)
    bench.run(5_000)
    if how == "halt":
        bench.request("halt")
    elif how == "trip":
        bench.force(safety_chain_healthy=False)
        bench.scan()
        bench.release("safety_chain_healthy")
    else:
        bench.power_cycle(off_ms=2_000)
    bench.run(3_000)
    assert bench.machine.batch_s == 0.0, "it fell"
    assert bench.remembers("on_board") != EMPTY
    if bench.step is FAULT:
        bench.press_reset()
    bench.run(3_000)
    bench.press_start()
    bench.run_until(VENT, within_ms=5_000, never=lambda b: b.step in DRAWING)
    delivers(bench)


@KINDS
def test_a_pause_for_air_drops_the_batch_too(fitted, kind):
    """Low air as `wait`: what was drawn is gone when the air is back; it is emptied, not gone on with."""
    bench = fitted(**kind).at(CONVEY, supply_low_effect=1, resume_stop_ms=5_000)
    bench.run(5_000)
    bench.machine.supply_bar_g = 4.2
    bench.run_until(LEVEL_HOLD, within_ms=1_200)
    bench.run(3_000)
    assert bench.machine.batch_s == 0.0
    assert bench.remembers("on_board") != EMPTY
    bench.machine.supply_bar_g = 7.0
    delivers(bench)


def lost(bench: Bench, how: str) -> None:
    """The source is lost, and what a person may do gives the way back."""
    if how == "air":
        bench.machine.supply_bar_g = 4.2
        bench.run_until(LEVEL_HOLD, within_ms=1_200)
        bench.machine.supply_bar_g = 7.0
        return
    if how == "halt":
        bench.request("halt")
    elif how == "stop in the pause":
        bench.machine.supply_bar_g = 4.2
        bench.run_until(LEVEL_HOLD, within_ms=1_200)
        bench.request("stop")
        bench.machine.supply_bar_g = 7.0
    else:
        bench.force(safety_chain_healthy=False)
        bench.scan()
        bench.release("safety_chain_healthy")
    bench.run(6_000)
    if bench.step is FAULT:
        bench.press_reset()
    assert bench.press_start() == []


@KINDS
@pytest.mark.parametrize("how", ["air", "stop in the pause", "halt", "trip"])
@pytest.mark.parametrize("drawn_ms", [2_000, 10_000])
def test_little_drawn_before_the_source_was_lost_passes_a_shut_flap_once(fitted, kind, how, drawn_ms):
    """Under half a fill may not open it, whatever took the source away; over half of it, it sticks: a trip."""
    bench = fitted(**kind).at(CONVEY, supply_low_effect=1, resume_stop_ms=5_000)
    bench.force(flap_closed_fb=True)
    bench.run(drawn_ms)
    lost(bench, how)
    bench.run_until(OPEN, within_ms=20_000)
    bench.run_off(within_ms=3_000)
    assert bench.step is (DRAIN if drawn_ms < 8_000 else VENT)


@KINDS
@pytest.mark.parametrize(
    "step",
    ALL,
    ids=lambda step: step.name,
)
def test_every_way_back_leads_to_a_delivering_receiver(fitted, kind, step):
    """Halt, trip and loss of power in every step; then whatever a person may do: reset, start."""
    for how in ("halt", "trip", "power"):
        bench = fitted(**kind).at(step)
        bench.run(100)
        if how == "halt":
            bench.request("halt")
        elif how == "trip":
            bench.force(safety_chain_healthy=False)
            bench.scan()
            bench.release("safety_chain_healthy")
        else:
            bench.power_cycle()
        bench.scan_ms = 20
        bench.run(7_000)
        if bench.step is FAULT:
            assert bench.press_reset() == []
            bench.run(200)
        assert bench.step is REST
        assert bench.press_start() == []
        bench.run_until(CONVEY, within_ms=120_000, never=lambda b: b.step is FAULT)


@KINDS
@pytest.mark.parametrize("step", [CONVEY, CLEAR, VENT, OPEN, DRAIN, SETTLE], ids=lambda step: step.name)
def test_a_stop_ends_in_an_empty_receiver(fitted, kind, step):
    bench = fitted(**kind).at(step)
    bench.request("stop")
    bench.run_until(REST, within_ms=60_000, never=lambda b: b.step is FAULT or b.outputs.feed_cmd)
    assert bench.remembers("on_board") == EMPTY
