"""A motor as source: rest, starts an hour, spin-up, run feedback, overload, and what runs without a command."""

import pytest
from bench import Bench, Machine

from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    DRAWING,
    FAULT,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    RECOVER,
    REST,
    SEAL,
    SETTLE,
    VENT,
    WARNING,
)

REST_MS, SPACING_MS, SPIN_UP_MS, RUN_DOWN_MS, RUN_ON_MS = 20_000, 450_000, 4_000, 3_000, 30_000
ALONE = {
    "source_kind": 1, "run_feedback_fitted": 1, "overload_fitted": 1, "run_feedback_on_ms": 1_500,
    "run_feedback_lost_ms": 500, "run_down_ms": RUN_DOWN_MS, "motor_off_min_ms": REST_MS,
    "motor_on_min_ms": 60_000, "start_spacing_ms": SPACING_MS, "spin_up_ms": SPIN_UP_MS,
}  # fmt: skip
BYPASSED = {**ALONE, "bypass_fitted": 1, "run_on_ms": RUN_ON_MS}
STATIONS = pytest.mark.parametrize("station", [ALONE, BYPASSED], ids=["alone", "with a bypass"])


def acts(bench: Bench) -> bool:
    """The source acts on the body."""
    return bench.outputs.source_cmd and (bench.outputs.bypass_close_cmd or not bench.machine.bypassed)


def started_after(bench: Bench, rest_ms: int) -> Bench:
    """Start at rest, after so long a rest of the motor."""
    bench.run(rest_ms)
    assert bench.press_start() == []
    return bench


# ---- where it runs ----


def test_a_bypassed_motor_spins_up_in_seal_and_acts_only_while_drawing(fitted):
    """Started on bypass in seal; run proven and spun up before the body is drawn on; then on bypass again."""
    bench = fitted(**BYPASSED).at(SEAL)
    bench.run_until(DRAW, within_ms=REST_MS + 10_000, never=lambda b: b.step is SEAL and acts(b))
    assert bench.remembers("motor_on_ms") >= SPIN_UP_MS
    assert bench.on >= {"source", "bypass_close", "vent_close"}
    bench.run_until(VENT, within_ms=30_000, never=lambda b: not acts(b) and b.step in DRAWING)
    assert "source" in bench.on
    assert "bypass_close" not in bench.on
    bench.run_until(SEAL, within_ms=20_000, never=lambda b: not b.outputs.source_cmd or acts(b))
    assert bench.run_until(DRAW, within_ms=4_000) < SPIN_UP_MS, "it runs: nothing to spin up"


def test_a_bypassed_motor_never_proven_running_draws_nothing(fitted):
    bench = fitted(**BYPASSED).at(SEAL, run_feedback_on_ms=10_000)
    bench.force(source_running_fb=False)
    bench.run_to_trip("SOURCE_NOT_RUNNING", within_ms=REST_MS + 15_000, never=acts)


def test_in_a_hold_a_bypassed_motor_runs_on_for_its_time_then_it_is_off(fitted):
    """Hold: bypass for its run-on time, then off; its minimum on time is long over here."""
    bench = fitted(**BYPASSED).at(LEVEL_HOLD, motor_on_min_ms=10_000)
    bench.run(RUN_ON_MS - 50, never=lambda b: not b.outputs.source_cmd or acts(b))
    bench.run(100)
    assert "source" not in bench.on
    assert bench.step is LEVEL_HOLD


def test_a_hold_shorter_than_the_run_on_costs_no_start(fitted):
    bench = fitted(**BYPASSED).at(LEVEL_HOLD)
    bench.run(10_000)
    bench.machine.level_free = True
    bench.run_until(SEAL, within_ms=10_000, never=lambda b: not b.outputs.source_cmd)
    bench.run_until(CONVEY, within_ms=10_000, never=lambda b: not b.outputs.source_cmd)


def test_a_motor_alone_is_off_outside_drawing(fitted):
    bench = fitted(**ALONE).at(DRAW)
    bench.run_until(VENT, within_ms=30_000, never=lambda b: b.step in DRAWING and not b.outputs.source_cmd)
    bench.run_until(DRAW, within_ms=60_000, never=lambda b: b.step is not DRAW and b.outputs.source_cmd)


