"""One batch and the next, as a careful engineer would want to see it on the first day."""

import itertools

import pytest
from bench import Bench

from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
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
    Step,
)

MACHINE_MS = 20  # the scans in which a switch is seen and acted on

DRIVEN = {
    REST: set(),
    WARNING: {"horn", "run_lamp"},
    SEAL: {"vent_close", "run_lamp"},
    REOPEN: {"flap_open", "run_lamp"},
    PURGE: {"vent_close", "source", "purge", "run_lamp"},
    DRAW: {"vent_close", "source", "run_lamp"},
    CONVEY: {"vent_close", "source", "feed", "run_lamp"},
    CLEAR: {"vent_close", "source", "purge", "run_lamp"},
    VENT: {"run_lamp"},
    OPEN: {"flap_open", "run_lamp"},
    DRAIN: {"flap_open", "run_lamp"},
    PULSE: {"flap_open", "pulse_1", "run_lamp"},
    RECOVER: {"flap_open", "run_lamp"},
    SETTLE: {"flap_open", "run_lamp"},
    FAULT: {"fault_lamp", "horn"},
}


@pytest.mark.parametrize("step", DRIVEN, ids=lambda k: k.name)
def test_each_step_drives_what_the_table_of_steps_says(at, step):
    """What a step drives, it drives from its first scan on, and nothing else."""
    bench = at(step)
    assert bench.on == DRIVEN[step]


def durations(bench: Bench) -> dict[Step, list[int]]:
    times: dict[Step, list[int]] = {}
    for (start_ms, step), (end_ms, _) in zip(bench.history, bench.history[1:], strict=False):
        times.setdefault(step, []).append(end_ms - start_ms)
    return times


def test_a_batch_takes_its_presets_and_the_travel_of_the_machine(at):
    """
    From one seal to the next: charge 1 s, fill 16 s, drain 4 s, two pulses of 120 ms with 1.5 s of recovery,
    settle 1 s are presets to the scan; draw, clear, vent and open are the machine's and take what it takes.
    """
    bench = at(SETTLE)
    bench.run_off(within_ms=2_000)
    bench.run_until(SETTLE, within_ms=60_000)
    bench.run_until(SEAL, within_ms=2_000)

    assert bench.path == [SEAL, DRAW, CONVEY, CLEAR, VENT, OPEN, DRAIN, *[PULSE, RECOVER] * 2, SETTLE, SEAL]
    took = durations(bench)
    assert took[SEAL] == [1_000]
    assert took[CONVEY] == [16_000]
    assert took[DRAIN] == [4_000]
    assert took[PULSE] == [120, 120]
    assert took[RECOVER] == [1_500, 1_500]
    assert took[SETTLE] == [1_000]
    assert took[DRAW][0] <= 200, "4.3 kPa with 300 ms: 1.2 kPa after 98 ms"
    assert 1_000 < took[CLEAR][0] < 2_000, "13.7 to 5.4 kPa in 0.65 s, then air-only for 1 s"
    assert 300 <= took[VENT][0] <= 500, "minimum vent time 300 ms; under 1 kPa for 200 ms"
    assert 330 <= took[OPEN][0] <= 330 + MACHINE_MS, "travel 300 ms, debounce 30 ms"
    assert not bench.acted, "no interlock acts in a normal batch"


def test_no_two_things_that_exclude_each_other_are_ever_driven_together(at):
    """Over three batches: no source or pulse beside the wrong flap, no feed outside convey."""

    def excluded(b: Bench) -> bool:
        m, on = b.machine, b.on
        return (
            ("source" in on and ("flap_open" in on or m.flap_place > 0.02))
            or ("pulse_1" in on and ("source" in on or m.flap_place < 0.98))
            or ("flap_open" in on and ("source" in on or "vent_close" in on))
            or ("feed" in on) != (b.step is CONVEY)
        )

    bench = at(SEAL)
    bench.run(90_000, never=excluded)
    assert bench.path.count(DRAIN) == 3


def test_first_run_ever_empties_cleans_and_purges_before_it_draws(new):
    """Never powered: on board unknown and line perhaps loaded, so emptying, clean, purge, then draw."""
    bench = new()
    bench.run(6_000)
    bench.press_start()
    bench.run_until(CONVEY, within_ms=60_000, never=lambda b: b.step is DRAW and DRAIN not in b.path)
    assert bench.path[:4] == [WARNING, VENT, OPEN, DRAIN]
    assert bench.path[-5:] == [SETTLE, SEAL, PURGE, DRAW, CONVEY]
    assert bench.path.count(PULSE) == 2


def test_on_board_and_line_loaded_follow_the_batch(at):
    """On board from draw to the end of the drain; line loaded from draw to the end of the clear."""
    bench = at(SEAL)
    told = {}
    for _ in range(2_700):
        bench.scan()
        told.setdefault(bench.step, (bench.remembers("on_board"), bench.remembers("line_loaded")))
    assert told[SEAL] == (0, 0)
    for step in (DRAW, CONVEY, CLEAR):
        assert told[step] == (1, 1), step.name
    for step in (VENT, OPEN, DRAIN):
        assert told[step] == (1, 0), step.name
    for step in (PULSE, RECOVER, SETTLE):
        assert told[step] == (0, 0), step.name


def test_run_lamp_is_steady_while_running_and_flashes_slowly_while_armed(at):
    """Steady: running; slow flash: armed and waiting, may move at any time."""
    bench = at(SEAL)
    bench.run(20_000, never=lambda b: "run_lamp" not in b.on)
    hold, lit = at(LEVEL_HOLD), []
    for _ in range(400):
        hold.scan()
        lit.append("run_lamp" in hold.on)
    changes = sum(a != b for a, b in itertools.pairwise(lit))
    assert hold.step is LEVEL_HOLD
    assert 4 <= changes <= 16, "0.5 to 2 flashes a second over 4 s"


def test_clearing_set_off_or_over_goes_on_to_the_vent(at):
    """Clear ends by air-only vacuum, or with its time when the line is not seen empty."""
    bench = at(CLEAR)
    bench.machine.air_only_kpa = 7.0
    assert bench.run_until(VENT, within_ms=5_000) == 3_500
    off = at(CONVEY, clear_ms=0)
    off.run_until(VENT, within_ms=17_000)
    assert durations(off).get(CLEAR, [10]) == [10], "at most the scan that passes through"
