"""Manual mode: one output at a time, held, at the machine; the last word stays, other rows are only shown."""

import pytest
from bench import Bench

from controller.image import JOG
from controller.sequence.steps import (
    CONVEY,
    DRAIN,
    EMPTY,
    FAULT,
    LEVEL_HOLD,
    REST,
    SEAL,
    UNKNOWN,
    WARNING,
)

HORN_MS, RENEW_MS, IDLE_MS = 3_000, 500, 600_000
SOURCE, BYPASS, FLAP_OPEN, FLAP_CLOSE, VENT_SHUT, PULSE_1, PULSE_2, PULSE_3 = range(1, 9)
FLUIDISE, PURGE, FEED = range(9, 12)
LAMPS = {"horn", "fault_lamp", "run_lamp"}
TWO_COILS = {"flap_valve": 1}
MOTOR = {"source_kind": 1, "motor_off_min_ms": 5_000, "start_spacing_ms": 60_000, "spin_up_ms": 1_000}


def named(jog: int) -> str:
    return JOG[jog].removesuffix("_cmd")


def moved(bench: Bench) -> set[str]:
    return bench.on - LAMPS


def by_hand(fitted, step=REST, **presets) -> Bench:
    """In manual mode, the horn over, no output held."""
    bench = fitted(**presets).at(step)
    bench.run(6_000)
    assert bench.request("manual") == []
    bench.run(HORN_MS, never=moved)
    return bench


def jogs(bench: Bench, jog: int, for_ms: int = 100) -> set[str]:
    """Hold an output for so long. What is on then."""
    bench.force(jog=jog)
    bench.run(for_ms)
    return moved(bench)


# ---- in and out ----


@pytest.mark.parametrize("step", [REST, FAULT])
def test_entered_from_rest_or_fault_and_left_to_the_same(fitted, step):
    """It starts nothing, either way."""
    bench = by_hand(fitted, step)
    assert bench.step is step
    bench.request("automatic")
    bench.run(3_000, never=lambda b: moved(b) or b.step is not step)


@pytest.mark.parametrize("step", [SEAL, CONVEY, DRAIN, LEVEL_HOLD])
def test_refused_while_anything_runs(fitted, step):
    bench = fitted().at(step)
    assert bench.request("manual") == ["the receiver is neither idle nor in fault"]
    assert bench.step is step


def test_entered_from_the_warning_it_clears_the_run_latch(fitted):
    """From IDLE, which has two steps: rest and warn. Entering clears the latch."""
    bench = fitted().at(WARNING)
    bench.request("manual")
    bench.run(5_000)
    assert bench.step is REST


def test_only_from_panel_or_local_socket(fitted):
    bench = fitted(remote_start_allowed=1).at(REST)
    bench.run(1_000)
    assert bench.request("manual", remote=True) == ["only at the machine, with control there"]
    bench.force(remote_control=True)
    assert bench.request("manual") == ["only at the machine, with control there"]
    bench.force(jog=FLUIDISE)
    bench.run(5_000, never=moved)


def test_control_that_goes_to_the_remote_place_drops_the_output(fitted):
    bench = by_hand(fitted)
    assert jogs(bench, FLUIDISE) == {"fluidise"}
    bench.force(remote_control=True)
    bench.scan()
    assert moved(bench) == set()


def test_the_horn_sounds_before_anything_can_be_moved(fitted):
    bench = fitted().at(REST)
    bench.run(1_000)
    bench.force(jog=FLUIDISE)
    bench.request("manual")
    bench.run(HORN_MS - 50, never=lambda b: not b.outputs.horn or moved(b))
    bench.release("jog")
    bench.run(700)
    assert jogs(bench, FLUIDISE) == {"fluidise"}
    assert not bench.outputs.horn


def test_a_jog_outside_manual_moves_nothing(fitted):
    for step in (REST, FAULT, LEVEL_HOLD):
        bench = fitted().at(step)
        bench.force(jog=FLUIDISE)
        bench.run(5_000, never=lambda b: "fluidise" in b.on)


def test_leaving_drops_the_output_and_the_change_starts_nothing(fitted):
    bench = by_hand(fitted)
    jogs(bench, FLUIDISE)
    bench.request("automatic")
    assert moved(bench) == set()
    bench.run(3_000, never=lambda b: moved(b) or b.step is not REST)


def test_ten_minutes_idle_end_it(fitted):
    bench = by_hand(fitted)
    jogs(bench, FLUIDISE, 2_000)
    bench.release("jog")
    bench.scan_ms = 100
    bench.run(IDLE_MS - 1_000, never=lambda b: not b.remembers("manual"))
    bench.run(2_000)
    assert not bench.remembers("manual")
    assert jogs(bench, FLUIDISE, 5_000) == set()