def test_clean_and_empty_start_no_motor(fitted):
    """Clean: warn, vent, open, pulse, settle; empty: warn, vent, open, drain, clean. No suction, no motor."""
    for command in ("clean", "empty"):
        bench = fitted(**BYPASSED).at(REST)
        bench.run(6_000)
        assert bench.request(command) == []
        bench.run_until(SETTLE, within_ms=30_000, never=lambda b: b.outputs.source_cmd)
        bench.run_until(REST, within_ms=30_000, never=lambda b: b.outputs.source_cmd)


# ---- SOURCE_NOT_READY ----


@STATIONS
def test_seal_waits_for_the_motors_rest_and_says_so(fitted, station):
    """Minimum off time not over: wait, nothing trips; the lamp flashes: armed and waiting."""
    bench = fitted(**station).at(REST, motor_off_min_ms=300_000)
    started_after(bench, 6_000).run_until(SEAL, within_ms=4_000)
    bench.run(2_000)
    assert "SOURCE_NOT_READY" in bench.acts
    lamps = set()
    for _ in range(120):
        bench.scan()
        lamps.add(bench.outputs.run_lamp)
    assert lamps == {True, False}
    bench.scan_ms = 50
    off_ms = bench.run_until(DRAW, within_ms=310_000, never=lambda b: b.step not in (SEAL, DRAW))
    assert off_ms > 250_000, "far over the step's bound: its clock stood still"
    assert bench.remembers("motor_off_ms") == 0
    assert "SOURCE_NOT_READY" not in bench.acts


@STATIONS
def test_a_rested_motor_is_waited_for_by_nobody(fitted, station):
    bench = started_after(fitted(**station).at(REST), REST_MS)
    bench.run_until(SEAL, within_ms=4_000)
    bench.run_until(DRAW, within_ms=SPIN_UP_MS + 2_000, never=lambda b: "SOURCE_NOT_READY" in b.acts)


def many_starts(fitted) -> Bench:
    """A motor alone that has been started for as many batches as an hour allows."""
    bench = fitted(**ALONE).at(DRAW, fill_ms=1_500, clean_every=50, motor_off_min_ms=0)
    bench.scan_ms = 20
    while "SOURCE_NOT_READY" not in bench.acts:
        assert bench.now_ms < 600_000
        bench.scan()
    return bench


def test_the_starts_an_hour_are_limited(fitted):
    """An hour over the spacing of 450 s: eight starts, then it waits for the ninth."""
    bench = many_starts(fitted)
    # the first start was the one that led the bench to its first stop
    starts = 2 + bench.path.count(DRAW)
    assert starts == 8
    bench.run(30_000, never=lambda b: b.outputs.source_cmd or b.step is not SEAL)
    bench.scan_ms = 100
    waited_ms = 30_000 + bench.run_until(DRAW, within_ms=SPACING_MS)
    assert 100_000 < waited_ms < SPACING_MS


def test_the_starts_an_hour_outlive_the_power(fitted):
    """Motor start times are retained: a power cycle gives no further start."""
    bench = many_starts(fitted)
    bench.power_cycle()
    bench.run(6_000)
    bench.press_start()
    bench.run_until(SEAL, within_ms=30_000)
    bench.run(REST_MS + 5_000, never=lambda b: b.outputs.source_cmd)
    assert "SOURCE_NOT_READY" in bench.acts


def test_after_a_power_cycle_the_motor_rests_its_whole_time(fitted):
    """How long it was off nobody knows: as if switched off just now."""
    bench = fitted(**ALONE).at(CONVEY)
    bench.power_cycle(off_ms=100)
    bench.run(6_000)
    bench.press_start()
    woken_ms = bench.now_ms - 6_000
    bench.run_until(SEAL, within_ms=30_000)
    while not bench.outputs.source_cmd:
        bench.scan()
        assert bench.step is SEAL or bench.outputs.source_cmd
    assert bench.now_ms - woken_ms >= REST_MS - 200


def test_a_stop_ends_the_wait_for_the_motor(fitted):
    bench = started_after(fitted(**ALONE).at(REST, motor_off_min_ms=300_000), 6_000)
    bench.run_until(SEAL, within_ms=4_000)
    bench.run(1_000)
    bench.request("stop")
    assert bench.step is REST


# ---- switched off at once, whatever the minimum on time says ----


