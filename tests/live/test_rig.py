"""The live rig, scan by scan: the same sequence as in virtual time, its engines agree, its end is safe."""

import asyncio
from itertools import pairwise

import pytest
from live.rigs import LOGIC, MILL, PRESETS, SCAN_MS, Driven, stuck

from controller.cycle_statistics import throughput
from controller.engines import generated
from controller.image import Inputs, Outputs
from controller.live.console import Console
from controller.live.live_io import GOOD
from controller.port import NEVER_MS, IoError, is_safe
from controller.scan.agreement import AgreeingScan, DisagreementError
from controller.scan.ticker import Tick
from controller.sequence.steps import FAULT, Step
from controller.simulate.executors import executor
from controller.simulate.failures_asked import Failures
from controller.simulate.operator import HELD_MS, START_AT_MS, Operator
from controller.simulate.station_loop import StationLoop
from controller.simulate.station_run import StationRun
from controller.simulate.station_watch import Watcher
from io_sim.settings import load_plant

FOR_MS = 60_000


class Ticks:
    """A beat without time; `missed` deadlines now and then."""

    period_ms = SCAN_MS

    def __init__(self, missed=()):
        self._missed, self.count = dict(missed), 0

    async def next(self):
        self.count += 1
        return Tick(self._missed.get(self.count, 0), 0)


class Port:
    """Real I/O whose inputs the test sets, and whose outputs it sees."""

    def __init__(self):
        self.written, self.closed = [], False

    def read(self):
        self._still_open()
        return Inputs()

    def write(self, outputs):
        self._still_open()
        self.written.append(outputs)

    def _still_open(self):
        if self.closed:
            msg = "gone"
            raise IoError(msg, after_ms=0, retry=False)

    def close(self):
        self.closed = True


@pytest.fixture(scope="module")
def live():
    """A minute: start, emptying, the first batch."""
    driven = Driven()
    driven.run(START_AT_MS)
    driven.press("start_pb", HELD_MS)
    driven.run(FOR_MS - START_AT_MS - HELD_MS)
    driven.rig.finish("the test is over")
    return driven


@pytest.fixture(scope="module")
def virtual():
    """The same minute in the closed loop."""
    cycles, events = [], []
    loop = StationLoop(LOGIC, PRESETS, load_plant(MILL), executor("generated", LOGIC))
    watcher = Watcher(cycles.append, events.extend, lambda segment: None)
    StationRun(loop, PRESETS, Operator(None), Failures([]), watcher, "0").run(FOR_MS, None, lambda ms: None)
    return cycles, events


def test_the_steps_are_those_of_the_virtual_run_scan_by_scan(live, virtual):
    """The plant lives in another object and moves before the logic in both: not a scan may lie between."""
    steps = [(e.at_ms, e.what, e.detail) for e in live.events if e.id == "STEP_CHANGED"]
    assert len(steps) > 15
    assert steps == [(e.at_ms, e.what, e.detail) for e in virtual[1] if e.id == "STEP_CHANGED"]


def test_the_records_of_cycles_are_those_of_the_virtual_run(live, virtual):
    assert len(live.cycles) > 1
    said = [cycle._replace(start_utc="") for cycle in live.cycles]
    assert said == [cycle._replace(start_utc="") for cycle in virtual[0]]


def test_segments_follow_each_other_without_gap(live):
    first = live.segments[0]
    assert first.first_ms == SCAN_MS
    for before, now in pairwise(live.segments):
        assert now.first_ms == before.last_ms + SCAN_MS
        assert now.memory_before == before.memory(before.scans)


def test_on_real_io_a_cycle_tells_no_mass_and_no_air_and_is_not_called_simulated(live):
    """Nothing weighs there: what is not known is None, never a made-up number."""
    rig = Driven(Replayed(live.segments))
    rig.run(FOR_MS)
    rig.rig.finish("the test is over")
    assert [cycle.result for cycle in rig.cycles] == [cycle.result for cycle in live.cycles]
    assert live.cycles[1].delivered_kg > 5
    said = []
    Console(said.append, lambda: ()).cycle(rig.cycles[1])
    assert said[0].endswith(" s, mass not known")
    told = {(c.delivered_kg, c.air_nm3, c.fill_rate_kg_h, c.simulated) for c in rig.cycles}
    assert told == {(None, None, None, False)}
    came = throughput(rig.cycles)
    assert (came.cycles, came.delivered_kg, came.rate_kg_h, came.air_nm3_per_t) == (
        len(rig.cycles),
        None,
        None,
        None,
    )
    assert rig.rig.watch.totals(rig.segments[-1], 0.0, 0.0).counters["kg"] == 0
    assert rig.rig.watch.totals(rig.segments[-1], 0.0, 0.0).counters["flap_strokes"] > 0


