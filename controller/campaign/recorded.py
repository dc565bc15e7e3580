"""Traces beside recordings: a scenario's recording written as a trace, a trace drawn as waveforms."""

from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, NamedTuple

from controller.campaign.recording import Recording
from controller.reporting.waveform import Variable, Waveform
from controller.trace.header import DT, Header
from controller.trace.reader import Block, Trace
from controller.trace.writer import TraceWriter


def write_trace(path: Path, header: Header, recording: Recording) -> None:
    """
    The scans of a recording as a trace, with what they commanded.

    Args:
        path: The file.
        header: From `header_of`, for the logic of the recording.
        recording: Of a scenario, or made of chunks and outputs of any other target.

    Raises:
        TraceError: The file cannot be written.
    """
    import numpy as np

    step, next_ms = list(recording.logic.memory).index("step"), None
    with TraceWriter(path, header) as writer:
        for piece in recording.pieces():
            ran = piece.columns.rescanned
            if piece.first_ms != next_ms:
                writer.wake(piece.first_ms, piece.memory)
            next_ms = piece.first_ms + len(piece.inputs) * recording.scan_ms
            rows = np.hstack([piece.inputs, ran.outputs, ran.memory[:, [step]], ran.acts])
            writer.table(recording.scan_ms, rows)


class Scans(NamedTuple):
    """A block of a trace as tables: when each scan ended, and its columns."""

    block: Block
    at_ms: Any  # int64, (scans,)
    table: Any  # int64, (scans, columns)


def scans_of(trace: Trace) -> Iterator[Scans]:
    """
    All scans of a trace.

    Raises:
        TraceError: The file is damaged.
    """
    import numpy as np

    for block in trace.blocks():
        table = np.frombuffer(block.values, dtype=np.int64).reshape(block.scans, block.width)
        at_ms = block.first_ms + np.cumsum(table[:, 0]) - table[0, 0]
        yield Scans(block, at_ms, table)


def variables(header: Header) -> list[Variable]:
    """The columns of a trace as lines of a waveform viewer, then a lane for each step."""
    found = []
    for name in header.columns:
        if name == DT or name in header.whole:
            found.append(Variable("inputs", name, "real"))
        elif name in header.watched:
            found.append(Variable("sequence" if name == "step" else "interlocks", name, "wire"))
        else:
            found.append(Variable("inputs" if name in header.inputs else "outputs", name, "wire"))
    if "step" in header.watched:
        k = header.columns.index("step")
        found[k] = found[k]._replace(kind="integer")
        found += [Variable("steps", name, "wire") for name in header.steps]
    return found


def draw(trace: Trace, file: IO[str]) -> None:
    """
    A trace as waveforms: what was recorded, with unknown values while no controller ran.

    Where a part begins before the last one ended (a rig counts from its start), it is moved behind it.

    Raises:
        TraceError: The trace is damaged.
        OSError: The file cannot be written.
    """
    header = trace.header
    made_by = f"trace of {header.station}, software {header.software}, logic {header.logic}"
    waveform, at_ms, before = Waveform(file, header.station, made_by, variables(header)), 0, None
    shift_ms = 0
    for scans in scans_of(trace):
        whole = _with_lanes(header, scans.table)
        if before is None or scans.block.woke is not None:
            shift_ms = 0
            if before is not None:
                waveform.pause(at_ms + 1)
                shift_ms = max(0, at_ms + 1_000 - int(scans.at_ms[0])) if scans.at_ms[0] <= at_ms + 1 else 0
            waveform.whole(int(scans.at_ms[0]) + shift_ms, whole[0].tolist())
            before = whole[0]
        for k, changes in _changes(before, whole).items():
            waveform.moved(int(scans.at_ms[k]) + shift_ms, changes)
        before, at_ms = whole[-1], int(scans.at_ms[-1]) + shift_ms
    waveform.end(at_ms)


def _changes(before: Any, table: Any) -> dict[int, list[tuple[int, int]]]:
    """By scan that moved: columns and their new values."""
    import numpy as np

    scans, columns = np.nonzero(np.diff(np.vstack([before[None], table]), axis=0))
    found: dict[int, list[tuple[int, int]]] = {}
    for k, c, value in zip(scans.tolist(), columns.tolist(), table[scans, columns].tolist(), strict=True):
        found.setdefault(k, []).append((c, value))
    return found


def _with_lanes(header: Header, table: Any) -> Any:
    import numpy as np

    if "step" not in header.watched:
        return table
    step = table[:, header.columns.index("step")]
    return np.hstack([table, step[:, None] == np.arange(len(header.steps))])
