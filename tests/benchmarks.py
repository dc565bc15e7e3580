"""
The figures of this machine, printed. Run by `make bench`; never part of the tests.

CPU seconds of one process unless it says wall: the figures of a shared machine are only worth that much.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import benchmarks_mqtt
import benchmarks_records
import benchmarks_reporter
import benchmarks_wire
import drift_runs

from controller.engines import generated
from controller.engines.as_written import AsWritten, on_rows
from controller.image import Inputs, Outputs
from controller.reporting.journal import Journal
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.simulate import executors
from controller.simulate.failures_asked import Failures
from controller.simulate.operator import Operator
from controller.simulate.station_loop import StationLoop
from controller.simulate.station_run import StationRun
from controller.simulate.station_watch import Watcher
from io_sim.parameters import PlantParameters
from io_sim.plant import Plant
from io_sim.put_in import put_in

STATION = Path(__file__).parents[1] / "configs" / "buckwheat_mill"
LOGIC = Logic(RECEIVER)


def cpu_s(work, *args):
    began = time.process_time()
    work(*args)
    return time.process_time() - began


def line(what, figure, aim=""):
    print(f"{what:62} {figure:>16}  {aim}", flush=True)


def wall_s(*arguments, **environment):
    began = time.monotonic()
    subprocess.run(
        [sys.executable, "-c", "from controller.cli import main; main()", *arguments],
        env={**os.environ, **environment}, check=True, stdout=subprocess.DEVNULL,
        cwd=Path(__file__).parents[1],
    )  # fmt: skip
    return time.monotonic() - began


def for_station(name):
    """The executor as `simulate` makes it: for the options of the station alone."""
    return executors.executor(name, LOGIC, options=executors.options_of(Presets()))


def whole_path(name, minutes):
    """Plant time over CPU time from the press of start on: trace, records, events, journal; start-up apart."""
    loop = StationLoop(LOGIC, Presets(), PlantParameters(), for_station(name))
    loop.run(1)  # compiled or found compiled
    with tempfile.TemporaryDirectory() as folder, Journal(Path(folder)) as journal:
        watcher = Watcher(journal.add_cycle, journal.add_events, lambda segment: None)
        run = StationRun(loop, Presets(), Operator(None), Failures([]), watcher, "benchmark")
        return minutes * 60 / cpu_s(run.run, minutes * 60_000, None, lambda now_ms: None)


def bare_loop(name, minutes):
    """Plant time over CPU time of the loop alone, traced, nobody looking at it."""
    loop = StationLoop(LOGIC, Presets(), PlantParameters(), for_station(name))
    loop.run(100)
    loop.press("start_pb", 1)

    def run():
        while loop.now_ms < minutes * 60_000:
            loop.run(1_000)

    return minutes * 60 / cpu_s(run)


def scan_us(scan, scans, flat=list):
    memory = flat(generated.flat(LOGIC))
    inputs, presets = flat([*map(int, Inputs(supply_air_ua=15_200))]), flat([*map(int, Presets())])
    outputs, acts = flat([0] * len(Outputs._fields)), flat([0] * len(LOGIC.interlock_names))
    scan(memory, inputs, presets, 10, outputs, acts)

    def run():
        for _ in range(scans):
            scan(memory, inputs, presets, 10, outputs, acts)

    return cpu_s(run) / scans * 1e6


def as_written_us(engine, scans):
    inputs, presets, memory = Inputs(supply_air_ua=15_200), Presets(), LOGIC.power_up()

    def run():
        was = memory
        for _ in range(scans):
            was = engine.scan(was, inputs, presets, 10).memory

    return cpu_s(run) / scans * 1e6


def compiled_ns(scan, array, scans=500_000):
    """One scan inside a compiled loop."""
    from numba import njit

    @njit
    def many(n, memory, inputs, presets, outputs, acts):
        for _ in range(n):
            scan(memory, inputs, presets, 10, outputs, acts)

    values = [
        array(generated.flat(LOGIC)), array([*map(int, Inputs(supply_air_ua=15_200))]),
        array([*map(int, Presets())]), array([0] * len(Outputs._fields)), array([0] * len(LOGIC.interlock_names)),
    ]  # fmt: skip
    many(1, *values)
    return cpu_s(many, scans, *values) / scans * 1e9


def plant_step_us(steps, compiled=False, advance=None):
    """One plant step while it conveys, called in blocks so that the call itself does not count."""
    plant = Plant(PlantParameters(), compiled=compiled)
    plant._advance = advance or plant._advance
    drawing = Outputs(source_cmd=True, vent_close_cmd=True, feed_cmd=True)
    plant.advance(drawing, steps * 5)  # compiled or written anew, and conveying
    return cpu_s(plant.advance, drawing, steps * 5) / steps * 1e6


def search_h_min(episodes=12):
    """Plant hours a minute of a random search in one process."""
    from controller.campaign.runner import Runner
    from controller.campaign.search.trial import Trial

    trial = Trial(STATION.name, STATION, Runner(LOGIC, check=False))
    trial.drawn(0, 0)
    ran_ms = []
    took_s = cpu_s(lambda: ran_ms.extend(trial.drawn(1, n).ran_ms for n in range(episodes)))
    return sum(ran_ms) / 60_000 / took_s


def main():
    fast = find_spec("numba") is not None
    print(f"{len(LOGIC.facts)} facts, {len(LOGIC.memory)} memory, {len(LOGIC.rows)} rows, "
          f"{len(RECEIVER.interlocks)} interlock lines; 10 ms scan, 5 ms plant step")  # fmt: skip
    line("--help, wall", f"{min(wall_s('--help') for _ in range(3)):.2f} s", "< 0.4 s")
    cache = Path(tempfile.mkdtemp())
    try:
        kept = {"VACUUM_RECEIVER_CACHE": str(cache)}
        hour = ("simulate", str(STATION), "--for", "1h", "--out")
        line(
            "first virtual hour, nothing compiled, wall",
            f"{wall_s(*hour, str(cache / 'a'), **kept):.1f} s",
            "< 25 s",
        )
        line("again, wall", f"{wall_s(*hour, str(cache / 'b'), **kept):.1f} s", "< 10 s")
    finally:
        shutil.rmtree(cache)
    line("scan as written, rows on transitions", f"{as_written_us(AsWritten(LOGIC), 2_000):.0f} us")
    line("scan as written, rows on three lines", f"{as_written_us(AsWritten(LOGIC, on_rows), 2_000):.0f} us")
    line("plant step, interpreted", f"{plant_step_us(4_000):.1f} us")
    line("plant step, interpreted, constants put in", f"{plant_step_us(4_000, advance=put_in()):.1f} us")
    if fast:
        line("plant step, compiled", f"{plant_step_us(400_000, compiled=True) * 1_000:.0f} ns")
    line("scan generated, interpreted", f"{scan_us(generated.interpreted(LOGIC), 5_000):.1f} us")
    if fast:
        from controller.engines.compiled import array, compiled

        with tempfile.TemporaryDirectory() as folder:
            line("scan compiled, cold", f"{cpu_s(compiled, LOGIC, Path(folder)):.1f} s")
            line("scan compiled, from the cache", f"{cpu_s(compiled, LOGIC, Path(folder)):.2f} s")
            scan = compiled(LOGIC, Path(folder))
            line("scan compiled, called from Python", f"{scan_us(scan, 50_000, array):.2f} us")
            line("scan compiled, inside a compiled loop", f"{compiled_ns(scan, array):.0f} ns")
        line("closed loop compiled, traced, x real time", f"{bare_loop('compiled', 240):,.0f}", ">= 20,000")
        line("random search, plant hours a minute and process", f"{search_h_min():.1f}")
        line("whole path compiled, x real time", f"{whole_path('compiled', 60):,.0f}", ">= 500")
    if find_spec("z3") is not None:
        from controller.engines.claims import CLAIMS, Watched
        from controller.engines.proof import prove

        watched = Logic(replace(RECEIVER, facts=Watched))
        verdicts = []
        took_s = cpu_s(lambda: verdicts.extend(prove(watched, CLAIMS)))
        line(f"{sum(v.proved for v in verdicts)} of {len(CLAIMS)} claims proved", f"{took_s:.1f} s", "< 30 s")
    line("whole path generated, interpreted, x real time", f"{whole_path('generated', 3):.0f}", ">= 80")
    line("whole path as written on transitions, x real time", f"{whole_path('transitions', 2):.0f}", ">= 50")
    if fast:  # minutes a station
        for receiver in sorted(STATION.parent.glob("*/receiver.yaml")):
            drift_runs.report(receiver.parent, 1_000, print)
    benchmarks_wire.report(line)
    benchmarks_records.report(line)
    benchmarks_reporter.report(line)
    benchmarks_mqtt.report(line)


if __name__ == "__main__":
    main()