class Replayed(Port):
    """Real I/O that shows the inputs of a recording, whatever is written."""

    def __init__(self, segments):
        super().__init__()
        hints = Inputs._field_defaults
        self._images = iter(
            [
                Inputs._make(
                    bool(v) if isinstance(hints[n], bool) else v
                    for n, v in zip(Inputs._fields, segment.inputs(k), strict=True)
                )
                for segment in segments
                for k in range(segment.scans)
            ]
        )

    def read(self):
        return next(self._images)


# ---- both engines ------------------------------------------------------------------------------------
def planted(place):
    """The generated scan with a mistake in one place of its memory, from the tenth scan on."""
    right, scans = generated.interpreted(LOGIC), 0

    def scan(memory, inputs, presets, dt_ms, outputs, acts):
        nonlocal scans
        scans += 1
        right(memory, inputs, presets, dt_ms, outputs, acts)
        target, k = {"memory": (memory, 0), "outputs": (outputs, -1), "acts": (acts, 0)}[place]
        target[k] += scans >= 10

    return scan


@pytest.mark.parametrize("place", ["memory", "outputs", "acts"])
def test_a_difference_between_the_engines_ends_the_run_with_safe_outputs(place):
    port = Port()
    driven = Driven(port, beside=planted(place))
    ended = asyncio.run(driven.rig.run(Ticks(), 1_000, lambda: ""))
    assert not ended.good
    assert "disagree" in ended.said
    assert len(port.written) == 10
    assert port.written[-1] == Outputs()


def test_the_message_of_a_difference_names_it_with_both_values():
    scan, memory = AgreeingScan(LOGIC, PRESETS, planted("memory")), LOGIC.power_up()
    for _ in range(9):
        memory = scan.scan(memory, Inputs(), 10).memory
    with pytest.raises(DisagreementError, match=rf"{next(iter(LOGIC.memory))} is \d+ and \d+"):
        scan.scan(memory, Inputs(), 10)


# ---- the end -----------------------------------------------------------------------------------------
def test_the_time_is_over_and_the_outputs_are_safe():
    driven, ticks = Driven(), Ticks()
    ended = asyncio.run(driven.rig.run(ticks, 500, lambda: ""))
    assert ended.good
    assert ticks.count == 50
    assert driven.machine.held == Outputs()


def test_whoever_asks_for_the_end_gets_safe_outputs_in_the_middle_of_a_batch():
    driven = Driven()
    driven.run(1_000)
    driven.press("start_pb")
    driven.run_until(Step.CONVEY)
    assert driven.machine.held.source_cmd
    ended = asyncio.run(driven.rig.run(Ticks(), None, lambda: "SIGTERM"))
    assert (ended.said, ended.good) == ("SIGTERM", True)
    assert driven.machine.held == Outputs()


def test_a_mistake_in_the_program_leaves_safe_outputs_behind():
    driven = Driven()
    driven.run(1_000)
    driven.press("start_pb")
    driven.run_until(Step.CONVEY)
    driven.rig.desk.over = None
    with pytest.raises(TypeError):
        asyncio.run(driven.rig.run(Ticks(), None, lambda: ""))
    assert driven.machine.held == Outputs()


def test_a_closed_port_ends_the_run():
    port = Port()
    driven = Driven(port)
    port.close()
    ended = asyncio.run(driven.rig.run(Ticks(), None, lambda: ""))
    assert not ended.good
    assert "gone" in ended.said


def test_a_cycle_that_the_end_breaks_off_is_written_down_as_unfinished():
    driven = Driven()
    driven.run(1_000)
    driven.press("start_pb")
    driven.run_until(Step.DRAIN)
    driven.rig.finish("SIGTERM")
    assert [cycle.result for cycle in driven.cycles] == ["unfinished"]
    assert driven.told("CONTROLLER_ENDED") == [("SIGTERM", "")]


# ---- late scans --------------------------------------------------------------------------------------
def test_missed_deadlines_in_a_row_warn_and_trip_and_one_in_time_ends_the_count():
    driven = Driven()
    driven.run(100)
    for _ in range(PRESETS.scans_late_trip - 1):
        driven.scan(missed=1)
    assert driven.rig.inputs.scans_late == PRESETS.scans_late_trip - 1
    assert driven.rig.memory.step != FAULT
    assert driven.told("SCAN_OVERRUN")
    driven.scan()
    assert driven.rig.inputs.scans_late == 0
    driven.scan(missed=PRESETS.scans_late_trip)
    assert driven.rig.memory.step == FAULT


class Aged(Port):
    """Real I/O whose image is as old as the test says, and whose life counter moves or stands."""

    age_ms, life, counts = 0, 0, 1

    def read(self):
        self.life += self.counts
        return Inputs(image_age_ms=self.age_ms, io_life=self.life)


