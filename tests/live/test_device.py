"""The simulated receiver as remote I/O, in stepped time: its watchdog, what it hands over, what it says."""

import itertools

import pytest
from live.rigs import MILL, STATION

from controller.clock import SteppedClock
from controller.image import Outputs
from controller.modbus.exchange import Received
from controller.modbus.point_map import load_point_map
from controller.simulate.plant_command import STEP_MS, Ask, SimulatedStation
from io_sim.modbus_device import ModbusDevice
from io_sim.plant import Plant
from io_sim.settings import load_plant

MAP = load_point_map(MILL, STATION.points)
ALL_OFF = {place.name: 0 for place in MAP.outputs}


class Wire:
    """What a controller would write, as the test says; and what it is given."""

    def __init__(self):
        self.newest, self.session, self.given = None, 0, []

    def hand_over(self, values, life, session=None):
        self.given.append((values, life))
        return True


class PlantClock:
    """So many times as quick as that of the room."""

    def __init__(self, room, rate):
        self._room, self._rate = room, rate

    def now_ms(self):
        return int(self._room.now_ms() * self._rate)


class Bench:
    """`clock`, and what it is asked for, are of the room."""

    def __init__(self, *, start=False, rate=1):
        self.clock, self.wire, self.lines = SteppedClock(), Wire(), []
        plants = PlantClock(self.clock, rate)
        self.device = ModbusDevice(Plant(load_plant(MILL)), self.wire, MAP, plants, self.clock, self.lines.append)
        ask = Ask(MILL, "R-101", MAP, load_plant(MILL), None, None, rate, None, start)
        self.station = SimulatedStation(ask, self.device, plants, self.clock)
        self._life = 0

    def connect(self, session):
        self.wire.session = session

    def run(self, ms, *, writes=None):
        """`writes`: a controller writes these outputs and counts; None: nobody does."""
        for _ in range(ms // STEP_MS):
            self.clock.sleep_until(self.clock.now_ms() + STEP_MS)
            if writes is not None:
                self._life += 1
                values = {**ALL_OFF, **writes}
                self.wire.newest = Received(values, self._life, self.clock.now_ms(), self.wire.session)
            self.station.step()


def test_what_a_controller_writes_acts_on_the_plant_and_shows_at_its_inputs():
    bench = Bench()
    bench.connect(1)
    bench.run(2_000, writes={"flap_open_cmd": 1})
    values, _ = bench.wire.given[-1]
    assert (values["flap_open_fb"], values["flap_closed_fb"]) == (1, 0)
    assert set(values) == {place.name for place in MAP.inputs}


def test_its_life_counter_moves_with_each_image():
    bench = Bench()
    bench.run(100)
    lives = [life for _, life in bench.wire.given]
    assert lives == [*range(lives[0], lives[0] + len(lives))]


def test_a_life_counter_that_stands_still_drops_the_outputs_within_the_watchdog_time_and_is_told_once():
    bench = Bench()
    bench.connect(1)
    bench.run(1_000, writes={"vent_close_cmd": 1, "source_cmd": 1})
    bench.run(MAP.watchdog_ms)
    assert bench.device.held.source_cmd
    bench.run(STEP_MS)
    assert bench.device.held == Outputs()
    bench.run(5_000)
    assert sum("watchdog" in line for line in bench.lines) == 1


@pytest.mark.parametrize("rate", [5, 0.2])
def test_the_watchdog_counts_real_time_at_any_rate_of_the_plant(rate):
    """The controller at the other end lives in real time: it must notice a lost link before the outputs drop."""
    bench = Bench(rate=rate)
    bench.connect(1)
    bench.run(1_000, writes={"source_cmd": 1})
    bench.run(MAP.watchdog_ms)
    assert bench.device.held.source_cmd
    bench.run(STEP_MS)
    assert bench.device.held == Outputs()


def test_at_a_rate_the_plant_lives_faster():
    bench = Bench(rate=10)
    bench.connect(1)
    bench.run(200, writes={"flap_open_cmd": 1})
    assert bench.wire.given[-1][0]["flap_open_fb"] == 1


def test_an_image_written_again_and_again_with_the_same_count_is_no_sign_of_life():
    bench = Bench()
    bench.connect(1)
    bench.run(100, writes={"source_cmd": 1})
    stuck = bench.wire.newest
    for _ in range(200):
        bench.wire.newest = stuck._replace(at_ms=bench.clock.now_ms())
        bench.run(STEP_MS)
    assert bench.device.held == Outputs()


def test_what_is_written_after_the_watchdog_acts_again_and_a_second_stop_is_told_again():
    bench = Bench()
    bench.connect(1)
    bench.run(100, writes={"purge_cmd": 1})
    bench.run(1_000)
    bench.run(100, writes={"purge_cmd": 1})
    assert bench.device.held.purge_cmd
    bench.run(1_000)
    assert sum("watchdog" in line for line in bench.lines) == 2


def test_who_comes_who_leaves_and_which_outputs_change_is_said():
    bench = Bench()
    bench.run(50)
    assert bench.lines == []
    bench.connect(1)
    bench.run(50, writes={"run_lamp": 1, "horn": 1})
    bench.connect(0)
    bench.run(50, writes=None)
    assert bench.lines == ["a controller is connected", "run_lamp on, horn on", "the controller has left"]


def test_an_end_in_order_is_told_apart_from_a_controller_that_dies():
    for on, last in (
        ({}, "the controller has left, outputs at their safe values"),
        ({"run_lamp": 1}, "run_lamp off"),
    ):
        bench = Bench()
        bench.connect(1)
        bench.run(50, writes={"run_lamp": 1})
        bench.run(50, writes=on)
        bench.connect(0)
        bench.run(5_000)
        assert bench.lines[-1] == last
        assert any("watchdog" in line for line in bench.lines) == bool(on)


def test_a_life_counter_that_stands_still_is_told_while_the_link_stands_though_nothing_drops():
    bench = Bench()
    bench.connect(1)
    bench.run(50, writes={})
    bench.run(5_000)
    assert "watchdog" in bench.lines[-1]


def test_another_connection_is_another_controller():
    bench = Bench()
    bench.connect(1)
    bench.run(50)
    bench.connect(2)
    bench.run(50)
    assert bench.lines == [
        "a controller is connected",
        "the controller has left",
        "a controller is connected",
    ]


def test_what_a_controller_wrote_before_its_link_was_gone_does_not_act_afterwards():
    """A device that was stopped finds it in its socket when it goes on."""
    bench = Bench()
    bench.connect(1)
    bench.run(50, writes={})
    bench.connect(0)
    bench.wire.newest = Received({**ALL_OFF, "source_cmd": 1}, 7_000, bench.clock.now_ms(), 1)
    bench.run(50)
    assert bench.device.held == Outputs()


@pytest.mark.parametrize("rate", [1, 50])
def test_start_is_pressed_once_a_controller_is_there_and_let_go(rate):
    """In real time: a controller has to see it."""
    bench = Bench(start=True, rate=rate)
    bench.run(3_000)
    assert not any(values["start_pb"] for values, _ in bench.wire.given)
    bench.connect(1)
    bench.run(5_000, writes={})
    pressed = [values["start_pb"] for values, _ in bench.wire.given]
    assert sum(pressed) * STEP_MS == 300
    assert sum(b > a for a, b in itertools.pairwise(pressed)) == 1


def test_a_failure_is_seen_in_the_status_and_said_and_ends_by_itself():
    bench = Bench()
    assert bench.station.fail("line_blocked", 1.0, 100) == ()
    bench.run(90)
    assert bench.station.status().failures == {"line_blocked": 1.0}
    assert bench.station.status().kind == "plant"
    bench.run(20)
    assert bench.station.status().failures == {}
    assert bench.lines == ["FAILED line_blocked, amount 1", "failure ended: line_blocked"]
    assert "no failure mode" in bench.station.fail("nothing", 1.0, None)[0]
