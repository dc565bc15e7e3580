"""Stop and halt in every step: the table of the narrative, cell by cell."""

import pytest
from bench import Bench

from controller.sequence.steps import (
    BATCH,
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    EMPTY,
    FAULT,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    PURGE,
    RECOVER,
    REOPEN,
    REST,
    SEAL,
    SETTLE,
    VENT,
    WARNING,
)

TO_REST = (WARNING, SEAL, REOPEN, LEVEL_HOLD)
TO_CLEAR = (PURGE, DRAW, CONVEY)
GOES_ON = (CLEAR, VENT, OPEN, DRAIN, PULSE, RECOVER, SETTLE)
ALL = (*TO_REST, *TO_CLEAR, *GOES_ON)


def name(step) -> str:
    return step.name


def by_wire(bench: Bench) -> None:
    bench.force(stop_healthy=False)
    bench.scan()
    bench.release("stop_healthy")


def by_request(bench: Bench) -> None:
    bench.request("stop")


STOPS = pytest.mark.parametrize("stop", [by_wire, by_request])


@STOPS
@pytest.mark.parametrize("step", TO_REST, ids=name)
def test_stop_before_anything_is_drawn_goes_to_rest_at_once(at, step, stop):
    """Warning cancelled, seal and reopen nothing drawn, hold: rest in this scan, flap shut, vent open."""
    bench = at(step)
    bench.run(50)
    stop(bench)
    assert bench.step is REST
    assert not bench.on
    bench.run(10_000, never=lambda b: b.step is not REST)


@STOPS
@pytest.mark.parametrize("step", TO_CLEAR, ids=name)
def test_stop_while_drawing_clears_the_line_drops_the_batch_cleans_and_rests(at, step, stop):
    """Feed off, clear, emptying, last clean (more pulses), rest; nothing is drawn again."""
    bench = at(step)
    bench.run(50)
    bench.history.clear()
    stop(bench)
    assert bench.step is CLEAR
    assert "feed" not in bench.on
    assert "purge" in bench.on
    bench.run_until(REST, within_ms=40_000)
    assert bench.path == [CLEAR, VENT, OPEN, DRAIN, *[PULSE, RECOVER] * 4, SETTLE, REST]
    assert bench.remembers("on_board") == EMPTY
    assert not bench.remembers("line_loaded")


@STOPS
@pytest.mark.parametrize("step", GOES_ON, ids=name)
def test_stop_later_goes_on_to_the_last_clean_and_rests(at, step, stop):
    """From clear on the cycle is finished: the batch is dropped, the filter cleaned, then rest."""
    bench = at(step)
    bench.run(50)
    bench.history.clear()
    stop(bench)
    assert bench.step is step
    bench.run_until(REST, within_ms=40_000)
    order = [CLEAR, VENT, OPEN, DRAIN]
    ahead = order[order.index(step) + 1 :] if step in order else []
    assert [k for k in bench.path if k not in (PULSE, RECOVER, SETTLE)] == [*ahead, REST]
    if step in order:
        assert bench.path.count(PULSE) == 4, "the last clean of a run has more pulses"
    assert bench.remembers("on_board") == EMPTY
    bench.run(5_000, never=lambda b: b.step is not REST)


def test_stop_in_hold_with_a_batch_keeps_it_on_board(at):
    """LEVEL_HOLD with a batch on board: rest at once, flap closed, batch kept; stop and halt alike."""
    for word in ("stop", "halt"):
        bench = holding_a_batch(at)
        bench.request(word)
        assert bench.step is REST
        bench.run(5_000, never=lambda b: b.outputs.flap_open_cmd)
        assert bench.remembers("on_board") == BATCH


def holding_a_batch(at) -> Bench:
    """Halted in convey, then started with the vessel full: held with the batch on board."""
    bench = at(CONVEY)
    bench.request("halt")
    bench.machine.level_free = False
    bench.run(4_000)
    bench.press_start()
    bench.run_until(LEVEL_HOLD, within_ms=4_000)
    assert bench.remembers("on_board") == BATCH
    return bench


def test_stop_and_halt_at_rest_and_in_fault_have_no_effect(at):
    for word in ("stop", "halt"):
        for step in (REST, FAULT):
            bench = at(step)
            before = (bench.remembers("on_board"), bench.remembers("line_loaded"), bench.first_out)
            bench.request(word)
            bench.run(500)
            assert bench.step is step
            assert before == (bench.remembers("on_board"), bench.remembers("line_loaded"), bench.first_out)


