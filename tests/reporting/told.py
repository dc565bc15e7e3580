"""A short simulated run of the mill, with all that reporting would be told of it."""

from functools import cache

from controller.image import JOG, Inputs, Outputs
from controller.panel.point_readings import readings
from controller.reporting.messages import Head, Topics
from controller.reporting.station_now import LinkNow, Reading, StationNow
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import STATES, Step
from controller.settings import load_station
from controller.simulate.executors import best, executor
from controller.simulate.failures_asked import Failures, read
from controller.simulate.operator import Operator
from controller.simulate.station_loop import StationLoop
from controller.simulate.station_run import StationRun
from controller.simulate.station_watch import Watcher
from controller.simulate.tally import HELD_BY
from controller.stations import station_folder
from io_sim.settings import load_plant

LOGIC = Logic(RECEIVER)
BOOT = "5f0c7d1a-2b3c-4d5e-8f90-123456789abc"
TOPICS = Topics("mill", "R-101")
HEAD = Head("R-101", BOOT, 7, "2026-01-05T06:00:00.000+00:00", 1_000, simulated=True, forced=False)
LINK = LinkNow(True, "started", "0.1.0", "simulated")
ORDERS = ("none", "run", "clean", "empty")
OF_STEP = {step: state for state, steps in STATES.items() for step in steps}


def station_now(segment):
    step, names = segment.after("step"), LOGIC.interlock_names
    first_out, reason = segment.after("first_out"), segment.after("hold_reason")
    return StationNow(
        OF_STEP[step], Step(step).name, HELD_BY.get(reason, names[first_out - 1] if first_out else ""),
        ORDERS[segment.after("order")], runs_on=bool(segment.after("run")),
        manual=bool(segment.after("manual")), held=JOG[segment.after("jogged")],
        acting=tuple(segment.acting(names)),
    )  # fmt: skip


def reading(point):
    return Reading(
        point.tag, point.name, point.description, point.kind, point.quality, point.raw, point.value, point.unit,
        point.forced,
    )  # fmt: skip


class ToldRun:
    """Four minutes; in the third batch the flap sticks open: a trip, then reset and start half a minute later."""

    def __init__(self):
        folder = station_folder("buckwheat_mill")
        self.station, plant = load_station(folder), load_plant(folder)
        self.cycles, self.events, self.nows, self.readings = [], [], [], []
        presets = self.station.receiver.presets
        loop = StationLoop(LOGIC, presets, plant, executor(best(), LOGIC), seed=3)
        watcher = Watcher(self.cycles.append, self.events.extend, self.look)
        run = StationRun(
            loop, presets, Operator(30_000), Failures([read("flap_sticks_open@drain#3+17s")]), watcher, "test"
        )
        self.totals = run.run(240_000, None, lambda now_ms: None)

    def look(self, segment):
        self.nows.append((segment.last_ms, station_now(segment)))
        if len(self.readings) < 20:
            inputs = Inputs._make(segment.after(name) for name in Inputs._fields)
            outputs = Outputs._make(bool(segment.after(name)) for name in Outputs._fields)
            points = readings(self.station.points, inputs, outputs, {}, 200)
            self.readings.append([reading(point) for point in points])


@cache
def told_run():
    return ToldRun()