def test_power_up_is_automatic(fitted):
    bench = by_hand(fitted)
    bench.power_cycle()
    assert not bench.remembers("manual")


# ---- one output at a time, held ----


@pytest.mark.parametrize("jog", [SOURCE, FLAP_OPEN, VENT_SHUT, FLUIDISE, PURGE, FEED], ids=named)
@pytest.mark.parametrize("step", [REST, FAULT])
def test_each_output_is_held_alone(fitted, jog, step):
    """In FAULT too: everything at its safe value, a jogged one excepted."""
    bench = by_hand(fitted, step)
    assert jogs(bench, jog) == {named(jog)}


def test_bypass_and_closing_coil_where_they_are_fitted(fitted):
    motor = by_hand(fitted, **MOTOR, bypass_fitted=1)
    assert jogs(motor, BYPASS) == {"bypass_close"}
    coils = by_hand(fitted, **TWO_COILS)
    assert jogs(coils, FLAP_CLOSE) == {"flap_close"}


def test_pulses_by_hand_are_single_and_only_with_the_flap_open(fitted):
    """Last word 4: never with the flap shut; with it open one pulse of its time, though it is held on."""
    bench = by_hand(fitted, **TWO_COILS, pulse_groups=3)
    for jog in (PULSE_1, PULSE_2, PULSE_3):
        assert jogs(bench, jog, 1_000) == set()
    assert jogs(bench, FLAP_OPEN, 1_000) == {"flap_open"}
    for jog in (PULSE_1, PULSE_2, PULSE_3):
        bench.force(jog=jog)
        on = []
        for _ in range(100):
            bench.scan()
            on.append(named(jog) in bench.on)
        assert moved(bench) <= {named(jog)}
        assert max(len(run) for run in "".join("#" if k else " " for k in on).split()) <= 12
        assert any(on)


def test_another_output_takes_the_place_of_the_one_before(fitted):
    bench = by_hand(fitted)
    jogs(bench, FLUIDISE)
    for jog in (PURGE, FEED, VENT_SHUT):
        bench.force(jog=jog)
        bench.scan()
        assert moved(bench) <= {named(jog)}
        bench.scan()
        assert moved(bench) == {named(jog)}


def test_not_renewed_within_its_time_it_drops(fitted):
    bench = by_hand(fitted)
    jogs(bench, FLUIDISE)
    bench.release("jog")
    bench.run(RENEW_MS - 30, never=lambda b: moved(b) != {"fluidise"})
    bench.run(60)
    assert moved(bench) == set()
    for _ in range(10):
        bench.force(jog=FLUIDISE)
        bench.scan()
        bench.release("jog")
        bench.run(RENEW_MS - 50, never=lambda b: moved(b) != {"fluidise"})


# ---- what drops it, what is only shown ----

DROPS = {
    "SAFETY_CHAIN_OPEN": {"safety_chain_healthy": 0},
    "IO_LOST": {"image_age_ms": 1_000},
    "SUPPLY_AIR_LOST": {"supply_air_ua": 7_000},
    "SOURCE_OVERLOAD": {"overload_healthy": 0},
}


@pytest.mark.parametrize("by", DROPS)
@pytest.mark.parametrize("step", [REST, FAULT])
def test_four_causes_drop_the_output_and_it_must_be_let_go_first(fitted, by, step):
    bench = by_hand(fitted, step, **MOTOR, overload_fitted=1)
    assert jogs(bench, PURGE) == {"purge"}
    bench.force(**DROPS[by])
    bench.scan(2)
    assert moved(bench) == set()
    for wire in DROPS[by]:
        bench.release(wire)
    bench.run(3_000, never=moved)
    bench.release("jog")
    bench.run(RENEW_MS + 50)
    assert bench.step is step
    assert jogs(bench, PURGE) == {"purge"}


@pytest.mark.parametrize("how", ["stop", "halt"])
def test_stop_and_halt_drop_it_too(fitted, how):
    bench = by_hand(fitted)
    jogs(bench, PURGE)
    bench.request(how)
    assert moved(bench) == set()
    bench.run(2_000, never=moved)


