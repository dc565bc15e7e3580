"""Start, clean, empty: what each needs, what it answers, and that nothing moves before the horn is over."""

import pytest
from bench import BROKEN_WIRE_UA, Bench, supply_ua, vacuum_ua

from controller.sequence.steps import (
    CONVEY,
    FAULT,
    LEVEL_HOLD,
    PURGE,
    REST,
    SEAL,
    TO_CLEAN,
    TO_RUN,
    VENT,
    WARNING,
)

MOVES = {"source", "bypass_close", "flap_open", "flap_close", "vent_close", "pulse_1", "pulse_2", "pulse_3", "fluidise", "purge", "feed"}

MISSING = {
    "safety chain open": ({"safety_chain_healthy": False}, 0, "safety chain"),
    "stop contact open": ({"stop_healthy": False}, 0, "stop contact"),
    "image too old": ({"image_age_ms": 201}, 0, "I/O image"),
    "air over the limit, under the hysteresis": ({"supply_air_ua": supply_ua(4.79)}, 0, "supply air"),
    "air under the limit": ({"supply_air_ua": supply_ua(4.4)}, 0, "supply air"),
    "supply wire broken": ({"supply_air_ua": BROKEN_WIRE_UA}, 600, "supply air"),
    "vacuum wire broken": ({"vacuum_ua": BROKEN_WIRE_UA}, 600, "vacuum signal"),
    "vacuum over the release threshold": ({"vacuum_ua": vacuum_ua(1.1)}, 0, "release threshold"),
    "pressure in the body": ({"vacuum_ua": vacuum_ua(-1.1)}, 0, "release threshold"),
    "open switch on uncalled": ({"flap_open_fb": True, "flap_closed_fb": False}, 50, "open switch"),
    "both switches on": ({"flap_open_fb": True}, 50, "both flap switches"),
}


@pytest.mark.parametrize("command", ["start", "clean", "empty"])
@pytest.mark.parametrize("cause", MISSING)
def test_each_permissive_refuses_by_itself_and_by_name(at, cause, command):
    """A command without its permissive is refused with the reason; nothing is warned of, nothing moves."""
    points, before_ms, words = MISSING[cause]
    bench = at(REST)
    bench.run(6_000)
    bench.force(**points)
    bench.run(before_ms)
    reasons = bench.request(command)
    assert any(words in r for r in reasons), reasons
    assert bench.step is (FAULT if "image_age_ms" in points else REST), "an image too old is a trip as well"
    assert not MOVES & bench.on
    assert "horn" not in bench.on or bench.step is FAULT
    assert not bench.remembers("run")


@pytest.mark.parametrize("command", ["start", "clean", "empty"])
def test_with_every_permissive_each_command_is_accepted(at, command):
    """Nothing missing, no reason, and the horn sounds in the same scan."""
    bench = at(REST)
    bench.run(6_000)
    assert bench.request(command) == []
    assert bench.step is WARNING
    assert bench.on == {"horn", "run_lamp"}


@pytest.mark.parametrize("just", [{"supply_air_ua": supply_ua(4.81)}, {"vacuum_ua": vacuum_ua(0.9)},
                                  {"vacuum_ua": vacuum_ua(-0.9)}, {"image_age_ms": 200}])  # fmt: skip
def test_just_inside_the_limit_start_is_accepted(at, just):
    bench = at(REST)
    bench.run(6_000)
    bench.force(**just)
    assert bench.press_start() == []
    assert bench.step is WARNING


def test_start_is_refused_in_fault_and_while_running(at):
    """One order at a time; a fault wants its reset first."""
    assert any("reset first" in r for r in at(FAULT).press_start())
    for command in ("start", "clean", "empty"):
        running = at(CONVEY)
        assert any("not at rest" in r for r in running.request(command))
        assert running.step is CONVEY
        fault = at(FAULT)
        assert any("reset first" in r for r in fault.request(command))
        assert fault.step is FAULT


