"""What a rig says on the screen."""

from controller.live.console import FOLD_MS, Console
from controller.records import EventRecord


def said_of(*events):
    said = []
    console = Console(lambda line: said.append(line.split(" s  ", 1)[1]), lambda: ())
    for at_ms, name, what in events:
        console.events([EventRecord(at_ms, "", name, what, 0, "")])
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
    assert said[4:] == [f"{LATE} 99 times more in 10 s"]


def test_what_is_folded_is_said_at_the_end_and_with_the_next_that_happens():
    many = slips(0, 100, 200)
    assert said_of(*many, (300, "CONTROLLER_ENDED", "SIGINT")) == [
        *FIRST, f"{LATE} 2 times more in 0 s", "ended: SIGINT",
    ]  # fmt: skip
    assert said_of(*many, (60_000, "STEP_CHANGED", "REST -> WARNING")) == [
        *FIRST, f"{LATE} 2 times more in 60 s", "REST -> WARNING",
    ]  # fmt: skip


def test_after_a_quiet_time_the_next_slip_is_said_at_once():
    assert said_of(*slips(0, FOLD_MS + 1)) == [*FIRST, *FIRST]