def test_a_flap_between_its_switches_is_shown_and_can_be_moved(fitted):
    """FLAP_DISAGREES trips nothing here: moving it is the cure."""
    bench = by_hand(fitted)
    bench.force(flap_closed_fb=0, flap_open_fb=0)
    bench.run(5_000, never=lambda b: b.step is not REST)
    assert jogs(bench, FLAP_OPEN, 500) == {"flap_open"}
    bench.force(flap_closed_fb=1, flap_open_fb=1)
    bench.run(1_000, never=lambda b: moved(b) != {"flap_open"})
    assert "FLAP_DISAGREES" in bench.acts


def test_a_jogged_flap_is_not_a_flap_that_moves_by_itself(fitted):
    bench = by_hand(fitted)
    jogs(bench, FLAP_OPEN, 2_000)
    bench.release("jog")
    bench.run(5_000, never=lambda b: b.step is FAULT)


def test_level_high_vacuum_rows_and_late_scans_are_only_shown(fitted):
    bench = by_hand(fitted)
    bench.machine.level_free = False
    bench.force(scans_late=30)
    assert jogs(bench, FLAP_OPEN, 5_000) == {"flap_open"}
    assert "SCAN_OVERRUN" in bench.acts
    assert bench.step is REST


# ---- the last word stays ----


def test_the_source_is_not_jogged_with_the_flap_open(fitted):
    bench = by_hand(fitted, **TWO_COILS)
    jogs(bench, FLAP_OPEN, 1_000)
    assert jogs(bench, SOURCE, 2_000) == set()
    assert bench.step is REST


def test_the_flap_is_not_jogged_open_under_vacuum(fitted):
    bench = by_hand(fitted)
    assert jogs(bench, SOURCE, 3_000) == {"source"}
    bench.force(jog=FLAP_OPEN)
    while not bench.outputs.flap_open_cmd:
        bench.scan()
        assert bench.now_ms < 300_000
    assert bench.machine.vacuum_kpa < 1.0
    bench.run(300)
    assert moved(bench) == {"flap_open"}


def test_the_source_stops_when_the_flap_leaves_its_seat(fitted):
    bench = by_hand(fitted)
    jogs(bench, SOURCE, 1_000)
    bench.force(flap_closed_fb=0)
    bench.run(200)
    assert moved(bench) == set()


# ---- commands and memory ----


@pytest.mark.parametrize("command", ["start", "clean", "empty"])
def test_start_is_refused_by_name(fitted, command):
    bench = by_hand(fitted)
    assert "manual mode is on" in bench.request(command)
    assert bench.step is REST


def test_it_never_replaces_the_reset(fitted):
    bench = by_hand(fitted, FAULT)
    assert bench.press_reset() == ["manual mode is on: it does not replace the reset"]
    bench.request("automatic")
    bench.run(100)
    assert bench.step is FAULT
    assert bench.press_reset() == []


def test_afterwards_nobody_knows_what_is_on_board(fitted):
    bench = fitted().at(REST)
    assert bench.remembers("on_board") == EMPTY
    bench = by_hand(fitted)
    jogs(bench, FEED, 500)
    bench.release("jog")
    bench.request("automatic")
    assert bench.remembers("on_board") == UNKNOWN
    bench.run(6_000)
    bench.press_start()
    bench.run_until(DRAIN, within_ms=10_000, never=lambda b: b.outputs.source_cmd)
    bench.run_until(CONVEY, within_ms=40_000)


def test_a_trip_that_comes_in_fault_changes_no_output_of_the_jog(fitted):
    bench = by_hand(fitted, FAULT)
    jogs(bench, PURGE)
    bench.force(flap_closed_fb=1, flap_open_fb=1)
    bench.run(500, never=lambda b: moved(b) != {"purge"})
    assert "FLAP_DISAGREES" in bench.acts


def test_after_halt_with_the_flap_open_manual_lets_it_close_after_the_horn(fitted):
    """Frozen until the horn was heard: entering a mode moves nothing."""
    bench = fitted().at(DRAIN)
    bench.run(500)
    bench.request("halt")
    assert moved(bench) == {"flap_open"}
    bench.run(500)
    bench.request("manual")
    bench.run(2_900, never=lambda b: moved(b) != {"flap_open"} or not b.outputs.horn)
    bench.run(1_000)
    assert moved(bench) == set()
    assert bench.machine.flap_place == 0.0


def test_the_bypass_of_a_motor_is_not_shut_by_hand_with_the_flap_open(fitted):
    """It would put a running motor on an open body."""
    bench = by_hand(fitted, **MOTOR, **TWO_COILS, bypass_fitted=1)
    assert jogs(bench, FLAP_OPEN, 1_000) == {"flap_open"}
    assert jogs(bench, BYPASS, 1_000) == set()
