"""What a rig tells of this moment, and the commands that come back to it."""

import asyncio
from datetime import timedelta
from pathlib import Path

import pytest
from live.rigs import DATE, MILL, PRESETS, Driven
from reporter.rig_end import opening

from controller.clock import SteppedClock
from controller.live.desk import LATE, NOT_BEGUN, By
from controller.live.reporting import NOT_ALLOWED, Reporting
from controller.live.run_ask import read_ask
from controller.live.told_now import ToldNow
from controller.reporter.lines import line, read
from controller.reporter.station import StationTold
from controller.reporting.mqtt.embedded import UNPROTECTED
from controller.reporting.services import Mqtt, Services
from controller.sequence.steps import Step

BROKER = {"lasts": None, "out": None, "state": None, "io": "simulated", "connect": None, "rate": 1.0}


class Told:
    """A rig, and what somebody knows of it who has nothing but the lines."""

    def __init__(self):
        self.driven, self.lines = Driven(), []
        self.now = ToldNow(self.driven.rig, self.tell, 10, 1.0)
        self.clock = SteppedClock(DATE)
        self.station = StationTold(opening(Path("run")), self.clock)

    def tell(self, kind, *values):
        self.lines.append(kind)
        self.station.take(*read(line(kind, *values)))

    def run(self, for_ms):
        for _ in range(for_ms // 10):
            events = len(self.driven.events)
            self.driven.scan()
            if len(self.driven.events) > events:
                self.now.happened()
            self.now.scanned()


@pytest.fixture
def told():
    return Told()


def test_who_has_only_the_lines_knows_every_point_as_the_panel_does(told):
    told.driven.machine.press("start_pb", 1)
    for _ in range(40):
        told.run(100)
        told.now._tell_points()
        there = [
            (p.tag, p.quality, p.raw, p.value, p.unit, p.kind, p.forced) for p in told.driven.panel.points()
        ]
        here = [(r.tag, r.signal, r.raw, r.value, r.unit, r.kind, r.forced) for r in told.station.readings]
        assert here == there
    assert told.station.is_known


def test_who_has_only_the_lines_knows_where_it_stands_as_the_panel_does(told):
    seen = set()
    told.run(100)
    told.driven.machine.press("start_pb", 1)
    for turn in range(60):
        told.run(500)
        if turn == 30:
            told.driven.machine.press("stop_healthy", 0)
        status, now = told.driven.panel.status(), told.station.now
        assert (now.state, now.step, now.told, now.manual) == (
            status.state,
            status.step,
            status.told,
            status.manual,
        )
        assert now.runs_on == told.driven.rig.memory.run
        seen.add((now.state, now.order, now.runs_on, now.ready))
    assert {("SUCTION", "run", True, True), ("SUCTION", "run", False, True)} <= seen


def test_at_rest_it_says_whether_a_start_would_be_refused(told):
    told.run(1_500)
    assert told.station.now.ready
    told.driven.machine.press("stop_healthy", 0)
    told.run(1_500)
    assert not told.station.now.ready


def test_a_contact_is_told_in_its_scan_and_nothing_is_told_twice(told):
    told.run(1_000)
    told.lines.clear()
    told.driven.machine.press("stop_healthy", 0)
    told.run(20)
    assert [reading.raw for reading in told.station.readings if reading.name == "stop_healthy"] == [0]
    told.run(2_000)
    assert told.lines.count("figures") == 3  # at 1, 2 and 3 s
    assert 21 <= told.lines.count("points") <= 27  # every 100 ms, and what changed between


def test_the_date_goes_on_between_the_lines_with_the_rigs_own(told):
    told.run(500)
    before, at_ms = told.station.when()
    told.clock.sleep_until(told.clock.now_ms() + 250)
    after, later_ms = told.station.when()
    assert later_ms - at_ms == 250
    assert timedelta(milliseconds=at_ms) + DATE == type(DATE).fromisoformat(before)
    assert after > before


# ---- commands ------------------------------------------------------------------------------------------
ALLOWED = Services(mqtt=Mqtt(site="mill", unit="R-101", client_id="R101", commands="allowed"))


class Asked:
    """A rig that is asked over the channel; scans come between. `ends_ms` counts from now."""

    def __init__(self, tmp_path, services=ALLOWED, presets=PRESETS):
        self.clock, self.driven, self.answers = SteppedClock(DATE), Driven(presets=presets), []
        ask = read_ask(MILL, fifo=False, start=False, broker="embedded", **BROKER)
        ask = ask._replace(services=services)
        self.said = []
        self.reporting = Reporting(ask, tmp_path, "0", "simulated", self.said.append, self.clock.now_ms)
        self.reporting.attach(self.driven.rig)
        self.reporting.reporter.answer = lambda number, reasons: self.answers.append((number, reasons))

    def deeds(self, command):
        return [deed for deed in self.driven.deeds if deed.command == command]

    def hold_up(self, for_ms):
        """No scan comes."""
        self.clock.sleep_until(self.clock.now_ms() + for_ms)

    async def given(self, command, ends_ms, number=1):
        self.reporting._asked(number, command, "Ada Öz", self.clock.now_ms() + ends_ms, f"desk-{number:04}")
        await asyncio.sleep(0)

    async def ask(self, command, ends_ms, number=1):
        await self.given(command, ends_ms, number)
        await self.scans()

    async def scans(self):
        for _ in range(3):
            self.driven.scan()
            await asyncio.sleep(0)
        await asyncio.sleep(0)


@pytest.fixture
def asked(tmp_path):
    made = Asked(tmp_path)
    made.driven.run(500)
    return made


async def test_a_command_from_elsewhere_acts_as_remote_and_its_answer_goes_back(asked):
    await asked.ask("acknowledge", 10_000)
    assert asked.answers == [(1, ())]
    (deed,) = asked.deeds("acknowledge")
    assert (deed.place, deed.who, deed.result) == ("remote", "Ada Öz", "accepted")
    assert deed.parameters == {"id": "desk-0001"}


async def test_a_start_from_elsewhere_is_refused_where_the_station_does_not_allow_it(asked):
    await asked.ask("start", 10_000)
    ((number, reasons),) = asked.answers
    assert number == 1
    assert reasons
    assert Step(asked.driven.rig.memory.step) == Step.REST
    (deed,) = asked.deeds("start")
    assert (deed.result, deed.parameters) == ("refused", {"id": "desk-0001"})


@pytest.mark.parametrize("held_up_ms", [0, 5_001])
async def test_a_start_that_is_over_its_time_when_a_scan_takes_it_starts_nothing(tmp_path, held_up_ms):
    """Allowed, with control handed over: without the delay it starts."""
    asked = Asked(tmp_path, presets=PRESETS._replace(remote_start_allowed=True))
    asked.driven.rig.desk.hand_control(to_remote=True, by=By("the panel socket"))
    asked.driven.run(1_000)
    await asked.given("start", 5_000)
    asked.hold_up(held_up_ms)
    await asked.scans()
    assert asked.answers == [(1, (LATE,) if held_up_ms else ())]
    assert (Step(asked.driven.rig.memory.step) == Step.REST) == bool(held_up_ms)
    assert [deed.result for deed in asked.deeds("start")] == ["refused" if held_up_ms else "accepted"]


@pytest.mark.parametrize(("command", "acts"), [("acknowledge", False), ("stop", True), ("halt", True)])
async def test_what_comes_too_late_does_nothing_unless_it_stops(asked, command, acts):
    asked.hold_up(20_000)
    await asked.ask(command, -1)
    assert asked.answers == [(1, () if acts else (LATE,))]
    assert [deed.result for deed in asked.deeds(command)] == ["accepted" if acts else "refused"]


async def test_what_is_late_takes_no_scan_from_the_command_behind_it(asked):
    await asked.given("acknowledge", 10, number=1)
    await asked.given("acknowledge", 5_000, number=2)
    asked.hold_up(11)
    asked.driven.scan()
    await asyncio.sleep(0)
    await asyncio.sleep(0)
    assert dict(asked.answers) == {1: (LATE,), 2: ()}


@pytest.mark.parametrize(
    "services", [Services(), Services(mqtt=ALLOWED.mqtt.model_copy(update={"commands": "refused"}))]
)
async def test_the_rig_itself_looks_whether_commands_are_let_in(tmp_path, services):
    asked = Asked(tmp_path, services)
    asked.driven.run(500)
    await asked.ask("acknowledge", 10_000)
    assert asked.answers == [(1, (NOT_ALLOWED,))]
    assert not asked.deeds("acknowledge")


async def test_what_is_let_in_with_a_password_is_not_let_in_over_a_broker_that_asks_nobody_who_he_is(
    tmp_path,
):
    protected = ALLOWED.mqtt.model_copy(update={"user": "r101", "password_file": "password"})
    asked = Asked(tmp_path, Services(mqtt=protected))
    asked.driven.run(500)
    await asked.ask("acknowledge", 10_000)
    assert asked.answers == [(1, (NOT_ALLOWED,))]
    assert asked.said == [UNPROTECTED]


async def test_before_there_is_a_rig_it_is_said_that_none_scans_and_not_that_it_is_late(tmp_path):
    asked = Asked(tmp_path)
    asked.reporting._rig = None
    await asked.ask("acknowledge", 10_000)
    assert asked.answers == [(1, (NOT_BEGUN,))]


async def test_a_restart_and_lost_records_are_events(tmp_path):
    asked = Asked(tmp_path)
    asked.reporting.reporter._heard.restarted("it was ended by signal 9; started again, restart 1")
    asked.reporting.reporter._heard.lost(12, "there was no room for them")
    said = [(event.id, event.what, event.detail) for event in asked.driven.events]
    assert said == [
        ("REPORTER_RESTARTED", "it was ended by signal 9; started again, restart 1", ""),
        ("RECORDS_LOST", "12 records", "there was no room for them"),
    ]
    (deed,) = asked.driven.deeds
    assert (deed.place, deed.command, dict(deed.parameters)) == (
        "the rig itself", "lose records", {"records": 12, "why": "there was no room for them"},
    )  # fmt: skip