@pytest.mark.parametrize("command", ["start", "clean", "empty"])
@pytest.mark.parametrize("against", ["stop", "halt"])
def test_a_command_in_the_scan_of_a_stop_or_halt_is_refused_in_words(at, command, against):
    bench = at(REST)
    bench.run(3_000)
    assert any(f"a {against} was asked for" in r for r in bench.request(command, against))
    assert bench.step is REST


def test_a_start_that_is_still_held_is_refused_in_words(at):
    """The button stands pressed, and somebody asks from elsewhere: let go first."""
    bench = at(REST)
    bench.run(3_000)
    bench.force(safety_chain_healthy=False, start_pb=True)
    bench.run(100)
    bench.release("safety_chain_healthy")
    assert any("still held" in r for r in bench.request("start"))
    assert bench.step is REST


@pytest.mark.parametrize(
    ("asked", "taken", "refused"),
    [
        (("start", "clean"), TO_RUN, "clean"),
        (("start", "empty"), TO_RUN, "empty"),
        (("clean", "empty"), TO_CLEAN, "empty"),
    ],
)
def test_of_two_commands_in_one_scan_the_first_is_taken_and_the_other_refused(at, asked, taken, refused):
    """One order at a time, and none is lost without a word."""
    bench = at(REST)
    bench.run(3_000)
    bench.request(*asked)
    assert bench.step is WARNING
    assert bench.remembers("order") == taken
    assert any("in the same scan" in r for r in bench.refusals(refused))


@pytest.mark.parametrize("command", ["clean", "empty"])
def test_a_command_in_the_first_scan_after_power_up_is_refused(new, command):
    """Before anything has been looked at, nothing is accepted."""
    bench = new()
    assert any("just started" in r for r in bench.request(command))
    assert bench.step is REST


def test_level_high_does_not_refuse_start_it_waits_and_says_so(at):
    """Level high at start: horn, then LEVEL_HOLD, and on when the vessel has room again."""
    bench = at(REST)
    bench.machine.level_free = False
    bench.run(6_000)
    assert bench.press_start() == []
    bench.run_until(LEVEL_HOLD, within_ms=4_000, never=lambda b: bool(MOVES & b.on))
    bench.machine.level_free = True
    bench.run_until(SEAL, within_ms=6_000)


@pytest.mark.parametrize("command", ["clean", "empty"])
def test_clean_and_empty_are_refused_with_level_high(at, command):
    """Both open the flap over the vessel: not when it is full."""
    bench = at(REST)
    bench.machine.level_free = False
    bench.run(3_000)
    assert any("full" in r for r in bench.request(command))
    assert bench.step is REST


def test_clean_is_refused_unless_the_receiver_is_known_to_be_empty(new, at):
    """On board unknown (never powered) or yes (halted in convey): empty first."""
    unknown, halted = new(), at(CONVEY)
    halted.request("halt")
    for bench in (unknown, halted):
        bench.run(6_000)
        assert any("on board" in r for r in bench.request("clean"))
        assert bench.request("empty") == []


def test_the_horn_sounds_its_whole_time_before_the_first_movement(at):
    """3 s of horn, nothing that moves or feeds, then seal."""
    bench = at(REST)
    bench.run(6_000)
    bench.force(start_pb=True)
    bench.scan()
    assert bench.step is WARNING
    took_ms = 0
    while bench.step is WARNING:
        assert bench.on == {"horn", "run_lamp"}, bench.explain()
        bench.scan()
        took_ms += 10
    assert took_ms == 3_000
    assert bench.step is SEAL


