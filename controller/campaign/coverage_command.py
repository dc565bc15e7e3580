"""`receiver coverage` and `receiver mutants`: what scenarios exercise, which mistakes they notice."""

import json
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from controller.campaign.coverage import MEANS, Met, Share, coverage, joined, met
from controller.campaign.mutants import mutants
from controller.campaign.mutation import Fate, Trial
from controller.campaign.mutation_proofs import Proofs
from controller.campaign.runner import Runner
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER

if TYPE_CHECKING:
    from rich.console import Console

T = TypeVar("T")
R = TypeVar("R")
FolderOf = Callable[[str], Path]
SHOWN = 12
"""Of what is missing so much is printed; the rest is in the JSON document."""


class Planting(NamedTuple):
    """How mistakes are planted."""

    every: int  # only every so many-th
    tries: int
    jobs: int
    proofs: bool  # whether claims judge those that scenarios do not notice


class Exercised(NamedTuple):
    """What the scenarios that passed exercised together, and those that are left out."""

    shares: list[Share]
    left_out: list[str]


@cache
def _runner() -> Runner:
    return Runner(check=False)


@cache
def _trial() -> Trial:
    logic = Logic(RECEIVER)
    return Trial(logic, mutants(logic))


def _side_by_side(jobs: int, work: Callable[[T], R], asked: list[T]) -> Iterator[R]:
    if jobs == 1 or len(asked) == 1:
        yield from map(work, asked)
        return
    with ProcessPoolExecutor(min(jobs, len(asked))) as pool:
        yield from pool.map(work, asked)


def exercised(files: list[Path], jobs: int, folder_of: FolderOf) -> Exercised:
    """What these scenarios exercised; only those that pass count."""
    found = list(_side_by_side(jobs, partial(_met, folder_of=folder_of), files))
    parts = [part for part, _, _ in found if part]
    places = [presets for part, presets, _ in found if part]
    shares = coverage(_runner().logic, _runner().reader.rules, joined(parts), places) if parts else []
    return Exercised(shares, [said for part, _, said in found if not part])


def _met(file: Path, folder_of: FolderOf) -> tuple[Met | None, Presets, str]:
    runner = _runner()
    outcome = runner.run(runner.load(file, folder_of))
    passed = outcome.recording is not None and outcome.verdict == "passed"
    found = met(outcome.recording, runner.reader.rules) if passed and outcome.recording else None
    return found, outcome.scenario.presets, f"{file.stem}: {outcome.verdict}"


def results(files: list[Path], ask: Planting, folder_of: FolderOf) -> Iterator[Fate]:
    """The fates of every `every`-th mutant: first what scenarios say, then of the rest what proofs say."""
    work = partial(_fates, files=files, ask=ask, folder_of=folder_of)
    lived: list[Fate] = []
    for part in _side_by_side(ask.jobs, work, list(range(ask.jobs))):
        yield from (fate for fate in part if fate.noticed)
        lived += [fate for fate in part if not fate.noticed]
    proofs = Proofs() if ask.proofs and lived else None
    yield from (proofs.judged(fate) if proofs else fate for fate in lived)


def _fates(share: int, files: list[Path], ask: Planting, folder_of: FolderOf) -> list[Fate]:
    trial = _trial()
    planted = mutants(trial.logic)[:: ask.every][share :: ask.jobs]
    scenarios = (trial.runner.load(file, folder_of) for file in files)
    return list(trial.fates(planted, scenarios, ask.tries, lambda said: None))


# ---- what is printed -----------------------------------------------------------------------------------
def show_shares(console: "Console", found: Exercised) -> None:
    """A line a share with what counts, and under it what is missing."""
    for share in found.shares:
        console.print(
            f"{share.what:36} {share.met:5} of {share.of:5}  {share.percent:5.1f} %   {MEANS[share.what]}"
        )
        for name in share.missing[:SHOWN]:
            console.print(f"      not: {name}")
        if len(share.missing) > SHOWN:
            console.print(f"      and {len(share.missing) - SHOWN} more (--json lists them)")
    for said in found.left_out:
        console.print(f"left out: {said}")


def show_fates(console: "Console", found: list[Fate]) -> None:
    """A line a kind of mistake, and the ones that nobody noticed, by why."""
    console.print(f"{'':28} {'noticed by':>21} {'proved':>9} {'not':>9}")
    console.print(f"{'':28} {'scenarios':>10} {'claims':>10} {'none':>9} {'noticed':>9} {'of':>6}")
    kinds = dict.fromkeys(fate.mutant.kind for fate in found)
    for kind in (*kinds, "all"):
        some = [fate for fate in found if kind in (fate.mutant.kind, "all")]
        by = Counter(fate.fell_to for fate in some)
        figures = f"{by['scenario']:10} {by['claim']:10} {by['none']:9} {by['']:9} {len(some):6}"
        console.print(f"{kind:28} {figures}   {percent(some):5.1f} %")
    lived = [fate for fate in found if not fate.fell_to]
    for why, some in (
        ("makes no difference in any scenario", [fate for fate in lived if not fate.shows_in]),
        ("makes a difference, and passes", [fate for fate in lived if fate.shows_in]),
    ):
        console.print(f"not noticed, {why}: {len(some)}")
        for fate in some:
            console.print(f"      {fate.mutant.kind}: {fate.mutant.name}{fate.story()}")


def percent(found: list[Fate]) -> float:
    """Noticed of those that are not proved to be none."""
    real = [fate for fate in found if fate.fell_to != "none"]
    return 100 * sum(fate.noticed for fate in real) / max(len(real), 1)


def shares_as_json(found: Exercised) -> str:
    """As one JSON document."""
    shares = [{**share._asdict(), "means": MEANS[share.what]} for share in found.shares]
    return json.dumps({"shares": shares, "left_out": found.left_out}, indent=1)


def fates_as_json(found: list[Fate]) -> str:
    """As one JSON document."""
    return json.dumps(
        [
            {"kind": f.mutant.kind, "name": f.mutant.name, **f._asdict(), "mutant": f.mutant.number}
            for f in found
        ],
        indent=1,
    )
