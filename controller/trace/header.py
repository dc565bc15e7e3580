"""
What a trace says of itself: by whom, with what logic and settings, and what stands in its columns.

A trace is text in gzip. Its first line is the header; `controller.trace.writer` says what follows.
"""

import hashlib
import json
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError

from controller.engines import generated
from controller.image import Inputs
from controller.sequence.logic import Logic
from controller.settings import ReceiverSettings
from controller.station_file import StrictModel

FILE = "trace.gz"
FORMAT = 1
FORMAT_KEY = "receiver_trace"
DT = "dt_ms"
MOST_QUIET = 100_000
"""Scans that one line may stand for; a damaged number must not ask for all the memory there is."""


class TraceError(Exception):
    """A trace cannot be read or written; says file, line, and why."""


class Header(StrictModel):
    """The first line of a trace."""

    receiver_trace: int = Field(default=FORMAT, ge=1)
    station: str
    software: str
    logic: str  # hash of the scan
    settings: str  # hash of the station's files
    scan_ms: int = Field(ge=1)
    seed: int | None = None  # None: recorded on a rig
    inputs: tuple[str, ...]
    whole: tuple[str, ...]  # the inputs that are whole numbers; the rest are conditions
    outputs: tuple[str, ...]
    watched: tuple[str, ...] = ()  # step and interlocks, as far as they are recorded
    steps: tuple[str, ...]  # by number
    interlocks: tuple[str, ...]  # by number; the first is 1
    memory: tuple[str, ...]
    presets: dict[str, int]

    @property
    def columns(self) -> tuple[str, ...]:
        """What each row of a trace holds, in order."""
        return (DT, *self.inputs, *self.outputs, *self.watched)


def header_of(
    logic: Logic,
    receiver: ReceiverSettings,
    folder: Path,
    *,
    software: str,
    scan_ms: int,
    seed: int | None = None,
) -> Header:
    """The header for a run of a station with this logic; step and all interlocks are watched."""
    kinds = Inputs._field_defaults
    return Header(
        station=receiver.name,
        software=software,
        logic=logic_hash(logic),
        settings=settings_hash(folder),
        scan_ms=scan_ms,
        seed=seed,
        inputs=Inputs._fields,
        whole=tuple(name for name in Inputs._fields if not isinstance(kinds[name], bool)),
        outputs=logic.definition.outputs._fields,
        watched=("step", *logic.interlock_names),
        steps=logic.step_names,
        interlocks=logic.interlock_names,
        memory=tuple(logic.memory),
        presets={name: int(value) for name, value in receiver.presets._asdict().items()},
    )


def logic_hash(logic: Logic) -> str:
    """Of the generated scan: two logics that do the same in the same words have the same."""
    return hashlib.sha256(generated.source(logic).encode()).hexdigest()[:16]


def settings_hash(folder: Path) -> str:
    """Of what the controller is told of a station: receiver.yaml and points.yaml, byte by byte."""
    texts = [(folder / name).read_bytes() for name in ("receiver.yaml", "points.yaml")]
    return hashlib.sha256(b"\0".join(texts)).hexdigest()[:16]


def header_line(header: Header) -> str:
    """The header as it is written."""
    return json.dumps(header.model_dump(), separators=(",", ":")) + "\n"


def read_header(path: Path, line: str) -> Header:
    """
    The header from the first line of a trace.

    Raises:
        TraceError: It is none, or of another format, or something in it is wrong.
    """
    try:
        found: Any = json.loads(line)
    except ValueError:
        found = None
    if not isinstance(found, dict) or not isinstance(found.get(FORMAT_KEY), int):
        msg = f"{path}:1: is no trace: the first line is no header with {FORMAT_KEY!r}"
        raise TraceError(msg)
    if found[FORMAT_KEY] != FORMAT:
        msg = f"{path}:1: is a trace of format {found[FORMAT_KEY]}, this program knows format {FORMAT}"
        raise TraceError(msg)
    try:
        header = Header.model_validate_json(line)
    except ValidationError as error:
        said = "; ".join(f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors())
        msg = f"{path}:1: the header is damaged: {said}"
        raise TraceError(msg) from None
    for names in (header.columns, header.memory, header.steps, header.interlocks):
        if twice := {name for name in names if names.count(name) > 1}:
            msg = f"{path}:1: the header names twice: {', '.join(sorted(twice))}"
            raise TraceError(msg)
    return header
