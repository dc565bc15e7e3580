"""`receiver scenarios`: finds the files, checks all, runs them side by side, prints what came of them."""

import json
import os
import shlex
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from datetime import datetime
from functools import partial
from importlib.metadata import version
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from controller.campaign.judge import NOT_JUDGED
from controller.campaign.record import Place, RunRecord
from controller.campaign.recorded import write_trace
from controller.campaign.results import Facts, Result, result_of
from controller.campaign.run_page import page_of
from controller.campaign.runner import Outcome, Runner
from controller.campaign.timing_diagram import ASCII
from controller.campaign.where import VIRTUAL, On, runner_on
from controller.problems import Problem, StationError
from controller.simulate.times import typed
from controller.trace.header import header_of

if TYPE_CHECKING:
    from rich.console import Console

FolderOf = Callable[[str], Path]
DIED = "its process died: killed from outside, or memory ran out"
FEW = 5
"""Up to so many scenarios are run interpreted rather than compiled first."""


class Ask(NamedTuple):
    """What was asked for, checked: nothing has run yet."""

    files: list[Path]
    station: str | None
    jobs: int
    out: Path | None = None  # where pages go
    pages: str = "failed"  # of which runs: failed or all
    on: On = VIRTUAL

    @property
    def few(self) -> bool:
        """So little to run that compiling first would take longer."""
        return len(self.files) <= FEW

    def again(self, path: str) -> str:
        """The command that runs one of its files by itself, as it ran here."""
        station = ["--station", self.station] if self.station else []
        return shlex.join(["receiver", "scenarios", path, *station, *self.on.typed])


def found(paths: Iterable[Path], match: str | None) -> list[Path]:
    """
    The scenario files of these paths: files, or folders of them.

    Raises:
        StationError: A path is neither, or nothing is left.
    """
    files: list[Path] = []
    for path in paths:
        if path.is_dir():
            files += sorted(path.glob("*.yaml"))
        elif path.is_file():
            files.append(path)
        else:
            raise StationError([Problem(str(path), 0, 0, "", "is neither a scenario file nor a folder")])
    files = [file for file in dict.fromkeys(files) if match is None or match in file.stem]
    if not files:
        named = f" whose name has {match!r} in it" if match else ""
        raise StationError([Problem(", ".join(map(str, paths)), 0, 0, "", f"no scenario{named}")])
    return files


def check(ask: Ask, folder_of: FolderOf) -> list[Place]:
    """
    Reads all files before anything runs; what was read, in their order.

    Raises:
        StationError: Anything is wrong in any of them; all of it.
    """
    problems: list[Problem] = []
    places = []
    for file in ask.files:
        try:
            scenario = runner_on(ask.on, ask.few).load(file, folder_of, ask.station)
            places.append(Place(scenario, file, folder_of(ask.station or scenario.head.station)))
        except StationError as error:
            problems += error.problems
    if problems:
        raise StationError(list(dict.fromkeys(problems)))
    return places


def recorded(ask: Ask, out: Path, places: list[Place], started: datetime) -> RunRecord:
    """The folder of the run, begun. Raises StationError where it holds something already."""
    return RunRecord(out, places, runner_on(ask.on, ask.few).logic, started)


def results(ask: Ask, folder_of: FolderOf) -> Iterator[Result]:
    """
    The results, in the order of the files; pages are written where the runs are.

    What crashes is broken, also where it takes the process along: the others go on. With one job that is
    this process.
    """
    if ask.out is not None:
        ask.out.mkdir(parents=True, exist_ok=True)
    work = partial(_one, ask=ask._replace(files=[]), few=ask.few, folder_of=folder_of)
    left = deque(zip(ask.files, _page_files(ask), strict=True))
    if ask.jobs == 1 or len(left) == 1:
        yield from (work(*each) for each in left)
        return
    alone = False
    while left:
        count = 1 if alone else len(left)
        with ProcessPoolExecutor(min(ask.jobs, count)) as pool:
            futures = [pool.submit(work, *each) for each in islice(left, count)]
            try:
                for future in futures:
                    yield future.result()
                    left.popleft()
                alone = False
            except BrokenProcessPool:  # nobody says whose fault it was: the next one runs by itself
                if alone:
                    yield _broken(runner_on(ask.on, ask.few), left.popleft()[0], ask, folder_of, DIED)
                alone = not alone