@pytest.mark.parametrize("cause", MISSING)
def test_a_permissive_lost_during_the_horn_cancels_the_start(at, cause):
    """Warning time over *and permissives still true*: else back to rest, without a latch, nothing moved."""
    points, before_ms, _ = MISSING[cause]
    bench = at(WARNING)
    bench.run(1_000)
    bench.force(**points)
    for _ in range((before_ms + 1_020) // bench.scan_ms):  # low air after its delay, the rest sooner
        if bench.step is WARNING:
            bench.scan()
    assert bench.step in (REST, FAULT), "an image too old is a trip of its own"
    assert (bench.step is FAULT) == ("image_age_ms" in points)
    bench.release(*points)
    bench.run(5_000, never=lambda b: bool(MOVES & b.on) or b.step is WARNING)
    assert not bench.remembers("run")


@pytest.mark.parametrize("command", ["clean", "empty"])
def test_level_high_during_the_horn_never_opens_the_flap_for_clean_or_empty(at, command):
    """Not first given with level high in clean and empty."""
    bench = at(REST)
    bench.run(6_000)
    bench.request(command)
    bench.machine.level_free = False
    bench.run(8_000, never=lambda b: b.outputs.flap_open_cmd)


def test_a_start_from_the_shell_does_what_the_button_does(at):
    bench = at(REST)
    bench.run(6_000)
    bench.request("start")
    assert bench.run_until(SEAL, within_ms=4_000) == 3_000


def test_without_warning_time_the_run_begins_at_once(at):
    """Warning 0 is allowed where flap and feed point are seen; start, rest and seal are two scans apart."""
    bench = at(REST, warning_ms=0)
    bench.run(6_000)
    bench.request("start")
    assert bench.run_until(SEAL, within_ms=100) <= 10


def test_start_with_a_loaded_line_purges_and_with_a_batch_on_board_empties_first(at):
    """After a halt in convey both stand: horn, vent, drain, clean, then purge before draw."""
    bench = at(CONVEY)
    bench.request("halt")
    bench.run(2_000)
    bench.press_start()
    bench.run_until(VENT, within_ms=4_000)
    bench.run_until(PURGE, within_ms=30_000, never=lambda b: b.outputs.source_cmd and b.step is not PURGE)


# ---- the run latch ----


def held_through(bench: Bench, button: str, event) -> Bench:
    bench.force(**{f"{button}_pb": True})
    event(bench)
    return bench


def test_a_start_button_held_through_power_up_starts_nothing(at):
    """Regained only by a rising edge: held through power-up, then let go and pressed again."""
    bench = held_through(at(REST), "start", lambda b: b.power_cycle())
    bench.run(8_000, never=lambda b: b.step is not REST)
    bench.release("start_pb")
    bench.run(50)
    bench.press_start()
    assert bench.step is WARNING


def test_a_start_button_held_through_reset_starts_nothing(at):
    bench = at(FAULT)
    bench.run(3_000)
    bench.force(start_pb=True)
    bench.run(100)
    bench.press_reset()
    assert bench.step is REST
    bench.run(8_000, never=lambda b: b.step is not REST)


@pytest.mark.parametrize("cause", MISSING)
def test_an_edge_before_the_permissives_is_not_remembered(at, cause):
    """The edge must come after all permissives are true: held while the last one comes, it starts nothing."""
    points, before_ms, _ = MISSING[cause]
    bench = at(REST)
    bench.run(6_000)
    bench.force(**points)
    bench.run(before_ms)
    bench.force(start_pb=True)
    bench.run(50)
    bench.release(*points)
    bench.run(4_000, never=lambda b: b.step is WARNING)
    assert not bench.remembers("run")


def test_stop_and_start_together_is_a_stop(at):
    """Stop wins over start in the same scan, at rest and while running."""
    for step in (REST, SEAL):
        bench = at(step)
        bench.run(500)
        bench.request("start", "stop")
        assert bench.step is REST
        assert not bench.remembers("run")


def test_stop_clears_the_run_latch_at_once_and_letting_go_does_not_bring_it_back(at):
    bench = at(CONVEY)
    bench.force(stop_healthy=False)
    bench.scan()
    assert not bench.remembers("run")
    bench.release("stop_healthy")
    bench.run_until(REST, within_ms=30_000)
    bench.run(10_000, never=lambda b: b.step is not REST)


def test_no_trip_keeps_the_latch_and_a_reset_does_not_give_it(at):
    bench = at(FAULT)
    bench.run(3_000)
    assert not bench.remembers("run")
    bench.press_reset()
    bench.run(5_000, never=lambda b: b.step is not REST or b.remembers("run") != 0)
