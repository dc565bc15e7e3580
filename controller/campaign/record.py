"""
The folder that a run of scenarios leaves: what was run, on what, with which files, and what came of it.

`scenarios.json` holds everything that a report tells; the files of stations and scenarios lie beside it as
they were read. Pages (`<scenario>.html`) and traces (`<scenario>.trace.gz`) are found by their names.
"""

import hashlib
import json
import shutil
from collections.abc import Iterable, Sequence
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

from controller.campaign.results import Result
from controller.campaign.scenario import Scenario
from controller.campaign.timeline import steps_of
from controller.problems import Problem, StationError
from controller.reporting.journal import not_a_new_folder
from controller.sequence.logic import Logic
from controller.trace.header import logic_hash

FILE, FORMAT = "scenarios.json", 1
NOTICE = "simulated; ordinary software, not a safety function"
STATION_FILES = ("receiver.yaml", "points.yaml", "plant.yaml")
Document = dict[str, Any]


class Place(NamedTuple):
    """A scenario before it runs: what was read, from where, and the station's folder."""

    scenario: Scenario
    file: Path
    station: Path


class RunRecord:
    """
    One run's folder, begun before anything runs.

    Args:
        out: The folder: new, or empty.
        places: The scenarios in the order in which they will run.
        logic: What they run on.
        started: When.

    Raises:
        StationError: The folder holds something, it cannot be written, or two scenarios have one name.
    """

    def __init__(self, out: Path, places: Sequence[Place], logic: Logic, started: datetime) -> None:
        self._out, self._places, self._started = out, list(places), started
        self._logic = logic_hash(logic)
        _must_be_free(out, self._places)
        try:
            self._hashes = {
                place.file: _kept(place.file, out / "scenarios" / place.file.name) for place in self._places
            }
            self._stations = {folder: self._station(folder) for folder in _folders(self._places)}
        except OSError as error:
            raise _wrong(out, f"cannot be written: {error.strerror}") from None

    def _station(self, folder: Path) -> Document:
        place = next(place for place in self._places if place.station == folder)
        receiver = place.scenario.station.receiver
        kept = self._out / "stations" / folder.name
        files = {
            name: _kept(folder / name, kept / name) for name in STATION_FILES if (folder / name).is_file()
        }
        return {
            "name": receiver.name, "folder": folder.name, "product": receiver.product,
            "description": receiver.description, "files": files,
        }  # fmt: skip

    def finish(self, done: Sequence[Result], ended: datetime, command: Sequence[str]) -> Document:
        """
        Writes `scenarios.json`, and gives what it holds.

        Raises:
            StationError: It is there already, or cannot be written.
        """
        document = {
            "receiver_scenarios": FORMAT,
            "notice": NOTICE,
            "software": version("vacuum-receiver"),
            "logic": "" if any(result.foreign for result in done) else self._logic,
            "executors": sorted({result.executor for result in done if result.executor}),
            "started_utc": utc(self._started),
            "ended_utc": utc(ended),
            "command": list(command),
            "stations": list(self._stations.values()),
            "scenarios": [self._scenario(*pair) for pair in zip(self._places, done, strict=True)],
        }
        path = self._out / FILE
        try:
            with path.open("x", encoding="utf-8") as file:
                json.dump(document, file, indent=1)
                file.write("\n")
        except OSError as error:
            raise _wrong(path, f"cannot be written: {error.strerror}") from None
        return document

    @property
    def sha256(self) -> str:
        """Of `scenarios.json`, once it is written: who noted it down knows a changed one."""
        return sha256(self._out / FILE)

    def _scenario(self, place: Place, result: Result) -> Document:
        head = place.scenario.head
        set_otherwise: Any = head
        return {
            **result._replace(page=Path(result.page).name).as_document(),
            "sha256": self._hashes[place.file],
            "evidence": {
                path.name: sha256(path) for path in evidence_of(self._out, result.name) if path.is_file()
            },
            "station_folder": place.station.name,
            "why": head.why,
            "shows": head.shows,
            "guards": head.guards,
            "seed": head.seed,
            "otherwise": {
                "presets": set_otherwise.presets.model_dump(exclude_unset=True),
                "plant": set_otherwise.plant.model_dump(exclude_unset=True),
                "wired": head.wired,
                "not_wired": head.not_wired,
            },
            **steps_of(place.scenario, result),
        }


def evidence_of(run: Path, name: str) -> tuple[Path, Path]:
    """Where the page and the trace of a scenario lie, if it left them."""
    return run / f"{name}.html", run / f"{name}.trace.gz"


def utc(date: datetime) -> str:
    """RFC 3339, UTC, to the second."""
    return date.strftime("%Y-%m-%dT%H:%M:%SZ")


def sha256(path: Path) -> str:
    """Of a file, byte by byte."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def read(run: Path) -> Document:
    """
    What `scenarios.json` of a run folder holds.

    Raises:
        StationError: There is none, or it is of another format.
    """
    path = run / FILE
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        said = (
            f"holds no {FILE}: name a folder that `receiver scenarios --out` left, and that came to its end"
        )
        raise _wrong(run, said) from None
    except (OSError, ValueError) as error:
        raise _wrong(path, f"cannot be read: {error}") from None
    if not isinstance(found, dict) or found.get("receiver_scenarios") != FORMAT:
        raise _wrong(path, f"is no record of scenarios in format {FORMAT}")
    return found


def _must_be_free(out: Path, places: Iterable[Place]) -> None:
    if why := not_a_new_folder(out, FILE):
        option = f"--out {out}"
        raise _wrong(option, why)
    files: dict[str, Path] = {}
    folders: dict[str, Path] = {}
    odd = []
    for place in places:
        for kind, there, path in (("scenarios", files, place.file), ("stations", folders, place.station)):
            if (other := there.setdefault(path.name, path)).resolve() != path.resolve():
                said = f"has the name of {other}: the {kind} of a run folder differ in name"
                odd.append(Problem(str(path), 0, 0, "", said))
    if odd:
        raise StationError(odd)


def _folders(places: Iterable[Place]) -> list[Path]:
    return list(dict.fromkeys(place.station for place in places))


def _kept(path: Path, there: Path) -> str:
    """Copies a file; its hash."""
    there.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(path, there)
    return sha256(there)


def _wrong(what: Path | str, said: str) -> StationError:
    return StationError([Problem(str(what), 0, 0, "", said)])
