"""Who may: local or remote has control, stop is heard from everywhere, some resets only at the machine."""

import pytest
from bench import Bench, vacuum_ua

from controller.sequence.steps import CONVEY, DRAW, FAULT, REST, SEAL, VENT, WARNING

NOT_HERE = "this place has no control, or no right to start"
RESET_NOT_HERE = "only by the place in control; after flap or safety, at the machine"
ALLOWED = {"remote_start_allowed": 1}
SELECTOR = {"selector_fitted": 1, "remote_start_allowed": 1}


def rested(fitted, **presets) -> Bench:
    bench = fitted(**presets).at(REST)
    bench.run(6_000)
    return bench


# ---- start, clean, empty ----


@pytest.mark.parametrize("command", ["start", "clean", "empty"])
def test_one_place_has_control(fitted, command):
    """From page or network only where it has control and the station allows it; at the machine only where it has."""
    for allowed in (0, 1):
        for remote_control in (0, 1):
            for remote in (False, True):
                bench = rested(fitted, remote_start_allowed=allowed)
                bench.force(remote_control=remote_control)
                reasons = bench.request(command, remote=remote)
                may = remote_control and allowed if remote else not remote_control
                assert (reasons, bench.step) == (([], WARNING) if may else ([NOT_HERE], REST))


def test_the_button_of_the_panel_is_the_machine(fitted):
    bench = rested(fitted, **ALLOWED)
    bench.force(remote_control=True)
    assert bench.press_start() == [NOT_HERE]
    bench.release("remote_control")
    bench.run(100)
    assert bench.press_start() == []


def test_with_a_selector_only_the_selector_counts(fitted):
    bench = rested(fitted, **SELECTOR)
    bench.force(remote_control=True)
    assert bench.request("start", remote=True) == [NOT_HERE]
    bench.force(remote_selected=True, remote_control=False)
    bench.scan()
    assert bench.press_start() == [NOT_HERE]
    assert bench.request("start", remote=True) == []


def test_without_a_selector_its_wire_is_not_read(fitted):
    bench = rested(fitted, **ALLOWED)
    bench.force(remote_selected=True)
    assert bench.press_start() == []


# ---- stop, halt, acknowledge ----


@pytest.mark.parametrize("remote_control", [0, 1])
@pytest.mark.parametrize("remote", [False, True])
def test_stop_halt_and_acknowledge_are_heard_from_everywhere(fitted, remote_control, remote):
    for command, step in (("stop", "CLEAR"), ("halt", "REST")):
        bench = fitted().at(CONVEY)
        bench.force(remote_control=remote_control)
        bench.request(command, remote=remote)
        assert bench.step.name == step
    bench = fitted().at(FAULT)
    bench.force(remote_control=remote_control)
    bench.scan()
    assert bench.outputs.horn
    bench.request("acknowledge", remote=remote)
    assert not bench.outputs.horn
    assert bench.step is FAULT


# ---- reset ----


def tripped(fitted, by: str, **presets) -> Bench:
    bench = fitted(**presets).at(DRAW if by == "NO_VACUUM" else CONVEY)
    if by == "NO_VACUUM":
        bench.force(vacuum_ua=vacuum_ua(0))
        bench.run_to_trip(by, within_ms=4_000)
    elif by == "SAFETY_CHAIN_OPEN":
        bench.force(safety_chain_healthy=False)
        bench.run_to_trip(by, within_ms=100)
    elif by == "FLAP_LOST_CLOSED":
        bench.force(flap_closed_fb=False)
        bench.run_to_trip(by, within_ms=300)
    else:
        bench.force(flap_open_fb=True)
        bench.run_to_trip(by, within_ms=300)
    for wire in tuple(bench.forced):
        bench.release(wire)
    bench.run(3_000)
    return bench


@pytest.mark.parametrize("by", ["SAFETY_CHAIN_OPEN", "FLAP_LOST_CLOSED"])
def test_after_safety_or_flap_reset_is_taken_only_at_the_machine(fitted, by):
    """Even while the remote place has control and may start."""
    bench = tripped(fitted, by, **ALLOWED)
    bench.force(remote_control=True)
    bench.run(100)
    assert bench.request("reset", remote=True) == [RESET_NOT_HERE]
    assert bench.step is FAULT
    bench.scan()
    assert bench.press_reset() == []
    assert bench.step is REST


def test_after_any_other_trip_reset_belongs_to_the_place_in_control(fitted):
    bench = tripped(fitted, "NO_VACUUM", **ALLOWED)
    bench.force(remote_control=True)
    bench.run(100)
    assert bench.press_reset() == [RESET_NOT_HERE]
    bench.scan()
    assert bench.request("reset", remote=True) == []
    assert bench.step is REST


