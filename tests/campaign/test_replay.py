"""A recorded run through today's logic, changed logics, and the words of another version."""

import ast
import itertools
import json
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from controller.campaign import replay_command
from controller.campaign.conditions import Reader
from controller.campaign.planted import changed, without
from controller.campaign.recorded import scans_of, write_trace
from controller.campaign.recording import Recording, whole_inputs
from controller.campaign.replay import replay
from controller.campaign.target import VirtualStation
from controller.campaign.words import Guarded
from controller.cli import app
from controller.engines import generated
from controller.engines.as_written import AsWritten, on_rows
from controller.engines.rescan import Rescanner
from controller.image import Inputs, Outputs
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.settings import load_station
from controller.simulate.executors import executor
from controller.simulate.run_trace import RunTrace
from controller.simulate.station_loop import StationLoop
from controller.trace.header import FILE, TraceError, header_of
from controller.trace.reader import Trace
from controller.trace.writer import TraceWriter
from io_sim.settings import load_plant

FOLDER = Path(__file__).parents[2] / "configs" / "buckwheat_mill"
LOGIC = Logic(RECEIVER)
RECEIVER_SETTINGS = load_station(FOLDER).receiver
PRESETS = RECEIVER_SETTINGS.presets
RAN_MS = 16_000


@cache
def generated_executor():
    return executor("generated", LOGIC)


@cache
def interpreted(logic):
    return Rescanner(logic, interpreted=True)