@STATIONS
@pytest.mark.parametrize("how", ["halt", "trip"])
def test_the_minimum_on_time_never_delays_an_off(fitted, station, how):
    bench = fitted(**station).at(CONVEY, motor_on_min_ms=600_000)
    bench.run(1_000)
    if how == "halt":
        bench.request("halt")
    else:
        bench.force(safety_chain_healthy=False)
        bench.scan()
    assert bench.step is (REST if how == "halt" else FAULT)
    assert bench.on & {"source", "bypass_close"} == set()


def test_a_stop_switches_a_bypassed_motor_off_at_rest_whatever_its_minimum_on_time(fitted):
    bench = fitted(**BYPASSED).at(CONVEY, motor_on_min_ms=600_000)
    bench.request("stop")
    bench.run_until(REST, within_ms=40_000)
    assert "source" not in bench.on


# ---- run feedback ----


@STATIONS
def test_never_seen_running_trips_after_its_time(fitted, station):
    """1.5 s from the command, on bypass too."""
    bench = fitted(**station).at(SEAL)
    bench.force(source_running_fb=False)
    while not bench.outputs.source_cmd:
        bench.scan()
    assert bench.run_to_trip("SOURCE_NOT_RUNNING", within_ms=2_000) == pytest.approx(1_500, abs=20)


@pytest.mark.parametrize("step", [SEAL, DRAW, CONVEY, CLEAR, VENT, OPEN, DRAIN, PULSE, RECOVER, LEVEL_HOLD])
def test_run_feedback_lost_trips_on_bypass_too(fitted, step):
    """Lost for 0.5 s while commanded, in every step where the motor runs."""
    bench = fitted(**BYPASSED).at(step, vent_min_ms=2_000, pulse_ms=400, recovery_ms=1_500, drain_ms=4_000)
    while not bench.outputs.source_cmd or bench.machine.motor_ms < 1_000:
        bench.scan()
    assert bench.step is step
    bench.force(source_running_fb=False)
    assert bench.run_to_trip("SOURCE_NOT_RUNNING", within_ms=700) == pytest.approx(500, abs=20)


def test_run_feedback_lost_for_a_moment_is_nothing(fitted):
    bench = fitted(**ALONE).at(CONVEY)
    bench.force(source_running_fb=False)
    bench.run(450)
    bench.release("source_running_fb")
    bench.run(2_000, never=lambda b: b.step is FAULT)


def test_without_run_feedback_nothing_is_missed(fitted):
    bench = fitted(**{**BYPASSED, "run_feedback_fitted": 0}).at(SEAL)
    bench.force(source_running_fb=False)
    bench.run_until(SETTLE, within_ms=80_000, never=lambda b: b.step is FAULT)


# ---- overload ----


@pytest.mark.parametrize("step", [CONVEY, DRAW, VENT, DRAIN])
def test_overload_trips_while_the_motor_is_commanded_on_bypass_too(fitted, step):
    bench = fitted(**BYPASSED).at(step)
    bench.force(overload_healthy=False)
    bench.run_to_trip("SOURCE_OVERLOAD", within_ms=20)


def test_overload_at_rest_refuses_start_by_name(fitted):
    bench = fitted(**ALONE).at(REST)
    bench.run(6_000)
    bench.force(overload_healthy=False)
    bench.run(1_000)
    assert bench.step is REST
    assert any("overload" in why for why in bench.press_start())
    assert bench.step is REST


def test_overload_of_a_motor_that_is_off_trips_only_when_it_is_commanded(fitted):
    """Looked at: motor commanded. In drain a motor alone is off; the trip belongs to the next draw."""
    bench = fitted(**ALONE).at(DRAIN)
    bench.force(overload_healthy=False)
    bench.run_until(SEAL, within_ms=20_000)


def test_an_overload_contact_that_is_not_fitted_is_not_read(fitted):
    bench = fitted(**{**ALONE, "overload_fitted": 0}).at(CONVEY)
    bench.force(overload_healthy=False)
    bench.run(2_000, never=lambda b: b.step is FAULT)


# ---- running without a command ----


@STATIONS
def test_a_motor_that_runs_uncommanded_trips_at_rest_and_reset_is_refused_while_it_does(fitted, station):
    bench = fitted(**station).at(REST)
    bench.run(6_000)
    bench.force(source_running_fb=True)
    assert bench.run_to_trip("SOURCE_RUNS_UNCOMMANDED", within_ms=RUN_DOWN_MS + 100) == pytest.approx(
        RUN_DOWN_MS, abs=20
    )
    assert bench.press_reset() == ["the motor runs without a command"]
    assert bench.step is FAULT
    bench.release("source_running_fb")
    bench.run(100)
    assert bench.press_reset() == []
    assert bench.step is REST


