"""Dumps of traces, read again by a reader of value change dumps from the package index."""

import io
import struct

import pytest
from pyDigitalWaveTools.vcd.parser import VcdParser
from typer.testing import CliRunner

from controller.campaign.recorded import draw, variables
from controller.cli import app
from controller.reporting.waveform import Variable, Waveform, code
from controller.trace.header import FILE, Header
from controller.trace.reader import Trace
from controller.trace.writer import TraceWriter

HEADER = Header(
    station="R-101", software="1", logic="a", settings="b", scan_ms=10, seed=1,
    inputs=("start_pb", "vacuum_ua"), whole=("vacuum_ua",), outputs=("horn",), watched=("step", "TRIP"),
    steps=("REST", "WARNING", "VENT"), interlocks=("TRIP",), memory=("step",), presets={"warning_ms": 3_000},
)  # fmt: skip
SCANS = [  # dt, inputs, outputs, step and interlock
    *[(10, (0, 4_000 + 3 * n), (n % 5 == 0,), (n // 40, n > 90)) for n in range(100)],
    *[(10, (1, -7), (1,), (0, 0))] * 4,
    *[(40, (0, 2**40), (0,), (2, 1))] * 2,
]


@pytest.fixture
def run(tmp_path):
    """Two parts; the second begins after a loss of power of two seconds."""
    with TraceWriter(tmp_path / FILE, HEADER) as writer:
        for at_ms in (10, 5_000):
            writer.wake(at_ms, [0])
            for scan in SCANS:
                writer.scan(*scan)
    return tmp_path


def parsed(text):
    parser = VcdParser()
    parser.parse(io.StringIO(text))
    return parser.scope.children["R_101"].children


def number(told):
    """A value as the standard writes it: a scalar, a binary vector in two's complement, a real."""
    if told[0] == "r":
        return float(told[1:])
    if told[0] == "b":
        return None if "x" in told else struct.unpack(">i", int(told[1:], 2).to_bytes(4, "big"))[0]
    return {"0": 0, "1": 1, "x": None}[told]


def at(series, at_ms):
    """The value that stands at a time: that of the last change until then."""
    return number([told for changed_ms, told in series if changed_ms <= at_ms][-1])


def dumped(run):
    file = io.StringIO()
    draw(Trace(run / FILE), file)
    return file.getvalue()


def test_every_value_of_every_scan_is_read_back_from_the_dump(run):
    scopes = parsed(dumped(run))
    compared = 0
    for start_ms in (10, 5_000):
        at_ms = start_ms - 10
        for dt_ms, inputs, outputs, watched in SCANS:
            at_ms += dt_ms
            values = (dt_ms, *inputs, *outputs, *watched, *(watched[0] == k for k in range(3)))
            for variable, value in zip(variables(HEADER), values, strict=True):
                series = scopes[variable.scope].children[variable.name].data
                assert at(series, at_ms) == value, (variable, at_ms)
                compared += 1
    assert compared == 2 * len(SCANS) * 9


def test_nothing_is_known_while_no_controller_ran(run):
    scopes = parsed(dumped(run))
    assert at(scopes["outputs"].children["horn"].data, 3_000) is None
    assert at(scopes["sequence"].children["step"].data, 3_000) is None
    assert at(scopes["steps"].children["REST"].data, 3_000) is None


def test_times_go_up_where_a_rig_counts_from_its_start_again(tmp_path):
    with TraceWriter(tmp_path / FILE, HEADER) as writer:
        for _ in range(3):
            writer.wake(10, [0])
            for scan in SCANS[:50]:
                writer.scan(*scan)
    times = [int(line[1:]) for line in dumped(tmp_path).splitlines() if line[0] == "#" and line[1:].isdigit()]
    assert times == sorted(times)
    assert times[-1] == 500 + 2 * (1_000 + 490)


def test_a_vector_that_is_negative_comes_back(tmp_path):
    """Integers are 32 bits in two's complement; the values are read by `struct`, not by this program."""
    file = io.StringIO()
    waveform = Waveform(file, "R-101", "test", [Variable("a", "n", "integer")])
    values = [0, 1, -1, 2**31 - 1, -(2**31)]
    for k, value in enumerate(values):
        waveform.whole(k, [value])
    series = parsed(file.getvalue())["a"].children["n"].data
    assert [number(told) for _, told in series] == values


def test_no_two_variables_share_a_code():
    codes = [code(n) for n in range(20_000)]
    assert len(set(codes)) == len(codes)
    assert all(33 <= ord(sign) <= 126 for sign in "".join(codes))


def test_the_command_writes_the_dump_of_a_simulated_run(tmp_path):
    run, vcd = tmp_path / "run", tmp_path / "run.vcd"
    options = ["simulate", "buckwheat_mill", "--for", "12s", "--executor", "generated", "--out", str(run)]
    assert CliRunner().invoke(app, options).exit_code == 0
    result = CliRunner().invoke(app, ["replay", str(run), "--interpreted", "--vcd", str(vcd)])
    assert result.exit_code == 0, result.output
    scopes, trace = parsed(vcd.read_text(encoding="ascii")), Trace(run / FILE)
    columns = trace.header.columns
    (block,) = trace.blocks()
    for variable, place in zip(variables(trace.header), range(len(columns)), strict=False):
        changes, last = [], None
        for k in range(block.scans):
            if (value := block.values[k * block.width + place]) != last:
                changes.append((block.first_ms + 10 * k, value))
            last = value
        series = [(ms, number(told)) for ms, told in scopes[variable.scope].children[variable.name].data]
        assert series == changes, variable


def test_a_dump_that_cannot_be_written_is_wrong_input(run):
    result = CliRunner().invoke(app, ["replay", str(run), "--vcd", str(run / "none" / "run.vcd")])
    assert result.exit_code == 2
    assert "cannot be written: No such file" in result.stderr
