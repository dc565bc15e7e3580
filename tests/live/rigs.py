"""A rig on simulated I/O, driven scan by scan, with everything that it tells kept."""

from datetime import UTC, datetime
from pathlib import Path

from controller.live.live_io import GOOD, LiveIo
from controller.live.panel_rig import PanelRig
from controller.live.rig import Rig
from controller.scan.agreement import AgreeingScan
from controller.scan.ticker import Tick
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import FAULT, Step
from controller.settings import load_station
from controller.simulate.in_process import in_process
from controller.simulate.station_watch import Watcher

MILL = Path(__file__).parents[2] / "configs" / "buckwheat_mill"
LOGIC = Logic(RECEIVER)
STATION = load_station(MILL)
PRESETS = STATION.receiver.presets
SCAN_MS = 10
DATE = datetime(2026, 1, 5, 6, tzinfo=UTC)


class Driven:
    """The rig under `rig`; `port` takes the place of the simulated one, which makes the I/O real."""

    def __init__(self, port=None, kept=None, beside=None, presets=PRESETS):
        self.events, self.cycles, self.segments, self.deeds, self.kept = [], [], [], [], {}
        self.health = GOOD
        self.machine = None if port else in_process(MILL, None, scan_ms=SCAN_MS)
        io = LiveIo(port, "a port") if port else LiveIo(self.machine, "simulated", self.machine)
        io = io._replace(health=lambda: self.health)
        self.rig = Rig(
            AgreeingScan(LOGIC, presets, beside), presets, io,
            Watcher(self.cycles.append, self.events.extend, self.segments.append),
            software="0", date=DATE, scan_ms=SCAN_MS, kept=kept, deed=self.deeds.append,
        )  # fmt: skip
        self.panel = PanelRig(self.rig, STATION)

    def scan(self, missed=0):
        self.rig.scan(Tick(missed, 0))

    def run(self, for_ms):
        for _ in range(for_ms // SCAN_MS):
            self.scan()

    def press(self, point, for_ms=300):
        self.machine.press(point, 1)
        self.run(for_ms)
        self.machine.press(point, 0)

    def run_until(self, step, within_ms=90_000):
        start_ms = self.rig.now_ms
        while self.rig.memory.step != step:
            assert self.rig.now_ms - start_ms < within_ms, Step(self.rig.memory.step).name
            self.scan()

    def told(self, name):
        return [(event.what, event.detail) for event in self.events if event.id == name]


def stuck():
    """In the fault of a flap that stays open."""
    driven = Driven()
    driven.run(1_000)
    driven.press("start_pb")
    driven.run_until(Step.DRAIN)
    driven.machine.fail("flap_sticks_open", 1.0)
    driven.run_until(FAULT)
    driven.run(1_000)
    return driven
