"""`receiver replay`: reads a run's trace, runs it through today's logic, says what came of it."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

from controller.campaign import recorded, replay
from controller.campaign.replay import Difference, Replayed
from controller.engines.rescan import Rescanner
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.simulate.executors import best, options_of
from controller.simulate.times import typed
from controller.trace.header import FILE, TraceError
from controller.trace.reader import Trace

if TYPE_CHECKING:
    from rich.console import Console

FACTS = 12
"""So many facts are printed; --json has all."""


def trace_of(run: Path) -> Path:
    """
    The trace of a run: in its folder, or the file itself.

    Raises:
        TraceError: There is none.
    """
    path = run / FILE if run.is_dir() else run
    if not path.is_file():
        msg = f"{path}: no such file; a run folder holds a {FILE}, name the folder or the file"
        raise TraceError(msg)
    return path


def replayed(path: Path, interpreted: bool) -> Replayed:
    """
    The trace through the receiver's logic.

    Raises:
        TraceError: As `replay.replay`.
        ModuleNotFoundError: NumPy or Numba is not installed.
    """
    logic = Logic(RECEIVER)

    def rescanner(presets: Presets) -> Rescanner:
        return Rescanner(logic, options_of(presets), interpreted=interpreted or best() != "compiled")

    return replay.replay(path, logic, rescanner)


def draw(path: Path, out: Path) -> None:
    """
    The trace as waveforms.

    Raises:
        TraceError: The trace cannot be read, or the file not be written.
    """
    trace = Trace(path)
    try:
        with out.open("w", encoding="ascii") as file:
            recorded.draw(trace, file)
    except OSError as error:
        msg = f"--vcd {out}: cannot be written: {error.strerror or error}"
        raise TraceError(msg) from error


def show(console: "Console", path: Path, done: Replayed) -> None:
    """The result for people."""
    header = done.header
    of = "simulated" if header.seed is not None else "recorded on a rig"
    console.print(f"{path}: {header.station}, {of}, software {header.software}, logic {header.logic}")
    same = "the same" if done.same_logic else "another"
    console.print(f"Today's logic is {same}; the settings are those of the recording, not today's.")
    for note in done.notes:
        console.print(note)
    many = f"{done.scans:,} scans, {typed(done.ran_ms)}, {_parts(done.parts)}"
    if done.difference is None:
        console.print(f"Identical: {many}, {done.compared} columns compared.")
    else:
        console.print(f"Different after {many}.")
        _show_difference(console, done.difference)


def _parts(parts: int) -> str:
    return f"{parts} part{'' if parts == 1 else 's'}"


def _show_difference(console: "Console", difference: Difference) -> None:
    console.print(
        f"First difference at {typed(difference.at_ms)}, scan {difference.scan:,}, in {difference.step}:"
    )
    for kind, name, then, today in difference.differs:
        what = name if kind == name else f"{kind} {name}"
        console.print(f"  {what}: {then} then, {today} today")
    for ground in difference.why:
        console.print(f"  today because {ground}")
    console.print("Facts behind it today:")
    for name, value, where in difference.facts[:FACTS]:
        console.print(f"  {name} is {value}  ({where})")
    if (more := len(difference.facts) - FACTS) > 0:
        console.print(f"  and {more} more; --json has all")


def as_json(path: Path, done: Replayed) -> str:
    """The result as one JSON document."""
    difference = done.difference
    document = {
        "trace": str(path),
        "station": done.header.station,
        "software": done.header.software,
        "logic": done.header.logic,
        "same_logic": done.same_logic,
        "identical": difference is None,
        "scans": done.scans,
        "ran_ms": done.ran_ms,
        "parts": done.parts,
        "columns_compared": done.compared,
        "notes": done.notes,
        "difference": difference
        and {
            **difference._asdict(),
            "differs": [item._asdict() for item in difference.differs],
            "facts": [item._asdict() for item in difference.facts],
        },
    }
    return json.dumps(document, indent=1)
