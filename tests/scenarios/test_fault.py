"""FAULT: entered with everything safe, kept with its first-out, left only by a reset that moves nothing."""

import pytest
from bench import Bench, vacuum_ua

from controller.sequence.steps import (
    AT_REST,
    BUT_FAULT,
    CONVEY,
    DRAW,
    FAULT,
    IDLE,
    LEVEL_HOLD,
    PURGE,
    REST,
    RUNNING,
    SETTLE,
    VENT,
    WARNING,
)


def name(step) -> str:
    return step.name


@pytest.mark.parametrize("step", RUNNING, ids=name)
def test_an_open_safety_chain_trips_in_every_step_that_runs_in_the_same_scan(at, step):
    """No delay: the first scan that sees it has the safe outputs and FAULT."""
    bench = at(step)
    bench.run(50)
    bench.force(safety_chain_healthy=False)
    bench.scan()
    assert bench.step is FAULT
    assert bench.first_out == "SAFETY_CHAIN_OPEN"
    assert bench.on == {"fault_lamp", "horn"}
    assert not bench.remembers("run")


@pytest.mark.parametrize("step", [REST, WARNING], ids=name)
def test_an_open_safety_chain_in_idle_blocks_the_start_without_a_latch(at, step):
    """IDLE: start refused, no fault; healthy again, start is accepted without a reset."""
    bench = at(step)
    bench.run(50)
    bench.force(safety_chain_healthy=False)
    bench.run(6_000, never=lambda b: b.step is FAULT)
    assert bench.step is REST
    assert "SAFETY_CHAIN_OPEN" in bench.acted
    assert any("safety chain" in r for r in bench.press_start())
    bench.release("safety_chain_healthy")
    bench.run(100)
    assert bench.press_start() == []


@pytest.mark.parametrize("step", BUT_FAULT, ids=name)
def test_an_image_that_is_too_old_trips_everywhere_and_just_in_time_it_does_not(at, step):
    """IO_LOST: not refreshed for more than 200 ms; at 200 ms it still counts."""
    bench = at(step)
    bench.scan()
    if bench.step is not step:
        bench = at(step)
    bench.force(image_age_ms=200)
    bench.scan()
    assert bench.step is not FAULT
    bench.force(image_age_ms=201)
    bench.scan()
    assert bench.step is FAULT
    assert bench.first_out == "IO_LOST"
    assert bench.on == {"fault_lamp", "horn"}


def test_io_back_restarts_nothing(at):
    bench = at(CONVEY)
    bench.force(image_age_ms=1_000)
    bench.scan()
    bench.release("image_age_ms")
    bench.run(10_000, never=lambda b: b.step is not FAULT)


# ---- first-out ----


def test_the_first_cause_is_kept_while_others_follow(at):
    """A further cause in FAULT is listed, changes no output and not the first-out."""
    bench = at(CONVEY)
    bench.force(flap_closed_fb=False)
    bench.run_until(FAULT, within_ms=200)
    bench.force(safety_chain_healthy=False, image_age_ms=500, flap_open_fb=True)
    bench.machine.supply_bar_g = 0.0
    bench.run(5_000, never=lambda b: b.first_out != "FLAP_LOST_CLOSED" or b.on != {"fault_lamp", "horn"})


def test_of_two_causes_in_one_scan_one_is_kept_and_the_safety_chain_comes_first(at):
    """Its followers never take its place."""
    bench = at(CONVEY)
    bench.force(image_age_ms=500, safety_chain_healthy=False)
    bench.scan()
    assert bench.first_out == "SAFETY_CHAIN_OPEN"


def test_a_warning_never_becomes_the_first_out(at):
    """Only what trips does: a warning that stands beside the trip is not its cause."""
    bench = at(SETTLE)
    bench.machine.supply_bar_g = 4.2
    bench.run(900)
    bench.preset(settle_ms=5_000)
    bench.run(1_000)
    assert "SUPPLY_AIR_LOW" in bench.acted
    bench.force(image_age_ms=500)
    bench.scan()
    assert bench.first_out == "IO_LOST"


# ---- reset ----


def tripped(at) -> Bench:
    bench = at(FAULT)
    bench.run(2_000)
    return bench


def test_reset_leads_to_rest_and_moves_nothing(at):
    """FAULT to IDLE; no actuator moves, no latch, the first-out is gone."""
    bench = tripped(at)
    bench.force(reset_pb=True)
    bench.scan()
    assert bench.step is REST
    bench.run(5_000, never=lambda b: bool(b.on))
    assert bench.first_out == ""


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ({"safety_chain_healthy": False}, "safety chain"),
        ({"image_age_ms": 201}, "I/O image"),
        ({"vacuum_ua": vacuum_ua(1.1)}, "release threshold"),
    ],
)
def test_reset_is_refused_by_name_while_its_cause_stands(at, points, words):
    """A cause that is looked at always, or vacuum over the release threshold."""
    bench = tripped(at)
    bench.force(**points)
    reasons = bench.press_reset()
    assert any(words in r for r in reasons), reasons
    assert bench.step is FAULT
    bench.release(*points)
    bench.run(500, never=lambda b: b.step is not FAULT)
    assert bench.press_reset() == []
    assert bench.step is REST


def test_reset_without_a_fault_is_refused_and_says_so(at):
    for step in (REST, CONVEY):
        bench = at(step)
        assert any("no fault" in r for r in bench.press_reset())
        assert bench.step is step


def test_the_place_of_the_flap_is_no_condition_of_reset(at):
    """A lump on the seat must not lock FAULT."""
    bench = tripped(at)
    bench.machine.flap_place, bench.machine.seat_free = 0.5, False
    bench.run(5_000)
    assert bench.press_reset() == []
    assert bench.step is REST


