"""Rigs for the panel: one that only notes what it is asked, one that is the real sequence on the test bench."""

from bench import BENCHES, Bench

from controller.engines.as_written import AsWritten, on_rows
from controller.explain import Scene
from controller.image import JOG, Inputs, Outputs
from controller.panel.forcing import Forcing
from controller.panel.held_back import held_back
from controller.panel.point_readings import readings
from controller.panel.rig import Status
from controller.panel.why import Why
from controller.points import load_points
from controller.sequence.steps import REST, Step
from controller.stations import station_folder

MILL = station_folder("buckwheat_mill")
POINTS = load_points(MILL)
NOTHING = Why(step="REST", told="", at_ms=0, in_step_ms=0, acting=(), waits=(), refused={})


class NotingRig:
    """Accepts everything at once, and notes it."""

    def __init__(self, **status):
        self.asked, self.people, self.refusals = [], [], []
        self.now = Status(**{"station": "R-101", "io": "simulated", "real": False, "at_ms": 0} | status)

    def status(self):
        return self.now

    def points(self):
        return readings(POINTS, Inputs(), Outputs(), {}, 500)

    def why(self):
        return NOTHING

    async def request(self, command, who="", to_hold=""):
        self._ask(command, who)
        return ()

    def refused(self, command, reasons, who="", **asked):
        self.refusals.append((command, reasons, asked))

    def jog(self, output, who="", area_clear_by=""):
        self._ask(f"jog {output}", who, area_clear_by)

    def force(self, forced, who="", area_clear_by=""):
        self._ask(f"force {forced}", who, area_clear_by)

    def fail(self, mode, amount, for_ms, who=""):
        if self.now.real:
            return ("I/O over a wire counts as real I/O",)
        self._ask(f"fail {mode} {amount} {for_ms}", who)
        return ()

    def _ask(self, what, who, area_clear_by=""):
        self.asked.append(what)
        self.people.append((who, area_clear_by))


class LonelyPlant:
    """A simulated plant without a controller."""

    def __init__(self):
        self.failures = {}

    def status(self):
        return Status(station="R-101", kind="plant", io="plant", real=False, at_ms=5, failures=self.failures)

    def fail(self, mode, amount, for_ms, who=""):
        if mode != "line_blocked":
            return (f"no failure mode {mode!r}",)
        self.failures = {mode: amount} if amount else {}
        return ()


class BenchRig:
    """The real sequence on the test bench; time passes in `run` and by one scan in each request."""

    def __init__(self, bench: Bench | None = None, *, real: bool = False):
        self.bench = bench or rested()
        self.real = real
        self.forcing = Forcing(real=real)
        self.pressed = {}  # buttons, and what else no machine drives
        self._jog = ""
        self._asked = ""

    def run(self, for_ms: int) -> None:
        for _ in range(for_ms // self.bench.scan_ms):
            self._scan(self.bench.scan)

    def _scan(self, scan):
        wired = Inputs(automatic_request=scan != self.bench.scan)
        self.forcing.over(wired, manual=bool(self.bench.remembers("manual")))
        self.bench.forced = {**self.pressed, **self.forcing.forced, "jog": JOG.index(self._jog)}
        self._asked, self._jog = self._jog or self._asked, ""
        return scan()

    async def request(self, command, who="", to_hold=""):
        return tuple(self._scan(lambda: self.bench.request(command)))

    def refused(self, command, reasons, who="", **asked):
        pass

    def jog(self, output, who="", area_clear_by=""):
        self._jog = output
        self._asked = output

    def force(self, forced, who="", area_clear_by=""):
        self.forcing.put(forced)

    def fail(self, mode, amount, for_ms, who=""):
        return ("no plant here",)

    def points(self):
        return readings(POINTS, self.inputs, self.bench.outputs, self.forcing.wire, 500)

    def why(self):
        return NOTHING

    @property
    def inputs(self) -> Inputs:
        return Inputs(*self.bench._inputs)

    def status(self):
        bench = self.bench
        held = JOG[bench.remembers("jogged")] or self._asked
        works = bench.works
        works.as_written = works.as_written or AsWritten(works.logic, on_rows)
        before = works.logic.Memory._make(bench._before)
        scene = Scene(works.as_written, before, self.inputs, bench.presets, bench.scan_ms)
        step = Step(bench.remembers("step"))
        return Status(
            station="R-101", io="bench", real=self.real, at_ms=bench.now_ms, state=step.name, step=step.name,
            manual=bool(bench.remembers("manual")), manual_ms=bench.remembers("manual_ms"),
            jog_age_ms=bench.remembers("jog_age_ms"), warning_ms=bench.presets.warning_ms,
            jog_renew_ms=bench.presets.jog_renew_ms, held=held,
            held_on=bool(held) and getattr(bench.outputs, held),
            held_back=held_back(works.logic, scene.facts, held), forced=self.forcing.forced,
            dropped=bool(self._asked) and JOG[bench.remembers("jogged")] != self._asked,
            fault_horn=step == Step.FAULT and not bench.remembers("horn_silenced"),
        )  # fmt: skip


def rested() -> Bench:
    """At rest, long enough for every permissive."""
    bench = BENCHES.at(REST)
    bench.run(6_000)
    return bench
