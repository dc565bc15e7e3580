"""`receiver detection`: runs the matrix of a station, shows it, writes it."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from controller.campaign.command import processors
from controller.campaign.detection.matrix import Matrix, matrix
from controller.campaign.detection.page import page_of
from controller.campaign.detection.words import as_csv, lines_of
from controller.problems import Problem, StationError

WRITERS: dict[str, Callable[[Matrix], str]] = {".html": page_of, ".csv": as_csv}


class Ask(NamedTuple):
    """What was asked for, checked: nothing has run yet."""

    folder: Path
    match: str
    jobs: int
    hours: float
    out: Path | None


def read_ask(folder: Path, match: str, jobs: int | None, hours: float, out: Path | None) -> Ask:
    """
    What was typed.

    Raises:
        StationError: `out` is no page and no table, lies nowhere, or is there already.
    """
    if out is not None:
        said = ""
        if out.suffix not in WRITERS:
            said = f"ends in {out.suffix or 'nothing'}: a page ends in .html, a table in .csv"
        elif not out.parent.is_dir():
            said = f"the folder {out.parent} is not there: make it first"
        elif out.exists():
            said = "is there already: an earlier result is never overwritten; name another file"
        if said:
            raise StationError([Problem(str(out), 0, 0, "", said)])
    return Ask(folder, match, jobs or processors(), hours, out)


def run(ask: Ask, told: Callable[[int, int], None]) -> Matrix:
    """
    Runs it, and writes the file that was asked for.

    Raises:
        StationError: The station has no such failure mode.
    """
    try:
        done = matrix(ask.folder, match=ask.match, jobs=ask.jobs, hours=ask.hours, told=told)
    except ValueError as no:
        raise StationError([Problem("--match", 0, 0, "", str(no))]) from None
    if ask.out is not None:
        ask.out.write_text(WRITERS[ask.out.suffix](done), encoding="utf-8")
    return done


def as_json(done: Matrix) -> str:
    """The matrix as one JSON document."""
    return json.dumps(done.as_document(), indent=1)


def as_text(done: Matrix) -> str:
    """The matrix as the terminal shows it."""
    return "\n".join(lines_of(done))