def header():
    return header_of(LOGIC, RECEIVER_SETTINGS, FOLDER, software="0", scan_ms=10, seed=1)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """A run folder: from power-up through the warning, the first clean, into suction."""
    folder = tmp_path_factory.mktemp("run")
    loop = StationLoop(LOGIC, PRESETS, load_plant(FOLDER), generated_executor())
    with RunTrace(folder, header(), loop.layout) as trace:
        for ends_ms, start in ((1_000, 0), (1_300, 1), (RAN_MS, 0)):
            loop.press("start_pb", start)
            while loop.now_ms < ends_ms:
                trace.take(loop.run((ends_ms - loop.now_ms) // 10))
    return folder


@pytest.fixture(scope="module")
def table(run):
    """All columns of the run, by name."""
    trace = Trace(run / FILE)
    whole = np.vstack([scans.table for scans in scans_of(trace)])
    return {name: whole[:, k] for k, name in enumerate(trace.header.columns)}


def through(path, logic=LOGIC):
    return replay(path, logic, lambda presets: interpreted(logic))


def test_a_run_replays_identically(run, table):
    done = through(run / FILE)
    assert (done.difference, done.notes, done.same_logic) == (None, (), True)
    assert (done.scans, done.ran_ms, done.parts) == (RAN_MS // 10, RAN_MS, 1)
    assert done.compared == len(Outputs._fields) + 1 + len(LOGIC.interlock_names)
    assert {LOGIC.step_names[k] for k in table["step"]} >= {"WARNING", "DRAIN", "PULSE", "SEAL", "CONVEY"}


# ---- a changed logic ------------------------------------------------------------------------------------
FALSE = ast.Constant(False)
PLANTED = {
    "vented": FALSE,
    "opened": FALSE,
    "has_vacuum": FALSE,
    "pulse_1_cmd": FALSE,
    "run_lamp": ast.Constant(True),
    "warned_with_batch": FALSE,
}


def first_difference_as_written(logic, table):
    """Found the slow and plain way, scan by scan: when, and what differs."""
    engine, memory = AsWritten(logic, on_rows), logic.power_up()
    outputs, acts = Outputs._fields, logic.interlock_names
    for k in range(len(table["dt_ms"])):
        inputs = whole_inputs([int(table[name][k]) for name in Inputs._fields])
        done = engine.scan(memory, inputs, PRESETS, int(table["dt_ms"][k]))
        memory = done.memory
        named = zip((*outputs, "step", *acts), (*done.outputs, memory.step, *done.acts), strict=True)
        if differs := {name for name, value in named if int(value) != table[name][k]}:
            return (k + 1) * 10, differs
    return None, set()


@pytest.mark.parametrize("fact", PLANTED)
def test_a_changed_fact_is_found_in_its_first_scan_and_named(run, table, fact):
    planted = changed(LOGIC, {fact: PLANTED[fact]})
    done = through(run / FILE, planted)
    assert done.difference is not None
    at_ms, differs = first_difference_as_written(planted, table)
    assert done.difference.at_ms == at_ms
    assert done.difference.scan == at_ms // 10 == done.scans
    assert {item.name for item in done.difference.differs} == differs
    assert fact in {item.name for item in done.difference.facts}
    assert not done.same_logic


def test_both_sides_and_the_values_behind_are_told(run):
    """Without the row that ends the venting the vent goes on where it ended then."""
    planted = without(LOGIC, Guarded("row", "vented"))
    difference = through(run / FILE, planted).difference
    step = next(item for item in difference.differs if item.name == "step")
    assert (step.kind, step.then, step.today, difference.step) == ("step", "OPEN", "VENT", "VENT")
    planted = changed(LOGIC, {"has_vacuum": FALSE})
    difference = through(run / FILE, planted).difference
    assert difference.why
    where = {item.name: item.where for item in difference.facts}
    assert where["has_vacuum"].split(":")[0] == "controller/sequence/guards.py"


# ---- another version ------------------------------------------------------------------------------------
def rewritten(run, path, columns, woke=None, **changes):
    """The trace as another version would have left it: these columns, this header."""
    trace = Trace(run / FILE)
    whole = np.vstack([scans.table for scans in scans_of(trace)])
    with TraceWriter(path, trace.header.model_copy(update=changes)) as writer:
        writer.wake(10, woke or next(trace.blocks()).woke)
        places = [trace.header.columns.index(name) if isinstance(name, str) else name for name in columns]
        writer.table(10, np.column_stack([whole[:, p] if isinstance(p, int) else p for p in places]))
    return path


def test_a_trace_with_other_inputs_goes_as_far_as_it_can(run, table, tmp_path):
    """One input renamed, the order turned: by names it is the same run."""
    assert not table["recipe_request"].any()
    order = Inputs._fields[::-1]
    inputs = tuple("weather" if name == "recipe_request" else name for name in order)
    columns = (*order, *Outputs._fields, "step", *LOGIC.interlock_names)
    done = through(rewritten(run, tmp_path / FILE, columns, inputs=inputs))
    assert done.difference is None
    assert done.scans == RAN_MS // 10
    assert done.notes == ("new input: recipe_request (takes its default)", "input that is gone: weather")


def test_steps_interlocks_and_memory_are_known_by_name(run, table, tmp_path):
    """Steps and interlocks numbered the other way round, a memory that is gone, one that is new."""
    steps, interlocks = LOGIC.step_names[::-1], LOGIC.interlock_names[::-1]
    columns = (*Inputs._fields, *Outputs._fields, len(steps) - 1 - table["step"], *interlocks)
    memory = {**LOGIC.memory, "step": steps.index("REST"), "weather": 7}
    del memory["waited_ms"]
    path = rewritten(
        run, tmp_path / FILE, columns, list(memory.values()), steps=steps, interlocks=interlocks,
        memory=tuple(memory), watched=("step", *interlocks),
    )  # fmt: skip
    done = through(path)
    assert done.difference is None
    assert "memory that is gone: weather" in done.notes
    assert "new memory: waited_ms (takes its first value)" in done.notes


def test_what_was_not_recorded_is_not_compared(run, tmp_path):
    outputs = tuple(name for name in Outputs._fields if name != "horn")
    done = through(rewritten(run, tmp_path / FILE, (*Inputs._fields, *outputs), outputs=outputs, watched=()))
    assert (done.difference, done.compared) == (None, len(outputs))
    assert done.notes == ("new output: horn (is not compared)",)


def test_a_part_that_begins_in_a_step_that_is_gone_is_refused(run, tmp_path):
    steps = ("SLEEP", *LOGIC.step_names[1:])
    columns = (*Inputs._fields, *Outputs._fields, "step", *LOGIC.interlock_names)
    path = rewritten(run, tmp_path / FILE, columns, steps=steps)
    with pytest.raises(TraceError, match=r"trace\.gz: a part begins in step SLEEP"):
        through(path)


def test_other_presets_are_those_of_the_trace(run, tmp_path):
    """A shorter warning was set then than the run was made with: the replay warns as long as the header says."""
    columns = (*Inputs._fields, *Outputs._fields, "step", *LOGIC.interlock_names)
    presets = {**Trace(run / FILE).header.presets, "warning_ms": PRESETS.warning_ms - 500, "gone": 1}
    done = through(rewritten(run, tmp_path / FILE, columns, presets=presets))
    assert done.difference.at_ms == 1_000 + 10 + PRESETS.warning_ms - 500
    assert done.notes == ("preset that is gone: gone",)


# ---- other recordings -----------------------------------------------------------------------------------
def test_scans_that_came_late_replay_with_their_own_times(table, tmp_path):
    """Every time between two scans from 5 to 40 ms, as a rig gives them."""
    scan, memory = generated.interpreted(LOGIC), generated.flat(LOGIC)
    dts = itertools.cycle((10, 10, 10, 40, 5, 10))
    outputs, acts = [0] * len(Outputs._fields), [0] * len(LOGIC.interlock_names)
    step, rows = list(LOGIC.memory).index("step"), range(600)
    with TraceWriter(tmp_path / FILE, header()) as writer:
        writer.wake(10, memory)
        for k, dt_ms in zip(rows, dts, strict=False):
            inputs = [int(table[name][k]) for name in Inputs._fields]
            scan(memory, inputs, list(map(int, PRESETS)), dt_ms, outputs, acts)
            writer.scan(dt_ms, inputs, outputs, (memory[step], *acts))
    done = through(tmp_path / FILE)
    assert (done.difference, done.scans) == (None, 600)
    assert done.ran_ms == sum(itertools.islice(itertools.cycle((10, 10, 10, 40, 5, 10)), 600))


def test_a_recording_with_a_loss_of_power_is_written_and_replays(tmp_path):
    target = VirtualStation(LOGIC, PRESETS, load_plant(FOLDER), generated_executor(), [], seed=1)
    chunks = [target.advance(100)]
    target.point("start_pb", 1)
    chunks += [target.advance(50) for _ in range(3)]
    target.stand(2_000)
    target.wake()
    chunks += [target.advance(100)]
    recording = Recording(chunks, interpreted(LOGIC), Reader(LOGIC), PRESETS, 10)
    write_trace(tmp_path / FILE, header(), recording)
    done = through(tmp_path / FILE)
    scans = sum(chunk.scans for chunk in chunks)
    assert (done.difference, done.parts, done.scans) == (None, 2, scans)
    first = [block.first_ms for block in Trace(tmp_path / FILE).blocks()]
    assert first == [10, chunks[-1].first_ms]


@pytest.mark.skipif(not find_spec("numba"), reason="needs the extra `fast`, which holds Numba")
def test_compiled_and_interpreted_runs_leave_the_same_scans(tmp_path):
    """One writes tables, the other scan by scan."""
    blocks = {}
    for name in ("compiled", "generated"):
        options = ("buckwheat_mill", "--for", "12s", "--out", str(tmp_path / name), "--executor", name)
        assert CliRunner().invoke(app, ["simulate", *options]).exit_code == 0
        blocks[name] = list(Trace(tmp_path / name / FILE).blocks())
    assert blocks["compiled"] == blocks["generated"]
    assert sum(block.scans for block in blocks["compiled"]) == 1_200


# ---- the command ----------------------------------------------------------------------------------------
def called(*options):
    return CliRunner().invoke(app, ["replay", *map(str, options), "--interpreted"])


def test_the_command_says_identical(run):
    result = called(run)
    assert result.exit_code == 0
    assert "Today's logic is the same; the settings are those of the recording" in result.output
    assert "Identical: 1,600 scans, 16s, 1 part" in result.output


def test_the_command_says_the_first_difference(run, monkeypatch):
    planted = changed(LOGIC, {"vented": FALSE})
    monkeypatch.setattr(replay_command, "Logic", lambda definition: planted)
    result = called(run)
    assert result.exit_code == 1
    assert "  step: OPEN then, VENT today" in result.output
    assert "  vented is off  (controller/sequence/guards.py:" in result.output
    document = json.loads(called(run, "--json").stdout)
    assert document["difference"]["facts"][0]["name"] == "vented"
    assert document["identical"] is False


def test_a_cut_trace_is_replayed_up_to_its_end_and_the_cut_is_said(run, tmp_path):
    whole = (run / FILE).read_bytes()
    (tmp_path / FILE).write_bytes(whole[: len(whole) * 2 // 3])
    result = called(tmp_path)
    assert result.exit_code == 0
    assert "the recording was killed or still runs" in result.output
    assert "Identical: " in result.output


def test_a_damaged_or_missing_trace_is_wrong_input(run, tmp_path):
    whole = bytearray((run / FILE).read_bytes())
    whole[len(whole) // 2] ^= 0xFF
    (tmp_path / FILE).write_bytes(whole)
    result = called(tmp_path)
    assert result.exit_code == 2
    assert "trace.gz:" in result.stderr
    assert "is damaged" in result.stderr
    result = called(tmp_path / "none")
    assert result.exit_code == 2
    assert "no such file; a run folder holds a trace.gz" in result.stderr
