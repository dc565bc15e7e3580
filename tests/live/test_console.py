"""What a rig says on the screen."""

from controller.events import EVENTS, FITTED
from controller.live.console import FOLD_MS, Console
from controller.records import EventRecord


def said_of(*events, parts=FITTED):
    """`events`: one by one, or those of a scan in a list."""
    said = []
    console = Console(lambda line: said.append(line.split(" s  ", 1)[1]), lambda: (), parts)
    for each in events:
        scan = each if isinstance(each, list) else [each]
        console.events([EventRecord(at, "", name, what, 0, "".join(why)) for at, name, what, *why in scan])
    return said


def slips(*at_ms):
    """Raised then, and gone 50 ms later."""
    return [(at + more, "SCAN_OVERRUN", what) for at in at_ms for more, what in ((0, "raised"), (50, "gone"))]


LATE = "SCAN_OVERRUN (scans begin too late, several in a row)"
FIRST = [f"{LATE} raised", f"{LATE} gone"]


def test_one_slip_is_said_as_it_is():
    assert said_of(*slips(1_000)) == FIRST


def test_a_slow_computer_says_so_once_in_a_while_and_what_happens_meanwhile_is_said():
    at_ms = range(0, 2 * FOLD_MS, 100)
    events = sorted([*slips(*at_ms), (555, "STEP_CHANGED", "REST -> WARNING"), (580, "NO_VACUUM", "raised")])
    said = said_of(*events)
    assert said[:3] == [*FIRST, "REST -> WARNING"]
    assert said[3].startswith("NO_VACUUM")
    assert said[4:] == [f"{LATE} raised 99 x more in 10.0 s"]


def test_what_is_folded_is_said_at_the_end_and_with_the_next_that_happens():
    many = slips(0, 100, 200)
    assert said_of(*many, (300, "CONTROLLER_ENDED", "SIGINT")) == [
        *FIRST, f"{LATE} raised 2 x more in 0.3 s", "ended: SIGINT",
    ]  # fmt: skip
    assert said_of(*many, (60_000, "STEP_CHANGED", "REST -> WARNING")) == [
        *FIRST, f"{LATE} raised 2 x more in 60.0 s", "REST -> WARNING",
    ]  # fmt: skip


def test_after_a_quiet_time_the_next_slip_is_said_at_once():
    assert said_of(*slips(0, FOLD_MS + 1)) == [*FIRST, *FIRST]


def test_the_lost_inputs_that_trip_are_said_each_time_and_those_that_flap_in_the_fault_are_counted():
    flaps = [(at + more, "IO_LOST", what) for at in range(20, 420, 20) for more, what in ((0, "raised"), (9, "gone"))]
    trip = [(10, "IO_LOST", "raised"), (10, "STEP_CHANGED", "DRAW -> FAULT")]
    again = [(500, "STEP_CHANGED", "FAULT -> REST"), (600, "IO_LOST", "raised"), (600, "STEP_CHANGED", "REST -> FAULT")]
    lost = "IO_LOST (the inputs are too old to act on)"
    assert said_of(*trip, (15, "IO_LOST", "gone"), *flaps, *again) == [
        f"{lost} raised", "DRAW -> FAULT", f"{lost} gone", f"{lost} raised", f"{lost} gone",
        f"{lost} raised 19 x more in 0.5 s", "FAULT -> REST", f"{lost} raised", "REST -> FAULT",
    ]  # fmt: skip


def test_what_somebody_called_himself_moves_no_cursor_of_the_screen():
    (said,) = said_of((0, "COMMAND_ACCEPTED", "start from remote (\x1b[2J\nX\u202e)"))
    assert said == "accepted: start from remote (?[2J?X?)"


def test_a_trip_says_where_it_comes_from_and_what_to_do_at_this_station():
    said = said_of((0, "NO_VACUUM", "raised"), (0, "STEP_CHANGED", "DRAW -> FAULT", "NO_VACUUM"), parts=("ejector",))
    row = EVENTS["NO_VACUUM"].at(("ejector",))
    assert said[1:] == ["DRAW -> FAULT: NO_VACUUM", f"  cause: {row.cause}", f"  to do: {row.action}"]
    assert "rotation" not in said[3]


def test_in_the_scan_of_a_trip_nothing_is_folded():
    fold = [r for at in (0, 100) for r in slips(at)]
    raised = (300, "SCAN_OVERRUN", "raised", "late scans 40 >= 20")
    trip = [raised, (300, "STEP_CHANGED", "DRAW -> FAULT", "SCAN_OVERRUN")]
    said = said_of(*fold, trip, (350, "SCAN_OVERRUN", "gone"), (400, "CONTROLLER_ENDED", "SIGINT"))
    assert said[2:4] == [f"{LATE} raised: late scans 40 >= 20", "DRAW -> FAULT: SCAN_OVERRUN"]
    assert said[-3:] == [f"{LATE} gone", f"{LATE} raised 1 x more in 0.4 s", "ended: SIGINT"], "once said or once counted"