@pytest.mark.parametrize("step", [PURGE, DRAW], ids=name)
def test_a_stop_before_convey_begins_no_fill_whatever_the_preset_says(at, step):
    """There is no fill time yet that could be finished first."""
    bench = at(step, finish_fill_on_stop=True)
    bench.request("stop")
    assert bench.step is CLEAR
    bench.run_until(REST, within_ms=30_000, never=lambda b: b.outputs.feed_cmd)


def test_stop_finishes_the_fill_time_first_where_the_preset_says_so(at):
    """`finish the fill time first`: the stop in convey lets the batch fill, then clears."""
    bench = at(CONVEY, finish_fill_on_stop=True)
    bench.run(50)
    bench.history.clear()
    bench.request("stop")
    assert bench.step is not CLEAR
    bench.run_until(CLEAR, within_ms=20_000)
    assert bench.path[-2:] in ([CONVEY, CLEAR], [CLEAR])
    assert bench.remembers("filled_ms") >= 16_000
    bench.run_until(REST, within_ms=30_000)
    assert SEAL not in bench.path


@pytest.mark.parametrize("step", ALL, ids=name)
def test_halt_in_every_step_stops_what_feeds_and_freezes_the_flap(at, step):
    """
    Source, feed, pulse, purge off and vent open in this scan; the flap output stays as it was; no latch.
    In warning, seal and reopen nothing was drawn: rest.
    """
    bench = at(step)
    bench.run(50)
    flap = bench.outputs.flap_open_cmd
    bench.request("halt")
    assert bench.step is REST
    assert bench.on <= {"flap_open"}
    assert bench.outputs.flap_open_cmd == flap
    assert not bench.remembers("run")
    bench.run(5_000, never=lambda b: b.step is not REST or b.outputs.flap_open_cmd != flap)


@pytest.mark.parametrize("step", TO_CLEAR, ids=name)
def test_halt_while_drawing_remembers_batch_and_loaded_line(at, step):
    """Source off this scan, on board yes, line loaded yes."""
    bench = at(step)
    bench.run(50)
    bench.request("halt")
    assert not bench.outputs.source_cmd
    assert bench.remembers("on_board") == BATCH
    assert bench.remembers("line_loaded")


@pytest.mark.parametrize("step", [OPEN, DRAIN, PULSE, RECOVER, SETTLE], ids=name)
def test_a_frozen_flap_stays_until_an_order_is_accepted_and_its_horn_is_over(at, step):
    """Frozen until start, clean or empty is accepted, then after the horn; a refused order moves nothing."""
    bench = at(step)
    bench.run(600)
    if step is OPEN:
        bench = at(OPEN)
        bench.run(10)
    bench.request("halt")
    bench.run(6_000)
    bench.force(safety_chain_healthy=False)
    bench.press_start()
    bench.release("safety_chain_healthy")
    bench.run(500)
    assert bench.outputs.flap_open_cmd
    assert bench.press_start() == []
    while bench.step is WARNING:
        assert bench.outputs.flap_open_cmd, bench.explain()
        bench.scan()
    assert bench.step in (VENT, SEAL)
    assert not bench.outputs.flap_open_cmd


def test_after_halt_start_goes_through_emptying_or_purge_as_the_memory_says(at):
    """Halted in vent the batch is on board: emptying; halted in settle nothing is: seal."""
    for step, then in ((VENT, VENT), (DRAIN, VENT), (SETTLE, SEAL)):
        bench = at(step)
        bench.run(50)
        bench.request("halt")
        bench.run(6_000)
        bench.press_start()
        bench.run_off(within_ms=4_000)
        assert bench.step is then, step.name


# ---- two things in one scan: fault before halt before stop before hold before normal ----


def test_fault_wins_over_halt_and_halt_over_stop(at):
    bench = at(CONVEY)
    bench.force(safety_chain_healthy=False)
    bench.request("halt", "stop")
    assert bench.step is FAULT
    bench = at(CONVEY)
    bench.request("halt", "stop")
    assert bench.step is REST, "stop alone would go to clear"


def test_stop_wins_over_hold_and_hold_over_the_next_batch(at):
    """Full at the end of the batch: with a stop pending rest, without one LEVEL_HOLD, never another seal."""
    stopped, full = at(DRAIN), at(DRAIN)
    for bench in (stopped, full):
        bench.run_until(SETTLE, within_ms=10_000)
        bench.history.clear()
        bench.machine.level_free = False
    full.preset(settle_ms=5_000)
    stopped.preset(settle_ms=5_000)
    stopped.run(4_000)
    stopped.request("stop")
    stopped.run_off(within_ms=2_000)
    full.run_off(within_ms=6_000)
    assert stopped.path == [REST]
    assert full.path == [LEVEL_HOLD]