def test_a_reset_button_held_while_the_fault_comes_resets_nothing(at):
    bench = at(CONVEY)
    bench.force(reset_pb=True)
    bench.run(100)
    bench.force(safety_chain_healthy=False)
    bench.scan()
    bench.release("safety_chain_healthy")
    bench.run(5_000, never=lambda b: b.step is not FAULT)


def test_a_reset_from_the_shell_does_what_the_button_does(at):
    bench = tripped(at)
    assert bench.request("reset") == []
    assert bench.step is REST


def test_acknowledge_silences_the_horn_and_nothing_else(at):
    """Lamp and fault stay; the next fault sounds again."""
    for how in ("button", "request"):
        bench = tripped(at)
        assert bench.on == {"fault_lamp", "horn"}
        if how == "button":
            bench.press("acknowledge")
        else:
            bench.request("acknowledge")
        assert bench.on == {"fault_lamp"}
        bench.run(5_000, never=lambda b: b.on != {"fault_lamp"})
        bench.press_reset()
        bench.force(image_age_ms=500)
        bench.scan()
        assert bench.on == {"fault_lamp", "horn"}


# ---- power ----


@pytest.mark.parametrize("step", BUT_FAULT, ids=name)
def test_power_loss_in_every_step_restarts_nothing(at, step):
    """Power back: rest, nothing energised, no latch, whatever it was doing."""
    bench = at(step)
    bench.run(50)
    bench.power_cycle()
    bench.run(10_000, never=lambda b: b.step is not REST or bool(b.on) or b.remembers("run") != 0)


@pytest.mark.parametrize("step", BUT_FAULT, ids=name)
def test_after_power_loss_a_start_makes_sure_of_receiver_and_line(at, step):
    """
    On board unknown unless IDLE (rest or warning) was stored with "no": emptying with clean first.
    Line loaded kept: purge.
    No source before the emptying is over, none on a loaded line but by purge.
    """
    bench = at(step)
    bench.run(50)
    loaded, idle = bench.remembers("line_loaded"), bench.step in IDLE
    bench.machine.level_free = True
    bench.power_cycle()
    assert bench.remembers("line_loaded") == loaded
    bench.run(8_000)
    bench.press_start()
    bench.history.clear()
    bench.run_until(DRAW, within_ms=40_000)
    if not idle:
        assert VENT in bench.path, "recovery emptying"
        assert SETTLE in bench.path, "always followed by a clean"
    else:
        assert VENT not in bench.path
    assert (PURGE in bench.path) == bool(loaded)


def test_line_loaded_is_as_the_steps_say_when_the_power_goes(at):
    """Yes from draw to the end of clear or purge by the draw that follows; no before and after."""
    for step in BUT_FAULT:
        bench = at(step)
        expected = step in (PURGE, DRAW, CONVEY) or step.name == "CLEAR"
        assert bool(bench.remembers("line_loaded")) == expected, step.name


def test_a_fault_outlives_the_power_with_its_first_out(at):
    """Power-up with a stored fault: FAULT, the same first-out, left only by reset."""
    bench = at(CONVEY)
    bench.force(flap_closed_fb=False)
    bench.run_until(FAULT, within_ms=200)
    bench.release("flap_closed_fb")
    for _ in range(2):
        bench.power_cycle()
        assert bench.step is FAULT
        assert bench.first_out == "FLAP_LOST_CLOSED"
    bench.run(5_000, never=lambda b: b.step is not FAULT)
    assert bench.press_reset() == []
    bench.power_cycle()
    assert bench.step is REST


def test_a_reset_held_through_power_up_resets_nothing(at):
    bench = tripped(at)
    bench.force(reset_pb=True)
    bench.power_cycle()
    bench.run(5_000, never=lambda b: b.step is not FAULT)


def test_a_halt_is_forgotten_by_power_loss_and_the_flap_closes_by_spring(at):
    bench = at(SETTLE)
    bench.request("halt")
    assert bench.outputs.flap_open_cmd
    bench.power_cycle()
    bench.run(3_000, never=lambda b: bool(b.on))


def test_known_empty_at_rest_survives_the_power_and_needs_no_emptying(at):
    bench = at(REST)
    bench.run(6_000)
    bench.power_cycle()
    bench.run(6_000)
    assert bench.request("clean") == []


@pytest.mark.parametrize("step", AT_REST, ids=name)
def test_a_trip_is_left_only_by_reset_never_by_time_or_command(at, step):
    """Halt, stop, start, clean, empty, acknowledge: FAULT stays."""
    bench = at(step)
    bench.run(50)
    bench.force(image_age_ms=500)
    bench.scan()
    bench.release("image_age_ms")
    for word in ("halt", "stop", "start", "clean", "empty", "acknowledge"):
        bench.request(word)
        bench.run(500, never=lambda b: b.step is not FAULT)


def test_memory_of_batch_and_line_is_kept_by_a_trip(at):
    """A trip in convey: on board yes and line loaded, through reset and to the next start."""
    bench = tripped(at)
    bench.press_reset()
    bench.run(6_000)
    bench.press_start()
    bench.history.clear()
    bench.run_until(DRAW, within_ms=40_000)
    assert bench.path[0] is VENT
    assert PURGE in bench.path


def test_a_trip_in_a_hold_resets_to_rest_and_never_back_to_the_hold(at):
    bench = at(LEVEL_HOLD)
    bench.force(safety_chain_healthy=False)
    bench.scan()
    bench.release("safety_chain_healthy")
    bench.run(500)
    bench.press_reset()
    bench.run(10_000, never=lambda b: b.step is not REST)
