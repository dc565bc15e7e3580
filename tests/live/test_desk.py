"""What people ask of a running rig: answered after the scan that saw it, with the words of the refusals."""

import asyncio

import pytest
from live.rigs import PRESETS, Driven

from controller.sequence.steps import Step


async def asked(driven, *commands):
    """All asked before the next scan; their answers in the order in which they came, and in how many scans."""
    came = []

    async def ask(command):
        came.append((command, await driven.panel.request(command)))

    tasks = [asyncio.ensure_future(ask(command)) for command in commands]
    await asyncio.sleep(0)
    scans = 0
    while not all(task.done() for task in tasks):
        driven.scan()
        scans += 1
        for _ in range(3):
            await asyncio.sleep(0)
        assert scans < 20
    return came, scans


def test_a_remote_start_before_the_first_scan_is_not_kept_until_the_io_is_there():
    driven = Driven()
    said = asyncio.run(asyncio.wait_for(driven.rig.desk.request("start", "remote"), 5))
    assert said == ("the controller has not done its first scan yet",)
    driven.run(1_000)
    assert driven.rig.memory.step == Step.REST


def test_a_command_is_accepted_in_the_next_scan():
    driven = Driven()
    driven.run(1_000)
    assert asyncio.run(asked(driven, "start")) == ([("start", ())], 1)
    assert driven.rig.memory.step == Step.WARNING
    assert driven.told("COMMAND_ACCEPTED") == [("start from the panel socket", "")]


def test_a_refusal_says_why():
    driven = Driven()
    driven.run(1_000)
    came, _ = asyncio.run(asked(driven, "reset"))
    assert came == [("reset", ("no fault stands",))]
    assert driven.told("COMMAND_REFUSED") == [("reset from the panel socket", "no fault stands")]


def test_commands_come_one_a_scan_and_stop_passes_those_that_wait():
    driven = Driven()
    driven.run(1_000)
    came, scans = asyncio.run(asked(driven, "start", "clean", "stop"))
    assert [command for command, _ in came] == ["stop", "start", "clean"]
    assert scans == 3
    assert came[1][1] == ()
    assert "the receiver is not at rest" in came[2][1]


@pytest.mark.parametrize(("command", "acts"), [("start", False), ("stop", True)])
def test_a_command_that_no_scan_took_in_time_is_withdrawn_but_a_stop_still_acts(command, acts):
    """Its sender was told that it failed: a rig whose I/O comes later must not start by it."""
    driven = Driven()
    driven.run(1_000)

    async def ask():
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.01):
                await driven.panel.request(command)
        driven.scan()

    asyncio.run(ask())
    told = driven.told("COMMAND_ACCEPTED") + driven.told("COMMAND_REFUSED")
    assert bool(told) == acts
    assert driven.rig.memory.step != Step.WARNING


def test_who_still_waits_at_the_end_is_told():
    driven = Driven()

    async def ask():
        task = asyncio.ensure_future(driven.panel.request("start"))
        await asyncio.sleep(0)
        driven.rig.desk.close("the controller has ended")
        return await task, await driven.panel.request("start")

    assert asyncio.run(ask()) == (("the controller has ended",), ("the controller has ended",))


def test_a_button_on_the_wire_is_told_with_what_became_of_it():
    driven = Driven()
    driven.run(1_000)
    driven.press("reset_pb")
    driven.press("start_pb")
    assert driven.told("COMMAND_REFUSED") == [("reset from the wired button", "no fault stands")]
    assert driven.told("COMMAND_ACCEPTED") == [("start from the wired button", "")]


def test_an_output_is_held_while_it_is_renewed_and_falls_within_the_renewal_time():
    driven = Driven()
    driven.run(1_000)
    asyncio.run(asked(driven, "manual"))
    driven.run(PRESETS.warning_ms)
    for _ in range(5):
        driven.panel.jog("purge_cmd")
        driven.run(200)
    assert driven.rig.outputs.purge_cmd
    status = driven.panel.status()
    assert (status.held, status.held_on, status.manual) == ("purge_cmd", True, True)
    driven.run(PRESETS.jog_renew_ms)
    assert not driven.rig.outputs.purge_cmd
    assert [what for what, _ in driven.told("OUTPUT_HELD")] == ["purge_cmd, held by hand"]
    assert [what for what, _ in driven.told("OUTPUT_LET_GO")] == ["purge_cmd"]


def test_a_failure_is_seen_in_status_and_journal_and_ends_by_itself():
    driven = Driven()
    driven.run(100)
    assert driven.panel.fail("line_blocked", 0.5, 200) == ()
    assert driven.panel.status().failures == {"line_blocked": 0.5}
    driven.run(190)
    assert driven.panel.status().failures
    driven.run(20)
    assert driven.panel.status().failures == {}
    assert driven.told("FAILURE_SET") == [("line_blocked, amount 0.5", "")]
    assert driven.told("FAILURE_ENDED") == [("line_blocked", "")]


def test_a_failure_that_there_is_not_is_refused_in_words():
    (why,) = Driven().panel.fail("line_bloked", 1.0, None)
    assert "line_bloked" in why
    assert "line_blocked" in why


def test_failures_are_refused_on_real_io():
    class Port:
        def read(self): ...

    (why,) = Driven(Port()).panel.fail("line_blocked", 1.0, None)
    assert "real I/O" in why


@pytest.mark.parametrize(
    ("forced", "events"), [({"level_free": 0}, 1), ({"level_free": 0, "vacuum_ua": 9_000}, 2)]
)
def test_a_forced_input_is_seen_in_status_points_and_journal(forced, events):
    driven = Driven()
    driven.run(100)
    driven.panel.force(forced)
    driven.run(100)
    assert driven.panel.status().forced == forced
    assert {point.name for point in driven.panel.points() if point.forced} == set(forced)
    assert len(driven.told("INPUT_FORCED")) == events
    driven.panel.force({})
    driven.run(10)
    assert len(driven.told("FORCE_ENDED")) == events
    assert not any(point.forced for point in driven.panel.points())


def test_points_are_those_of_the_last_scan():
    driven = Driven()
    driven.run(1_000)
    points = {point.name: point for point in driven.panel.points()}
    assert points["supply_air_ua"].quality == "good"
    assert points["supply_air_ua"].value == pytest.approx(
        driven.machine.reading("supply_pa_g") / 1_000, rel=0.02
    )
    assert points["supply_air_ua"].age_ms == 0
    assert (points["vent_close_cmd"].kind, points["vent_close_cmd"].raw) == ("output", 0)
