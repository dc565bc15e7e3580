"""The panel over the real rig on simulated I/O, scan by scan: what is asked acts on the plant."""

import asyncio
from datetime import UTC, datetime

import pytest
from panel.rigs import MILL

from controller.live.desk import ITSELF
from controller.live.live_io import LiveIo
from controller.live.panel_rig import PanelRig
from controller.live.rig import Rig
from controller.panel.caller import Caller
from controller.panel.messages import (
    CommandAsked,
    FailAsked,
    ForceAsked,
    HoldAsked,
    PointsAsked,
    ReleaseAsked,
    line_of,
)
from controller.panel.rig import Rig as PanelPromise
from controller.panel.server import Panel
from controller.scan.agreement import AgreeingScan
from controller.scan.ticker import Tick
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.settings import load_station
from controller.simulate.in_process import in_process
from controller.simulate.station_watch import Watcher

SCAN_MS, HORN_MS, RENEW_MS = 10, 3_000, 500
LOGIC = Logic(RECEIVER)
STATION = load_station(MILL)
ME = Caller("alice")
PURGE = HoldAsked(ask="hold", output="purge_cmd")


class Stepped:
    """The rig, and a panel that asks it without a socket; time passes in `run` and while a command waits."""

    def __init__(self):
        self.events = []
        machine = in_process(MILL, None, scan_ms=SCAN_MS)
        presets = STATION.receiver.presets
        self.rig = Rig(
            AgreeingScan(LOGIC, presets), presets, LiveIo(machine, "simulated", machine),
            Watcher(lambda _: None, self.events.extend, lambda _: None),
            software="0", date=datetime(2026, 1, 5, tzinfo=UTC), scan_ms=SCAN_MS,
        )  # fmt: skip
        self.panel_rig = PanelRig(self.rig, STATION)
        self._panel = Panel(MILL, self.panel_rig)

    def run(self, for_ms):
        for _ in range(for_ms // SCAN_MS):
            self.rig.scan(Tick(0, 0))

    async def ask(self, asked, by=ME):
        task = asyncio.ensure_future(self._panel._answer(line_of(asked), by))
        await asyncio.sleep(0)
        while not task.done():
            self.run(SCAN_MS)
            await asyncio.sleep(0)
        return task.result()

    async def command(self, word):
        return await self.ask(CommandAsked(ask="command", command=word))

    async def hold(self, output, for_ms):
        """Renewed every 200 ms, as the command line does."""
        for _ in range(for_ms // 200):
            answer = await self.ask(HoldAsked(ask="hold", output=output))
            self.run(200)
        return answer

    def on(self, output):
        return getattr(self.rig.outputs, output)

    def status(self):
        return self.panel_rig.status()


@pytest.fixture
def stepped():
    """After power-up, long enough for every permissive."""
    stepped = Stepped()
    stepped.run(1_000)
    return stepped


async def test_the_rig_keeps_the_promise_of_the_panel(stepped):
    assert isinstance(stepped.panel_rig, PanelPromise)


async def test_a_start_is_accepted_sounds_the_horn_and_a_second_one_is_refused_in_words(stepped):
    assert (await stepped.command("start")).answer == "accepted"
    stepped.run(1_000)
    assert stepped.on("horn")
    answer = await stepped.command("start")
    assert (answer.answer, answer.reasons) == ("refused", ("the receiver is not at rest",))
    assert (await stepped.command("stop")).answer == "accepted"
    assert answer.status.state


async def test_commands_that_are_never_refused_are_accepted(stepped):
    for word in ("stop", "halt", "acknowledge", "automatic", "vessel_seen"):
        assert (await stepped.command(word)).answer == "accepted"


async def test_a_flap_is_held_open_by_hand_moves_in_the_plant_and_falls_when_nobody_renews(stepped):
    assert (await stepped.command("manual")).answer == "accepted"
    answer = await stepped.hold("flap_open_cmd", HORN_MS - 200)
    assert answer.horn_ms > 0
    assert not stepped.on("flap_open_cmd")
    await stepped.hold("flap_open_cmd", 4_000)
    assert stepped.on("flap_open_cmd")
    assert stepped.rig.inputs.flap_open_fb
    assert not stepped.rig.inputs.flap_closed_fb
    assert (stepped.status().held, stepped.status().held_on) == ("flap_open_cmd", True)
    stepped.run(RENEW_MS)
    assert not stepped.on("flap_open_cmd")
    stepped.run(3_000)
    assert stepped.rig.inputs.flap_closed_fb


async def test_the_last_word_stays_on_what_is_held_and_says_why(stepped):
    """Narrative, last word 4: a pulse only with the flap proven open, which is closed here."""
    await stepped.command("manual")
    await stepped.hold("pulse_1_cmd", HORN_MS + 1_000)
    status = stepped.status()
    assert not stepped.on("pulse_1_cmd")
    assert (status.held, status.held_on) == ("pulse_1_cmd", False)
    assert status.held_back


async def test_what_dropped_a_held_output_for_one_scan_is_told_and_stands_in_the_journal(stepped):
    await stepped.command("manual")
    await stepped.hold("purge_cmd", HORN_MS + 400)
    await stepped.command("stop")
    stepped.run(150)
    answer = await stepped.hold("purge_cmd", 200)
    assert (answer.answer, answer.reasons) == ("refused", ("purge_cmd fell: a stop is asked for",))
    assert [(e.what, e.detail) for e in stepped.events if e.id == "OUTPUT_LET_GO"] == [
        ("purge_cmd", "a stop is asked for")
    ]
    answer = await stepped.hold("purge_cmd", HORN_MS + 200)
    assert (answer.answer, answer.status.held_back) == ("accepted", ()), "that is over"


async def test_what_dropped_a_held_output_is_told_and_ends_the_hold(stepped):
    await stepped.command("manual")
    await stepped.hold("purge_cmd", HORN_MS + 400)
    assert stepped.on("purge_cmd")
    stepped.rig.io.machine.press("stop_healthy", 0)
    stepped.run(200)
    answer = await stepped.hold("purge_cmd", 200)
    assert (answer.answer, answer.reasons) == ("refused", ("purge_cmd fell: a stop is asked for",))
    assert not stepped.on("purge_cmd")
    stepped.rig.io.machine.press("stop_healthy", 1)
    stepped.run(1_000)
    assert not stepped.on("purge_cmd")
    assert stepped.status().held == ""
    await stepped.hold("purge_cmd", HORN_MS + 400)
    assert stepped.on("purge_cmd"), "asked for anew, after its horn"


@pytest.mark.parametrize(
    ("point", "value", "why"),
    [
        ("stop_healthy", 0, "a stop is asked for"),
        ("stop_request", 1, "a stop is asked for"),
        ("halt_request", 1, "a halt is asked for"),
        ("safety_chain_healthy", 0, "the safety chain is open"),
        ("image_age_ms", 5_000, "the inputs are too old"),  # the link was lost
        ("remote_control", 1, "the remote place is in control"),
    ],
)
@pytest.mark.parametrize("after_ms", [0, 1_000, HORN_MS - 400], ids="after {} ms of horn".format)
async def test_what_would_drop_an_output_ends_the_hold_while_its_horn_sounds_too(
    stepped, point, value, why, after_ms
):
    """It stood for 30 ms and is gone again when the hold is renewed; nothing moves at the horn's end."""
    await stepped.command("manual")
    await stepped.hold("purge_cmd", after_ms + 200)
    stepped.rig.desk.force({point: value}, ITSELF)
    stepped.run(30)
    stepped.rig.desk.force({}, ITSELF)
    stepped.run(100)
    answer = await stepped.ask(PURGE)
    assert (answer.answer, answer.reasons) == ("refused", (f"purge_cmd fell: {why}",))
    stepped.run(HORN_MS + 1_000)
    assert not stepped.on("purge_cmd")
    await stepped.hold("purge_cmd", HORN_MS + 400)
    assert stepped.on("purge_cmd"), "asked for anew, after a horn of its own"


async def test_what_was_let_go_a_moment_ago_does_not_end_the_next_hold(stepped):
    await stepped.command("manual")
    await stepped.hold("purge_cmd", HORN_MS + 400)
    await stepped.ask(ReleaseAsked(ask="release"))
    answer = await stepped.hold("vent_close_cmd", 200)
    assert answer.answer == "accepted"
    await stepped.hold("vent_close_cmd", HORN_MS)
    assert stepped.on("vent_close_cmd")


async def test_a_start_does_not_come_between_the_two_commands_that_begin_the_horn_of_a_hold(stepped):
    await stepped.command("manual")
    start = CommandAsked(ask="command", command="start")
    both = [asyncio.ensure_future(stepped._panel._answer(line_of(it), ME)) for it in (PURGE, start)]
    while not all(task.done() for task in both):
        for _ in range(5):
            await asyncio.sleep(0)
        stepped.run(SCAN_MS)
    assert [task.result().answer for task in both] == ["accepted", "refused"]


async def test_a_failure_acts_shows_in_every_answer_and_ends_after_its_time(stepped):
    asked = FailAsked(ask="fail", mode="flap_closed_switch_stuck_off", amount=1.0, for_ms=5_000)
    assert (await stepped.ask(asked)).answer == "accepted"
    stepped.run(200)
    assert not stepped.rig.inputs.flap_closed_fb
    answer = await stepped.command("acknowledge")
    assert answer.status.failures == {"flap_closed_switch_stuck_off": 1.0}
    stepped.run(5_000)
    assert stepped.rig.inputs.flap_closed_fb
    assert stepped.status().failures == {}


async def test_a_failure_that_there_is_not_is_refused_in_words(stepped):
    answer = await stepped.ask(FailAsked(ask="fail", mode="flap_stiks_open", amount=1.0))
    assert answer.answer == "refused"
    assert "flap_stiks_open" in answer.reasons[0]


async def test_a_forced_input_reaches_the_sequence_and_every_status_until_released(stepped):
    asked = ForceAsked(ask="force", point="supply_air_ua", value=4_000, area_clear_by="A. Miller")
    assert (await stepped.ask(asked)).answer == "accepted"
    stepped.run(2_000)
    answer = await stepped.command("start")
    assert answer.answer == "refused"
    assert any(reason.startswith("supply air is not over its low limit") for reason in answer.reasons)
    assert answer.status.forced == {"supply_air_ua": 4_000}
    found = (await stepped.ask(PointsAsked(ask="points"))).points
    point = next(p for p in found if p.name == "supply_air_ua")
    assert (point.raw, point.forced, point.value) == (4_000, True, 0.0)
    assert point.wire > 8_000, "the header of the plant has its pressure all the time"
    stepped._panel._holding.release(ME)
    stepped.run(2_000)
    assert (await stepped.command("start")).answer == "accepted"


async def test_while_the_remote_place_has_control_nothing_is_forced_and_what_was_is_released(stepped):
    asked = ForceAsked(ask="force", point="level_free", value=0, area_clear_by="A. Miller")
    assert (await stepped.ask(asked)).answer == "accepted"
    await stepped.command("remote")
    stepped.run(200)
    answer = await stepped.ask(asked)
    assert answer.answer == "refused"
    assert answer.reasons[0].startswith("the remote place has control")
    assert (await stepped.ask(asked)).answer == "refused"
    stepped.run(10)
    assert stepped.status().forced == {}
    await stepped.command("local")
    stepped.run(10)
    assert (await stepped.ask(asked)).answer == "accepted"


async def test_the_points_are_those_of_the_station_with_the_plants_readings(stepped):
    found = (await stepped.ask(PointsAsked(ask="points"))).points
    assert [p.name for p in found] == [p.name for p in STATION.points.points]
    readings = {p.name: p for p in found}
    low, high = STATION.receiver.presets.supply_low_pa_g / 1_000, 1_000
    assert low < readings["supply_air_ua"].value < high
    assert abs(readings["vacuum_ua"].value) < 1, "at rest there is no vacuum"
    assert {p.quality for p in found} == {"good"}


async def test_a_command_that_no_scan_takes_any_more_is_told(stepped):
    stepped.rig.desk.close("the controller has ended")
    answer = await stepped.command("start")
    assert answer.reasons == ("the controller has ended",)
