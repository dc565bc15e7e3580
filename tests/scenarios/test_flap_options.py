"""A flap valve with two coils, and a flap with one position switch: in every step where its place matters."""

import pytest
from bench import Bench

from controller.sequence.presets import Presets
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
    PURGE,
    RECOVER,
    REOPEN,
    REST,
    SEAL,
    SETTLE,
    VENT,
    WARNING,
)
from controller.station_check.findings_times import time_findings
from controller.station_check.prediction import predict
from io_sim.parameters import PlantParameters

TRAVEL_MS = 2_500
TWO_COILS = {"flap_valve": 1}
CLOSED_ONLY = {"flap_feedback": 1}
OPEN_ONLY = {"flap_feedback": 2}
EVERY = (
    REST, WARNING, SEAL, PURGE, DRAW, CONVEY, CLEAR, VENT, OPEN, DRAIN, PULSE, RECOVER, SETTLE, LEVEL_HOLD,
)  # fmt: skip


def both(bench: Bench) -> bool:
    return bench.outputs.flap_open_cmd and bench.outputs.flap_close_cmd


def delivers(bench: Bench) -> None:
    """Run on to a whole batch that drops."""
    bench.scan_ms = 20
    for step in (CONVEY, DRAIN, CONVEY):
        bench.run_until(step, within_ms=120_000, never=lambda b: b.step is FAULT or both(b))


# ---- a valve with two coils ----


def test_the_two_coils_move_the_flap_and_are_never_on_together(fitted):
    bench = fitted(**TWO_COILS).at(SEAL)
    seen = set()
    while bench.path.count(SEAL) < 2:
        bench.scan()
        assert not both(bench)
        seen.add((bench.step, bench.outputs.flap_open_cmd, bench.outputs.flap_close_cmd))
    assert {(s, True, False) for s in (OPEN, DRAIN, PULSE, RECOVER, SETTLE)} <= seen
    assert {(s, False, True) for s in (SEAL, DRAW, CONVEY, CLEAR, VENT)} <= seen


@pytest.mark.parametrize("step", EVERY, ids=lambda step: step.name)
def test_never_both_coils_whatever_breaks_in_and_a_way_back_from_it(fitted, step):
    """Halt, trip, power in every step; then reset and start as a person would, and a batch is delivered."""
    for how in ("halt", "trip", "power"):
        bench = fitted(**TWO_COILS).at(step)
        bench.run(200, never=both)
        if how == "halt":
            bench.request("halt")
        elif how == "trip":
            bench.force(image_age_ms=1_000)
            bench.scan()
            bench.release("image_age_ms")
        else:
            bench.power_cycle()
        assert not both(bench)
        bench.machine.level_free = True
        bench.scan_ms = 20
        bench.run(7_000, never=both)
        if bench.step is FAULT:
            assert bench.press_reset() == []
            bench.run(200, never=both)
        assert bench.press_start() == []
        delivers(bench)


@pytest.mark.parametrize("step", [DRAIN, SETTLE, OPEN])
def test_in_a_fault_both_coils_are_off_and_the_flap_keeps_its_place(fitted, step):
    bench = fitted(**TWO_COILS).at(step, flap_travel_ms=5_000)
    bench.run(600)
    bench.force(safety_chain_healthy=False)
    bench.scan()
    bench.release("safety_chain_healthy")
    bench.run(5_000, never=lambda b: b.outputs.flap_open_cmd or b.outputs.flap_close_cmd)
    assert bench.machine.flap_place == 1.0


def test_reset_moves_nothing_and_the_horn_comes_first(fitted):
    """FAULT to IDLE moves no actuator: the open flap stays open until the warning of the next run is over."""
    bench = fitted(**TWO_COILS).at(DRAIN)
    bench.run(600)
    bench.force(safety_chain_healthy=False)
    bench.scan()
    bench.release("safety_chain_healthy")
    bench.run(6_000)
    assert bench.press_reset() == []
    bench.run(3_000, never=lambda b: b.on - {"horn"} != set())
    assert bench.step is REST
    assert bench.press_start() == []
    bench.run_off(within_ms=3_000)
    assert bench.machine.flap_place == 1.0
    assert bench.path[-2:] == [WARNING, VENT], "a batch may be on board"
    bench.run_until(OPEN, within_ms=8_000)


def test_a_halt_with_the_flap_open_leaves_the_open_coil_as_it_was(fitted):
    bench = fitted(**TWO_COILS).at(DRAIN)
    bench.run(500)
    bench.request("halt")
    bench.run(5_000, never=lambda b: not b.outputs.flap_open_cmd or b.outputs.flap_close_cmd)
    assert bench.step is REST