def test_run_down_after_an_off_is_no_fault(fitted):
    """Running for a time after the command went off is how a motor stops."""
    bench = fitted(**ALONE).at(VENT)
    bench.force(source_running_fb=True)
    bench.run(RUN_DOWN_MS - 200, never=lambda b: b.step is not VENT or b.outputs.flap_open_cmd)
    bench.release("source_running_fb")
    bench.run_until(DRAIN, within_ms=3_000)


def test_a_welded_contactor_trips_out_of_vent_and_the_flap_never_opens(fitted):
    """No bypass: run feedback after the source is off holds the flap shut, and after run-down it trips."""
    bench = fitted(**ALONE).at(VENT)
    bench.force(source_running_fb=True)
    bench.run_to_trip(
        "SOURCE_RUNS_UNCOMMANDED", within_ms=RUN_DOWN_MS + 100, never=lambda b: b.outputs.flap_open_cmd
    )
    bench.run(2_000, never=lambda b: b.outputs.flap_open_cmd)
    bench.request("manual")
    bench.force(jog=3)
    bench.run(8_000, never=lambda b: b.outputs.flap_open_cmd)


def test_start_is_refused_while_the_motor_still_runs(fitted):
    """Source off proven is a permissive of start."""
    bench = fitted(**ALONE).at(REST)
    bench.run(6_000)
    bench.force(source_running_fb=True)
    bench.scan()
    assert any("motor is running" in why for why in bench.press_start())
    assert bench.step is REST


# ---- the last word, and the air of a station that does not draw with it ----


@STATIONS
@pytest.mark.parametrize("since_ms", [100, 8_000])
def test_by_hand_too_the_motor_stays_off_for_its_minimum_off_time(fitted, station, since_ms):
    """Never on within its minimum off time, in manual too."""
    bench = fitted(**station).at(CONVEY)
    bench.request("halt")
    bench.run(since_ms)
    bench.request("manual")
    bench.run(3_100)
    bench.force(jog=1)
    off_ms = since_ms + 3_110
    while not bench.outputs.source_cmd:
        bench.scan()
        off_ms += 10
        assert off_ms < REST_MS + 1_000
    assert off_ms >= REST_MS - 20


def test_low_air_while_a_motor_draws_is_a_warning(fitted):
    """Looked at as a trip in suction only with an air-driven source; the flap needs it to open."""
    bench = fitted(**ALONE).at(CONVEY)
    bench.machine.supply_bar_g = 4.2
    bench.run_until(OPEN, within_ms=30_000, never=lambda b: b.step is FAULT)
    assert "SUPPLY_AIR_LOW" in bench.acted
    bench = fitted(**ALONE).at(OPEN)
    bench.machine = Machine(supply_bar_g=4.2, flap_travel_ms=60_000)
    bench.run_to_trip("SUPPLY_AIR_LOW", within_ms=1_100)


def test_air_lost_trips_a_motor_station_too(fitted):
    bench = fitted(**ALONE).at(CONVEY)
    bench.machine.supply_bar_g = 2.5
    bench.run_to_trip("SUPPLY_AIR_LOST", within_ms=200)


@STATIONS
@pytest.mark.parametrize("step", [SEAL, DRAW, CONVEY, CLEAR, VENT, DRAIN, RECOVER])
def test_halted_anywhere_the_station_finds_its_way_back(fitted, station, step):
    bench = fitted(**station).at(step)
    bench.request("halt")
    assert bench.step is REST
    assert "source" not in bench.on
    started_after(bench, 6_000).run_until(WARNING, within_ms=10)
    bench.scan_ms = 20
    bench.run_until(SETTLE, within_ms=200_000, never=lambda b: b.step is FAULT)
    bench.run_until(CONVEY, within_ms=60_000, never=lambda b: b.step is FAULT)


def test_low_air_while_seal_waits_for_the_motor_is_a_warning_too(fitted):
    """No air-driven source: the row warns in suction, it neither holds nor trips."""
    bench = started_after(fitted(**ALONE).at(REST, motor_off_min_ms=300_000), 6_000)
    bench.run_until(SEAL, within_ms=4_000)
    bench.machine.supply_bar_g = 4.2
    bench.run(3_000, never=lambda b: b.step is not SEAL)
    assert "SUPPLY_AIR_LOW" in bench.acts
