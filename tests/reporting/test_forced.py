"""What was forced when a line was written is worked out from the lines alone."""

from reporting.told import told_run

from controller.image import Inputs
from controller.live.desk import ITSELF, Desk
from controller.records import EventRecord
from controller.reporting.forced import forced_after


class Machine:
    failed = ()

    def fail(self, mode, amount):
        pass


def followed(events):
    forced, seen = frozenset(), []
    for name, what in events:
        forced = forced_after(forced, EventRecord(0, "", name, what, 0, ""))
        seen.append(sorted(forced))
    return seen


def test_what_people_do_at_a_rig_is_followed_in_its_own_words():
    events = []
    desk = Desk(Machine(), lambda name, what, grounds=(): events.append((name, what)), lambda *_, **__: None)
    memory = type("Memory", (), {"manual": False})

    def scan(**forced):
        desk.forcing.put(forced)
        desk.over(Inputs(), memory, 0)

    scan(level_free=0)
    scan(level_free=0, vacuum_ua=12_000)
    desk.fail("flap_slow", 0.5, None, 0, ITSELF)
    scan(vacuum_ua=12_000)
    desk.fail("flap_slow", 0.0, None, 0, ITSELF)
    scan()
    assert followed(events) == [
        ["level_free"], ["level_free", "vacuum_ua"], ["flap_slow", "level_free", "vacuum_ua"],
        ["flap_slow", "vacuum_ua"], ["vacuum_ua"], [],
    ]  # fmt: skip


def test_a_power_up_forgets_all_and_other_lines_change_nothing():
    assert followed([("FAILURE_SET", "source_dead"), ("STEP_CHANGED", "REST -> SEAL"), ("POWER_UP", "all safe")]) == [
        ["source_dead"], ["source_dead"], [],
    ]  # fmt: skip


def test_a_failure_of_a_simulated_run_is_followed():
    run = told_run()
    forced = frozenset()
    at_trip = None
    for record in run.events:
        forced = forced_after(forced, record)
        if record.id == "STEP_CHANGED" and record.what.endswith("FAULT"):
            at_trip = forced
    assert at_trip == {"flap_sticks_open"}