def test_air_that_returns_moves_no_flap_of_a_receiver_at_rest(fitted):
    """At rest the valve stands where the flap stands: air dumped and back moves nothing."""
    bench = fitted(**TWO_COILS).at(REST)
    bench.run(3_000)
    bench.machine.supply_bar_g = 0.0
    bench.run(3_000)
    bench.machine.supply_bar_g = 7.0
    bench.run(3_000, never=lambda b: b.step is FAULT)
    assert bench.machine.flap_place == 0.0


@pytest.mark.parametrize("step", [REST, LEVEL_HOLD])
def test_a_flap_that_moves_by_itself_trips(fitted, step):
    """FLAP_MOVED: the feedback leaves its place without a command, air present."""
    bench = fitted(**TWO_COILS).at(step)
    bench.run(3_000)
    bench.machine.valve_open = True
    bench.force(flap_closed_fb=False, flap_open_fb=True)
    bench.run_to_trip("FLAP_MOVED", within_ms=300)


def test_a_lump_on_the_seat_reopens_with_the_open_coil(fitted):
    bench = fitted(**TWO_COILS).at(SETTLE)
    bench.machine.seat_free = False
    bench.run_until(REOPEN, within_ms=6_000, never=both)
    bench.scan(5)
    assert bench.on & {"flap_open", "flap_close"} == {"flap_open"}
    bench.machine.seat_free = True
    bench.run_until(CONVEY, within_ms=10_000, never=both)


# ---- one switch: the normal batch, with the other switch cut off either way ----


@pytest.mark.parametrize("other", [0, 1])
def test_closed_switch_only_runs_batches_and_open_takes_the_travel_time(fitted, other):
    """Proven open: not closed for the travel time. What hangs on the open wire is not read."""
    bench = fitted(**CLOSED_ONLY).at(SETTLE)
    bench.force(flap_open_fb=other)
    bench.run_until(OPEN, within_ms=60_000, never=lambda b: b.step is FAULT)
    assert bench.run_until(DRAIN, within_ms=2 * TRAVEL_MS) >= TRAVEL_MS
    delivers(bench)


@pytest.mark.parametrize("other", [0, 1])
def test_open_switch_only_runs_batches_and_seal_takes_the_travel_time(fitted, other):
    """Proven closed: not open for the travel time."""
    bench = fitted(**OPEN_ONLY).at(SETTLE)
    bench.force(flap_closed_fb=other)
    bench.run_until(SEAL, within_ms=2_000)
    bench.run_until(DRAW, within_ms=10_000, never=lambda b: b.step is FAULT)
    assert bench.remembers("level_bucket_ms") == 0
    delivers(bench)


def test_open_switch_only_no_source_before_the_travel_time_after_open_went(fitted):
    bench = fitted(**OPEN_ONLY).at(SETTLE, level_on_ms=0, level_mask_ms=0, tank_charge_ms=0)
    bench.run_until(SEAL, within_ms=2_000)
    while bench.machine.flap_place > 0.98:
        bench.scan()
    gone_ms = bench.now_ms
    bench.run_until(DRAW, within_ms=10_000, never=lambda b: b.outputs.source_cmd and b.step is SEAL)
    assert bench.now_ms - gone_ms >= TRAVEL_MS


ONE_SWITCH = pytest.mark.parametrize(
    ("station", "shut", "opened"),
    [
        (CLOSED_ONLY, {"flap_closed_fb": 1}, {"flap_closed_fb": 0}),
        (OPEN_ONLY, {"flap_open_fb": 0}, {"flap_open_fb": 1}),
    ],
    ids=["closed only", "open only"],
)


@ONE_SWITCH
@pytest.mark.parametrize("step", [PURGE, DRAW, CONVEY, CLEAR])
def test_one_switch_the_seat_lost_while_drawing_trips(fitted, station, shut, opened, step):
    bench = fitted(**station).at(step)
    bench.run(100)
    bench.force(**opened)
    bench.run_to_trip("FLAP_LOST_CLOSED", within_ms=200)


@ONE_SWITCH
def test_one_switch_a_flap_that_stays_shut_is_tried_twice_then_trips(fitted, station, shut, opened):
    bench = fitted(**station).at(VENT)
    bench.force(**shut)
    bench.run_to_trip("FLAP_NOT_OPEN", within_ms=30_000)
    assert bench.path == [OPEN, VENT, OPEN, FAULT]