def _page_files(ask: Ask) -> list[Path | None]:
    """Where the page of each file goes: by its name, numbered where two files have the same."""
    if ask.out is None:
        return [None] * len(ask.files)
    stems = [file.stem for file in ask.files]
    earlier = [stems[:k].count(stem) for k, stem in enumerate(stems)]
    return [
        ask.out / (f"{stem}_{n + 1}.html" if n else f"{stem}.html")
        for stem, n in zip(stems, earlier, strict=True)
    ]


def processors() -> int:
    """As many as this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _broken(runner: Runner, file: Path, ask: Ask, folder_of: FolderOf, said: str) -> Result:
    assert runner.engine is not None
    scenario = runner.load(file, folder_of, ask.station)
    return result_of(Outcome(scenario, None, None, None, said, 0.0), runner.engine)


def _one(file: Path, page: Path | None, ask: Ask, few: bool, folder_of: FolderOf) -> Result:
    try:
        return _judged(file, page, ask, few, folder_of)
    except Exception as error:  # a page that cannot be drawn, a disk that is full: the others go on
        return _broken(runner_on(ask.on, few), file, ask, folder_of, f"{type(error).__name__}: {error}")


def _judged(file: Path, page: Path | None, ask: Ask, few: bool, folder_of: FolderOf) -> Result:
    runner = runner_on(ask.on, few)
    assert runner.engine is not None
    outcome = runner.run(runner.load(file, folder_of, ask.station))
    result = result_of(outcome, runner.engine)
    if page is None or outcome.recording is None:
        return result
    _leave_trace(
        page.with_suffix(".trace.gz"), outcome, folder_of(ask.station or outcome.scenario.head.station)
    )
    if ask.pages == "failed" and result.verdict == "passed":
        return result
    page.write_text(page_of(outcome, result), encoding="utf-8")
    return result._replace(page=str(page))


def _leave_trace(path: Path, outcome: Outcome, folder: Path) -> None:
    """The evidence: what the logic saw and commanded in every scan, for `receiver replay`."""
    s, recording = outcome.scenario, outcome.recording
    assert recording is not None
    header = header_of(
        recording.logic, s.station.receiver, folder,
        software=version("vacuum-receiver"), scan_ms=recording.scan_ms, seed=s.head.seed,
    )  # fmt: skip
    write_trace(path, header, recording)


def write(file: Path, text: str) -> None:
    """
    A file of results, over an earlier one: it is for a machine that asks for the last.

    Raises:
        StationError: It cannot be written.
    """
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise StationError([Problem(str(file), 0, 0, "", f"cannot be written: {error.strerror}")]) from None


# ---- what is printed -----------------------------------------------------------------------------------
MARK = {"passed": "passed", "failed": "FAILED", NOT_JUDGED: NOT_JUDGED, "broken": "BROKEN"}


def show(console: "Console", result: Result, ask: Ask) -> None:
    """One line; of what did not pass, all that one needs to understand it."""
    console.print(f"{MARK[result.verdict]}  {result.name:44} {typed(result.ran_ms):>9}  {result.title}")
    if result.verdict == "passed":
        return
    for verdict in result.not_judged:
        console.print(f"        {result.path}:{verdict.line}: {verdict.wanted}: {verdict.seen}")
    if result.verdict == NOT_JUDGED:
        return
    if result.broken:
        console.print(f"        could not be run: {result.broken}")
    for verdict, facts in result.told:
        console.print(f"        {result.path}:{verdict.line}: wanted {verdict.wanted}")
        console.print(f"          seen {verdict.seen}; look at {typed(verdict.at_ms)}")
        if facts is not None:
            _show_facts(console, facts)
    if result.untold:
        console.print(f"        {result.untold}")
    for said in result.disagreements:
        console.print(f"        the engines differ at {said}")
    if result.page:
        console.print(f"        page: {result.page}", markup=False)
    console.print(f"        again: {ask.again(result.path)}")


def _show_facts(console: "Console", facts: Facts) -> None:
    for said in facts.said:
        console.print(f"          at {typed(facts.at_ms)}: {said}", markup=False)
    for line in facts.diagram:
        shown = line if console.encoding.startswith("utf") else line.translate(ASCII)
        console.print(f"          {shown}", markup=False)


def summary(done: list[Result], took_s: float) -> str:
    """The last line."""
    counts = [f"{n} {word}" for word in MARK if (n := sum(r.verdict == word for r in done))]
    ran_s = sum(r.ran_ms for r in done) / 1_000
    return f"{len(done)} scenarios: {', '.join(counts)}; {ran_s:,.0f} s of plant time in {took_s:.1f} s"


def as_json(done: list[Result]) -> str:
    """All results as one JSON document."""
    return json.dumps([result.as_document() for result in done], indent=1)
