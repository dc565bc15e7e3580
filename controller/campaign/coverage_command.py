"""`receiver coverage` and `receiver mutants`: what scenarios exercise, which mistakes they notice."""

import json
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from controller.campaign.coverage import Met, Share, coverage, joined, met
from controller.campaign.mutants import Mutant, mutants
from controller.campaign.mutation import Fate, fates
from controller.campaign.runner import Runner
from controller.sequence.presets import Presets

if TYPE_CHECKING:
    from rich.console import Console

FolderOf = Callable[[str], Path]
SHOWN = 12
"""Of what is missing so much is printed; the rest is in the JSON document."""


@cache
def _runner() -> Runner:
    return Runner(check=False)


def shares(files: list[Path], jobs: int, folder_of: FolderOf) -> list[Share]:
    """What these scenarios exercised together."""
    work = partial(_met, folder_of=folder_of)
    if jobs == 1:
        found = list(map(work, files))
    else:
        with ProcessPoolExecutor(min(jobs, len(files))) as pool:
            found = list(pool.map(work, files))
    runner = _runner()
    parts, places = [part for part, _ in found], [presets for _, presets in found]
    return coverage(runner.logic, runner.reader.rules, joined(parts), places)


def _met(file: Path, folder_of: FolderOf) -> tuple[Met, Presets]:
    runner = _runner()
    scenario = runner.load(file, folder_of)
    _, recording = runner.drive(scenario)
    return met(recording, runner.reader.rules), scenario.presets


def results(files: list[Path], jobs: int, every: int, tries: int, folder_of: FolderOf) -> Iterator[Fate]:
    """The fates of every `every`-th mutant, side by side, in the order of the mutants of each process."""
    shares = [(n, jobs) for n in range(jobs)]
    work = partial(_fates, files=files, every=every, tries=tries, folder_of=folder_of)
    if jobs == 1:
        yield from work((0, 1))
        return
    with ProcessPoolExecutor(jobs) as pool:
        for part in pool.map(work, shares):
            yield from part


def _fates(
    share: tuple[int, int], files: list[Path], every: int, tries: int, folder_of: FolderOf
) -> list[Fate]:
    runner = _runner()
    planted: list[Mutant] = mutants(runner.logic)[::every][share[0] :: share[1]]
    scenarios = (runner.load(file, folder_of) for file in files)
    return list(fates(planted, scenarios, runner, tries, lambda said: None))


# ---- what is printed -----------------------------------------------------------------------------------
def show_shares(console: "Console", found: list[Share]) -> None:
    """A line a share, and under it what is missing."""
    for share in found:
        console.print(f"{share.what:36} {share.met:5} of {share.of:5}  {share.percent:5.1f} %")
        for name in share.missing[:SHOWN]:
            console.print(f"      not: {name}")
        if len(share.missing) > SHOWN:
            console.print(f"      and {len(share.missing) - SHOWN} more (--json lists them)")


def show_fates(console: "Console", found: list[Fate]) -> None:
    """A line a kind of mistake, and the ones that nobody noticed."""
    kinds = Counter(fate.mutant.kind for fate in found)
    killed = Counter(fate.mutant.kind for fate in found if fate.killed_by)
    for kind, of in kinds.items():
        console.print(f"{kind:28} {killed[kind]:5} of {of:5} noticed")
    percent = 100 * killed.total() / max(kinds.total(), 1)
    console.print(f"{'all':28} {killed.total():5} of {kinds.total():5} noticed, {percent:.1f} %")
    for fate in found:
        if not fate.killed_by:
            lived = f"lived in {', '.join(fate.lived_in)}" if fate.lived_in else "made no difference anywhere"
            console.print(f"      {fate.mutant.kind}: {fate.mutant.name}; {lived}")


def shares_as_json(found: list[Share]) -> str:
    """As one JSON document."""
    return json.dumps([share._asdict() for share in found], indent=1)


def fates_as_json(found: list[Fate]) -> str:
    """As one JSON document."""
    return json.dumps(
        [
            {"kind": f.mutant.kind, "name": f.mutant.name, "killed_by": f.killed_by, "lived_in": f.lived_in}
            for f in found
        ],
        indent=1,
    )