@pytest.mark.parametrize(
    ("age_ms", "missed", "said"),
    [
        (201, 0, ("age of the inputs 201 ms > 200 ms (io_lost_ms)", "missed none of its last 100 scans")),
        (210, 1, ("age of the inputs 210 ms > 200 ms (io_lost_ms)", "the controller itself missed 1 of its last")),
        (310, 30, ("age of the inputs 310 ms > 200 ms (io_lost_ms)", "the controller itself missed 30 of its last")),
        (NEVER_MS, 0, ("no image of the inputs yet, or none since the link was lost", "missed none of")),
        (NEVER_MS, 500, ("no image of the inputs yet", "the controller itself missed 99 of its last 100 scans")),
    ],
)  # fmt: skip
def test_lost_inputs_are_told_with_whose_doing_it_was(age_ms, missed, said):
    port = Aged()
    driven = Driven(port)
    driven.run(500)
    port.age_ms = age_ms
    driven.scan(missed=missed)
    (detail,) = (detail for what, detail in driven.told("IO_LOST") if what == "raised")
    assert all(part in detail for part in said), detail
    assert "86,400" not in detail


def test_a_link_that_fails_is_told_with_its_reason_when_the_inputs_are_lost_and_when_it_is_bad():
    port = Aged()
    driven = Driven(port)
    driven.run(500)
    driven.health, port.age_ms = GOOD._replace(state="stale", said="the device does not answer"), 201
    driven.scan()
    (detail,) = (detail for what, detail in driven.told("IO_LOST") if what == "raised")
    assert detail.endswith("missed none of its last 100 scans; the device does not answer")
    assert driven.told("LINK_CHANGED") == []
    driven.health = driven.health._replace(state="bad")
    driven.scan(missed=50)
    driven.scan()
    driven.health = GOOD
    driven.scan()
    missed = "the controller itself missed 50 of its last 100 scans"
    assert driven.told("LINK_CHANGED") == [("bad: the device does not answer", missed), ("good", "")]


def test_a_life_counter_that_stands_is_told_beside_an_image_that_is_new():
    port = Aged()
    driven = Driven(port, presets=PRESETS._replace(io_life_watched=True))
    driven.run(500)
    port.counts = 0
    driven.run(300)
    (detail,) = (detail for what, detail in driven.told("IO_LOST") if what == "raised")
    assert detail == (
        "the life counter of the I/O is standing still for 200 ms of 200 ms (io_lost_ms); "
        "the controller itself missed none of its last 100 scans"
    )


def test_the_sequence_lives_as_long_as_the_deadlines_say():
    driven = Driven()
    driven.run(100)
    driven.scan(missed=4)
    driven.run(100)
    assert driven.rig.now_ms == 250
    assert [segment.scan_ms for segment in driven.segments if segment.last_ms == 150] == [50]


def test_a_pause_longer_than_what_is_proved_counts_as_the_longest_and_the_date_goes_on():
    driven = Driven()
    driven.run(100)
    driven.scan(missed=999)  # 10 s
    assert driven.rig.now_ms == 1_100
    driven.rig.finish("over")
    assert driven.events[-1].utc == "2026-01-05T06:00:10.100+00:00"


# ---- power ------------------------------------------------------------------------------------------
def test_what_is_kept_comes_back_at_power_up_and_nothing_restarts():
    driven = Driven()
    driven.run(1_000)
    driven.press("start_pb")
    driven.run_until(Step.CONVEY)
    driven.machine.fail("line_blocked")
    driven.run_until(FAULT)
    kept = {name: int(getattr(driven.rig.memory, name)) for name in LOGIC.kept}
    again = Driven(kept=kept)
    again.run(2_000)
    assert again.rig.memory.step == FAULT
    assert again.rig.memory.first_out == driven.rig.memory.first_out
    assert is_safe(again.rig.outputs)


def test_a_fault_from_before_the_power_was_lost_is_said_to_be_one():
    """Whoever starts the controller must not look for a cause of today."""
    kept = {"fault_stored": 1, "first_out": LOGIC.interlock_names.index("IO_LOST") + 1}
    after = Driven(kept=kept)
    after.run(100)
    ((what, why),) = after.told("STEP_CHANGED")
    assert (what, why) == ("REST -> FAULT", "IO_LOST; a fault was standing at power-down")


def test_a_trip_that_its_warning_went_before_bears_its_own_facts():
    driven = Driven()
    driven.run(100)
    for _ in range(PRESETS.scans_late_trip):
        driven.scan(missed=1)
    (moved,) = (detail for what, detail in driven.told("STEP_CHANGED") if what.endswith("-> FAULT"))
    assert moved.startswith("SCAN_OVERRUN; late scans 20 >= 20 (scans_late_trip)")


def test_an_interlock_that_a_fault_does_not_look_at_is_not_told_as_gone():
    assert [what for what, _ in stuck().told("FLAP_NOT_CLOSED") if "->" not in what] == [
        "raised", "no longer looked at in FAULT",
    ]  # fmt: skip


def test_an_interlock_that_a_fault_looks_at_is_gone_when_its_cause_is():
    port = Aged()
    driven = Driven(port)
    driven.run(500)
    port.age_ms = 201
    driven.run(100)
    port.age_ms = 0
    driven.run(100)
    assert [what for what, _ in driven.told("IO_LOST") if "->" not in what] == ["raised", "gone"]
