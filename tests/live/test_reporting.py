"""What a rig tells of this moment, and the commands that come back to it."""

import asyncio
from datetime import timedelta
from pathlib import Path

import pytest
from live.rigs import DATE, MILL, Driven
from reporter.rig_end import opening

from controller.clock import SteppedClock
from controller.live.reporting import LATE, Reporting
from controller.live.run_ask import read_ask
from controller.live.told_now import ToldNow
from controller.reporter.lines import line, read
from controller.reporter.station import StationTold
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
class Asked:
    """A rig that is asked over the channel; scans come between."""

    def __init__(self, tmp_path):
        self.clock, self.driven, self.answers = SteppedClock(DATE), Driven(), []
        ask = read_ask(MILL, fifo=False, start=False, broker="embedded", **BROKER)
        self.reporting = Reporting(ask, tmp_path, "0", "simulated", self.clock, print)
        self.reporting.attach(self.driven.rig)
        self.reporting.reporter.answer = lambda number, reasons: self.answers.append((number, reasons))

    async def ask(self, command, expires_s, number=1):
        expires = (DATE + timedelta(seconds=expires_s)).isoformat().replace("+00:00", "Z")
        self.reporting._asked(number, command, "Ada Öz", expires)
        for _ in range(3):
            await asyncio.sleep(0)
            self.driven.scan()
        await asyncio.sleep(0)


async def test_a_command_from_elsewhere_acts_as_remote_and_its_answer_goes_back(tmp_path):
    asked = Asked(tmp_path)
    asked.driven.run(500)
    await asked.ask("acknowledge", 10)
    assert asked.answers == [(1, ())]
    (deed,) = [deed for deed in asked.driven.deeds if deed.command == "acknowledge"]
    assert (deed.place, deed.who, deed.result) == ("remote", "Ada Öz", "accepted")


async def test_a_start_from_elsewhere_is_refused_where_the_station_does_not_allow_it(tmp_path):
    asked = Asked(tmp_path)
    asked.driven.run(500)
    await asked.ask("start", 10)
    ((number, reasons),) = asked.answers
    assert number == 1
    assert reasons
    assert Step(asked.driven.rig.memory.step) == Step.REST


async def test_a_command_that_is_over_its_time_when_it_comes_does_nothing(tmp_path):
    asked = Asked(tmp_path)
    asked.clock.sleep_until(10_001)
    asked.driven.run(500)
    await asked.ask("acknowledge", 10)
    assert asked.answers == [(1, (LATE,))]
    assert not [deed for deed in asked.driven.deeds if deed.command == "acknowledge"]


async def test_a_restart_and_lost_records_are_events(tmp_path):
    asked = Asked(tmp_path)
    asked.reporting.reporter._heard.restarted("it was ended by signal 9; started again, for the first time")
    asked.reporting.reporter._heard.lost(12)
    said = [(event.id, event.what) for event in asked.driven.events]
    assert said == [
        ("REPORTER_RESTARTED", "it was ended by signal 9; started again, for the first time"),
        ("RECORDS_LOST", "12 records"),
    ]