def test_reset_from_remote_without_the_right_is_refused(fitted):
    bench = tripped(fitted, "NO_VACUUM")
    bench.force(remote_control=True)
    bench.run(100)
    assert bench.request("reset", remote=True) == [RESET_NOT_HERE]
    bench = tripped(fitted, "NO_VACUUM", **ALLOWED)
    assert bench.request("reset", remote=True) == [RESET_NOT_HERE], "local has control"
    bench.scan()
    assert bench.press_reset() == []


def test_a_flap_row_that_follows_makes_it_the_machines_reset_too(fitted):
    """The first cause was elsewhere, the flap came after: it must be looked at all the same."""
    bench = tripped(fitted, "NO_VACUUM", **ALLOWED)
    bench.force(flap_open_fb=True, remote_control=True)
    bench.run(500)
    bench.release("flap_open_fb")
    bench.run(500)
    assert "FLAP_DISAGREES" in bench.acted
    assert bench.request("reset", remote=True) == [RESET_NOT_HERE]


def test_where_the_reset_belongs_outlives_the_power(fitted):
    bench = tripped(fitted, "FLAP_LOST_CLOSED", **ALLOWED)
    bench.power_cycle()
    bench.force(remote_control=True)
    bench.run(3_000)
    assert bench.step is FAULT
    assert bench.request("reset", remote=True) == [RESET_NOT_HERE]


def test_relearn_and_recipe_belong_to_the_place_in_control_and_to_rest(fitted):
    bench = rested(fitted)
    assert bench.request("relearn", remote=True) == ["another place has control"]
    bench.force(remote_control=True)
    assert bench.request("relearn") == ["another place has control"]
    bench.release("remote_control")
    assert bench.request("relearn") == []
    assert fitted().at(SEAL).request("relearn") == ["the receiver is neither at rest nor in fault"]
    assert fitted().at(FAULT).request("relearn") == []


# ---- scans that come late, and a remote I/O that counts ----


def test_late_scans_in_a_row_warn_then_trip_and_bar_the_reset(fitted):
    bench = fitted(scans_late_warn=3, scans_late_trip=20).at(CONVEY)
    bench.force(scans_late=2)
    bench.run(100)
    assert bench.acts == set()
    bench.force(scans_late=3)
    bench.run(200, never=lambda b: b.step is FAULT)
    assert bench.acts == {"SCAN_OVERRUN"}
    bench.force(scans_late=20)
    bench.run_to_trip("SCAN_OVERRUN", within_ms=20)
    assert "the scans come too late" in bench.press_reset()
    bench.force(scans_late=0)
    bench.run(3_000)
    assert bench.press_reset() == []


def test_late_scans_trip_at_rest_too(fitted):
    bench = fitted().at(REST)
    bench.force(scans_late=20)
    bench.run_to_trip("SCAN_OVERRUN", within_ms=20)


@pytest.mark.parametrize("step", [REST, CONVEY, VENT])
def test_a_life_counter_that_stands_still_is_io_lost(fitted, step):
    bench = fitted(io_life_watched=1, io_lost_ms=200).at(step)
    bench.run(400, never=lambda b: b.step is FAULT)
    bench.force(io_life=7)
    assert bench.run_to_trip("IO_LOST", within_ms=300) == pytest.approx(210, abs=20)
    bench.run(3_000)
    assert "the I/O image is too old" in bench.press_reset()
    bench.release("io_life")
    bench.run(500)
    assert bench.press_reset() == []


def test_a_life_counter_that_nobody_watches_may_stand_still(fitted):
    bench = fitted().at(CONVEY)
    bench.force(io_life=7)
    bench.run(2_000, never=lambda b: b.step is FAULT)


def test_an_io_without_a_count_refuses_start(fitted):
    bench = fitted(io_life_watched=1).at(REST)
    bench.run(6_000)
    bench.force(io_life=7)
    bench.run(180)
    assert bench.step is REST
    bench.run(100)
    assert bench.step is FAULT


# ---- two things in one scan, and the first scan ----


def test_manual_asked_twice_or_with_a_start_or_in_the_first_scan_is_refused_by_name(fitted, new):
    bench = rested(fitted)
    assert bench.request("manual", "start") == ["a start, clean or empty was accepted in the same scan"]
    assert bench.step is WARNING
    bench = rested(fitted)
    bench.request("manual")
    assert bench.request("manual") == ["manual mode is on already"]
    assert "the controller has only just started" in new().request("manual")


@pytest.mark.parametrize("command", ["start", "clean", "empty"])
def test_a_motor_that_runs_or_an_overload_refuses_every_order(fitted, command):
    motor = {"source_kind": 1, "run_feedback_fitted": 1, "overload_fitted": 1, "motor_off_min_ms": 1_000}
    for wires in ({"source_running_fb": 1}, {"overload_healthy": 0}):
        bench = rested(fitted, **motor)
        bench.force(**wires)
        assert len(bench.request(command)) == 1
        assert bench.step is REST
        bench.release(*wires)
        bench.run(100)
        assert bench.request(command) == []
