"""What people do at a rig goes into the audit log: who, where, what, and what became of it."""

import asyncio

import pytest
from live.rigs import MILL, PRESETS, Driven
from live.test_desk import asked

from controller.live.desk import REMOTE, By
from controller.live.kept_presets import Changed
from controller.panel.caller import Caller
from controller.panel.holding import Holding
from controller.panel.messages import FailAsked, ForceAsked, HoldAsked, line_of
from controller.panel.said import where
from controller.panel.server import Panel
from controller.sequence.steps import Step

PANEL = "the panel socket"


@pytest.fixture
def driven():
    driven = Driven()
    driven.run(1_000)
    driven.deeds.clear()
    return driven


def short(deeds):
    return [(d.who, d.place, d.command, dict(d.parameters), d.result, d.reasons) for d in deeds]


def test_each_command_is_there_accepted_or_refused_with_the_reasons(driven):
    asyncio.run(asked(driven, "reset"))
    asyncio.run(asked(driven, "start"))
    driven.press("reset_pb")
    assert short(driven.deeds) == [
        ("", PANEL, "reset", {}, "refused", ("no fault stands",)),
        ("", PANEL, "start", {}, "accepted", ()),
        ("", "the wired button", "reset", {}, "refused", ("no fault stands",)),
    ]
    assert driven.deeds[0].at_ms == 1_010
    assert driven.deeds[0].utc == "2026-01-05T06:00:01.010+00:00"


def from_afar(driven, command):
    async def ask():
        task = asyncio.ensure_future(driven.rig.desk.request(command, REMOTE, "Ada"))
        await asyncio.sleep(0)
        driven.scan()
        return await task

    return asyncio.run(ask())


def test_a_command_from_elsewhere_bears_its_place_and_the_name_that_came_with_it(driven):
    assert from_afar(driven, "stop") == ()
    assert short(driven.deeds) == [("Ada", "remote", "stop", {}, "accepted", ())]
    assert driven.told("COMMAND_ACCEPTED") == [("stop from remote (Ada)", "")]


def test_a_start_from_elsewhere_wants_the_right_and_control_taken_at_the_machine():
    right = PRESETS._replace(remote_start_allowed=True)
    for presets, control, heard in (
        (PRESETS, "remote", False),
        (right, "local", False),
        (right, "remote", True),
    ):
        driven = Driven(presets=presets)
        driven.run(1_000)
        assert asyncio.run(driven.panel.request(control)) == ()
        reasons = from_afar(driven, "start")
        assert reasons == (() if heard else ("this place has no control, or no right to start",))
        assert (driven.rig.memory.step == Step.WARNING) == heard


def test_while_the_remote_place_has_control_the_machine_may_stop_but_not_start(driven):
    def answers(command):
        return [reasons for _, reasons in asyncio.run(asked(driven, command))[0]]

    asyncio.run(driven.panel.request("remote"))
    assert "REST, the remote place has control" in where(driven.panel.status())
    assert answers("start") == [("this place has no control, or no right to start",)]
    assert answers("stop") == [()]
    asyncio.run(driven.panel.request("local"))
    assert "control" not in where(driven.panel.status())
    assert answers("start") == [()]
    assert driven.told("CONTROL_CHANGED") == [("remote", ""), ("at the machine", "")]
    assert [dict(deed.parameters) for deed in driven.deeds if deed.command == "control"] == [
        {"place": "remote"}, {"place": "local"},
    ]  # fmt: skip


def test_where_a_selector_is_fitted_it_alone_hands_control_over():
    driven = Driven(presets=PRESETS._replace(selector_fitted=True))
    driven.run(1_000)
    said = asyncio.run(driven.panel.request("remote"))
    assert said == ("the selector local/remote at the machine says who has control",)
    assert not driven.rig.desk.remote_control
    assert short(driven.deeds)[-1] == ("", PANEL, "remote", {}, "refused", said)


def test_a_force_bears_the_name_of_who_answers_for_the_area_and_is_there_once_however_often_renewed(driven):
    holding, me = Holding(driven.panel), Caller("alice")
    for _ in range(3):
        holding.force(me, ForceAsked(ask="force", point="level_free", value=0, area_clear_by="Ada"))
        driven.run(100)
    holding.release(me)
    driven.run(10)
    assert short(driven.deeds) == [
        ("alice", PANEL, "force", {"point": "level_free", "value": 0, "area_clear_by": "Ada"}, "done", ()),
        ("alice", PANEL, "release", {"point": "level_free", "area_clear_by": "Ada"}, "done", ()),
    ]