@ONE_SWITCH
@pytest.mark.parametrize("step", [DRAIN, PULSE, RECOVER, SETTLE])
def test_one_switch_open_lost_over_the_batch_stops_pulses_and_trips(fitted, station, shut, opened, step):
    bench = fitted(**station).at(step, pulse_ms=500)
    bench.run(50)
    bench.force(**shut)
    bench.run_to_trip("FLAP_LOST_OPEN", within_ms=250)


@ONE_SWITCH
@pytest.mark.parametrize("step", [REST, LEVEL_HOLD])
def test_one_switch_a_flap_that_moves_at_rest_trips(fitted, station, shut, opened, step):
    bench = fitted(**station).at(step)
    bench.run(4_000)
    bench.force(**opened)
    bench.run_to_trip("FLAP_MOVED", within_ms=300)


@ONE_SWITCH
def test_one_switch_off_its_seat_in_seal_it_reopens_once_then_trips(fitted, station, shut, opened):
    """Level clear, nothing on board: one retry, and no vacuum on an open flap."""
    bench = fitted(**station).at(SETTLE)
    bench.run_until(SEAL, within_ms=2_000)
    bench.force(**opened)
    bench.run_to_trip("FLAP_NOT_CLOSED", within_ms=30_000, never=lambda b: b.outputs.source_cmd)
    assert bench.path.count(REOPEN) == 1
    assert bench.remembers("on_board") == EMPTY


@ONE_SWITCH
def test_one_switch_both_or_neither_is_no_disagreement(fitted, station, shut, opened):
    """FLAP_DISAGREES needs two switches."""
    for step in (CONVEY, DRAIN):
        bench = fitted(**station).at(step)
        fixed = "flap_open_fb" if station is CLOSED_ONLY else "flap_closed_fb"
        for value in (0, 1):
            bench.force(**{fixed: value})
            bench.run(1_500, never=lambda b: b.step is FAULT or "FLAP_DISAGREES" in b.acts)


@ONE_SWITCH
def test_one_switch_off_its_seat_at_rest_warns(fitted, station, shut, opened):
    """Commanded closed after a clean and never proven: FLAP_NOT_CLOSED at rest, a warning."""
    bench = fitted(**station).at(SETTLE)
    bench.request("stop")
    bench.force(**opened)
    bench.run_until(REST, within_ms=2_000)
    bench.run(2 * TRAVEL_MS + 200, never=lambda b: b.step is FAULT)
    assert "FLAP_NOT_CLOSED" in bench.acts


def pulses_of_the_reopening(bench: Bench) -> int:
    bench.run_until(REOPEN, within_ms=8_000)
    edges, was = 0, False
    while bench.step is REOPEN:
        edges, was = edges + (bench.outputs.pulse_1_cmd and not was), bench.outputs.pulse_1_cmd
        bench.scan()
    return edges


def test_open_switch_only_a_reopening_pulses_once(fitted):
    bench = fitted(**OPEN_ONLY).at(SETTLE)
    bench.run_until(SEAL, within_ms=2_000)
    bench.force(flap_open_fb=1)
    assert pulses_of_the_reopening(bench) == 1


def test_closed_switch_only_a_reopening_shorter_than_the_travel_time_gives_no_pulse(fitted):
    """Open is proven a travel time after the flap was sent there, and the retry is over by then."""
    bench = fitted(**CLOSED_ONLY).at(SETTLE)
    bench.machine.seat_free = False
    assert pulses_of_the_reopening(bench) == 0


def test_closed_switch_only_a_reopening_as_long_as_the_station_check_says_gives_a_whole_pulse(fitted):
    """One scan less cuts the pulse short."""
    presets = Presets(**CLOSED_ONLY)
    plant = PlantParameters()
    found = time_findings(plant, presets, predict(plant, presets))
    said = next(finding.computed for finding in found if finding.what == "flap.flap_reopen_ms")
    assert said is not None
    for reopen_ms, pulsed_ms in ((said, presets.pulse_ms), (said - 10, presets.pulse_ms - 10)):
        bench = fitted(**CLOSED_ONLY, flap_reopen_ms=int(reopen_ms)).at(SETTLE)
        bench.machine.seat_free = False
        bench.run_until(REOPEN, within_ms=8_000)
        scans = 0
        while bench.step is REOPEN:
            scans += bench.outputs.pulse_1_cmd
            bench.scan()
        assert scans * 10 == pulsed_ms