@pytest.mark.parametrize(
    ("dropped", "let_go"),
    [
        (False, ("alice", PANEL, "let go", {"output": "purge_cmd", "area_clear_by": "Ada"}, "done", ())),
        (True, ("", "the rig itself", "let go", {"output": "purge_cmd"}, "done", ("a stop is asked for",))),
    ],
    ids=["by who held it", "dropped by a stop"],
)
def test_an_output_held_and_let_go_bears_the_name_of_whose_doing_it_was(driven, dropped, let_go):
    holding, me = Holding(driven.panel), Caller("alice")

    async def hold():
        await asked(driven, "manual")
        driven.run(PRESETS.warning_ms)
        task = asyncio.ensure_future(
            holding.hold(me, HoldAsked(ask="hold", output="purge_cmd", area_clear_by="Ada"))
        )
        while not task.done():  # the horn anew: automatic, then manual
            await asyncio.sleep(0)
            driven.scan()
        driven.run(PRESETS.warning_ms)
        await holding.hold(me, HoldAsked(ask="hold", output="purge_cmd"))
        driven.run(10)

    asyncio.run(hold())
    if dropped:
        asyncio.run(asked(driven, "stop"))
    driven.run(PRESETS.jog_renew_ms)
    its_horn = f"{PANEL}, for the horn before it holds purge_cmd"
    assert short(driven.deeds)[:3] == [
        ("", PANEL, "manual", {}, "accepted", ()),
        ("alice", its_horn, "automatic", {}, "accepted", ()),
        ("alice", its_horn, "manual", {}, "accepted", ()),
    ]
    assert driven.told("COMMAND_ACCEPTED")[2] == (f"manual from {its_horn} (alice)", "")
    assert [deed for deed in short(driven.deeds) if deed[2] in ("hold", "let go")] == [
        ("alice", PANEL, "hold", {"output": "purge_cmd", "area_clear_by": "Ada"}, "done", ()),
        let_go,
    ]


def test_what_the_panel_refuses_before_any_scan_sees_it_is_there_too(driven):
    async def ask():
        panel = Panel(MILL, driven.panel)
        answers = []
        for it in (
            HoldAsked(ask="hold", output="purge_cmd"),
            ForceAsked(ask="force", point="level_free", value=2, area_clear_by="Ada"),
        ):
            answers.append(await panel._answer(line_of(it), Caller("alice")))
        return answers

    hold, force = asyncio.run(ask())
    assert short(driven.deeds) == [
        ("alice", PANEL, "hold", {"output": "purge_cmd"}, "refused", hold.reasons),
        ("alice", PANEL, "force", {"point": "level_free", "value": 2}, "refused", force.reasons),
    ]
    assert [what for what, _ in driven.told("COMMAND_REFUSED")] == [
        f"{command} from {PANEL} (alice)" for command in ("hold", "force")
    ]


def test_a_failure_asked_for_on_real_io_is_there_as_refused():
    driven = Driven(port=Driven().machine)
    panel = Panel(MILL, driven.panel)
    asked = FailAsked(ask="fail", mode="line_blocked", amount=1.0)
    answer = asyncio.run(panel._answer(line_of(asked), Caller("alice")))
    assert "real I/O" in answer.reasons[0]
    (deed,) = driven.deeds
    assert (deed.who, deed.command, deed.result, deed.reasons) == ("alice", "fail", "refused", answer.reasons)


def test_a_failure_set_ended_by_its_time_and_refused_is_there(driven):
    driven.panel.fail("line_blocked", 0.5, 200)
    driven.run(210)
    driven.panel.fail("line_bloked", 1.0, None)
    set_, ended, refused = short(driven.deeds)
    asked_for = {"mode": "line_blocked", "amount": 0.5, "for_ms": 200}
    assert set_ == ("", PANEL, "fail", asked_for, "done", ())
    assert ended == (
        "", "the rig itself", "fail", {"mode": "line_blocked", "amount": 0.0, "for_ms": None}, "done", (),
    )  # fmt: skip
    assert (refused[3]["mode"], refused[4]) == ("line_bloked", "refused")
    assert "line_blocked" in refused[5][0]


def test_a_force_that_the_end_of_manual_mode_took_was_released_by_the_rig_itself():
    class Port:
        def __init__(self, machine):
            self.read, self.write = machine.read, machine.write

    simulated = Driven()
    driven = Driven(Port(simulated.machine))
    driven.run(1_000)
    asyncio.run(asked(driven, "manual"))
    driven.rig.desk.force({"level_free": 0}, By(PANEL, "Ada"))
    driven.run(100)
    asyncio.run(asked(driven, "automatic"))
    driven.run(100)
    said = [(d.command, d.place, d.who) for d in driven.deeds if d.command in ("force", "release")]
    assert said == [("force", PANEL, "Ada"), ("release", "the rig itself", "")]


def test_power_up_says_which_presets_are_not_those_of_the_run_before():
    driven = Driven()
    driven.rig.power_up(driven.rig._date, [Changed("fill_ms", 9_000, 8_000)])
    assert driven.told("PRESET_CHANGED") == [("fill_ms was 9000, is 8000", "")]
    assert short(driven.deeds) == [
        (
            "",
            "the rig itself",
            "power up",
            {"io": "simulated", "run_before": "1 presets changed"},
            "done",
            (),
        ),
        ("", "the station's files", "preset", {"name": "fill_ms", "before": 9_000, "now": 8_000}, "done", ()),
    ]
