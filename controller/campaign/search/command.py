"""`receiver search`: episodes side by side, kept in order; what is found made small, as scenario files."""

import copy
import hashlib
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from functools import cache, partial
from pathlib import Path
from typing import Any, NamedTuple

from controller.campaign.runner import Outcome, Runner
from controller.campaign.scenario_file import COMMANDS
from controller.campaign.search.chance import POINTS
from controller.campaign.search.episode import Episode, written
from controller.campaign.search.invariants import Invariant
from controller.campaign.search.shrink import Shrinking
from controller.campaign.search.state import Find, Line, State
from controller.campaign.search.trial import Trial
from controller.campaign.search.variants import AS_SET, possible
from controller.campaign.search.watch import Violation
from controller.engines import generated
from controller.engines.as_written import AsWritten
from controller.simulate.times import typed

SHOWN = 2
"""So many finds of each rule, and place where it stands, are made small; of more only the count is kept."""
MILD = ("warn", "hold", "wait", "end_batch")
"""Effects that trip nothing; what a preset chooses may."""
FORMAT = 2
"""Of the lines in its file."""
CHECKED = 40
"""Every so many episodes, the engines are compared over one."""
ENGINES = Invariant(
    "engines_agree", "", "compiled, generated and written rules must say the same in every scan"
)


class Ask(NamedTuple):
    """What was asked for."""

    station: str
    folder: Path
    for_ms: int
    seed: int
    jobs: int
    out: Path
    variants: bool = False


class Shown(NamedTuple):
    """A find as a scenario file."""

    text: str
    deeds: int
    tries: int
    fails: bool


class Tried(NamedTuple):
    """What came of an episode."""

    ms: int  # of plant time
    broken: list[Violation]
    tried: Mapping[str, int]
    reached: tuple[str, ...]


class Bench:
    """Where episodes are run, one in each process: of the variants in turn."""

    def __init__(self, trials: list[Trial], seed: int) -> None:
        self.trials, self.seed = trials, seed

    def trial(self, number: int) -> Trial:
        """Whose episode it is."""
        return self.trials[number % len(self.trials)]

    def run(self, number: int) -> Tried:
        """One episode."""
        trial = self.trial(number)
        ran = trial.drawn(self.seed, number)
        broken = list(ran.violations)
        if number % CHECKED == CHECKED - 1 and self._disagree(trial, ran.episode):
            broken.append(Violation(ENGINES.name, ran.ran_ms))
        tried = Counter(f"{d.action.kind} {d.action.name}".strip() for d in ran.episode.deeds)
        return Tried(ran.ran_ms, broken, dict(tried), tuple(sorted(ran.reached)))

    def show(self, number: int, rule: str, where: str) -> Shown:
        """The smallest scenario that shows what an episode broke."""
        trial = self.trial(number)
        episode = trial.drawn(self.seed, number).episode
        if rule == ENGINES.name:
            return Shown(written(episode, ENGINES, ""), len(episode.deeds), 0, True)
        small = Shrinking(trial.again, rule, where).shrunk(episode)
        text = written(small.episode, trial.rules[rule], trial.texts.get(rule, ""))
        fails = _outcome(trial.runner, text, trial.folder).verdict == "failed"
        return Shown(text, len(small.episode.deeds), small.tries, fails)

    def _disagree(self, trial: Trial, episode: Episode) -> bool:
        checking = copy.copy(trial.runner)
        checking.engine = AsWritten(checking.logic)
        outcome = _outcome(checking, written(episode, ENGINES, ""), trial.folder)
        return outcome.judged is None or bool(outcome.judged.disagreements)


def _outcome(runner: Runner, text: str, folder: Path) -> Outcome:
    return runner.run(runner.load_text(text, lambda _: folder))


class Search:
    """
    A search, begun or gone on with.

    Args:
        ask: What was asked for.
        bench: Of this process.
        pool: Where episodes are run.
    """

    def __init__(self, ask: Ask, bench: Bench, pool: Executor, remote: Callable[..., Any]) -> None:
        self._ask, self._pool, self._remote = ask, pool, remote
        self.known = known(bench.trials)
        self.state = State(ask.out, _identity(ask, bench.trials))
        self._shown = Counter((find.rule, find.where) for find in self.state.finds if find.file)

    def lines(self) -> Iterator[Line]:
        """Each episode when it is done, in order, until there is plant time enough."""
        waiting: deque[tuple[int, Future[Tried]]] = deque()
        number = len(self.state.lines)
        while self.state.ms < self._ask.for_ms:
            while len(waiting) <= self._ask.jobs:
                waiting.append((number, self._pool.submit(self._remote, "run", number)))
                number += 1
            done, future = waiting.popleft()
            came: Tried = future.result()
            finds = tuple(self._find(done, v.rule, v.where) for v in came.broken)
            line = Line(done, came.ms, finds, came.tried, came.reached)
            self.state.add(line)
            yield line
        for _, future in waiting:
            future.cancel()

    def _find(self, number: int, rule: str, where: str) -> Find:
        if self._shown[rule, where] >= SHOWN:
            return Find(rule, where, number)
        self._shown[rule, where] += 1
        shown: Shown = self._pool.submit(self._remote, "show", number, rule, where).result()
        file = f"{rule}_{number}.yaml"
        (self._ask.out / file).write_text(shown.text, encoding="utf-8")
        return Find(rule, where, number, file, shown.deeds, shown.tries, shown.fails)


class Here(Executor):
    """Runs in this process what is asked of it, when it is asked."""

    def submit(self, fn: Callable[..., Any], /, *given: Any, **named: Any) -> Future[Any]:
        """Done when it returns."""
        future: Future[Any] = Future()
        future.set_result(fn(*given, **named))
        return future


def search(ask: Ask) -> tuple[Search, Executor]:
    """
    A search that is ready to go, and its pool, to be shut down.

    Raises:
        StationError: The folder holds another search, or the station is wrong.
    """
    remote = partial(_remote, ask._replace(for_ms=0, jobs=0, out=Path()))
    pool: Executor = Here() if ask.jobs == 1 else ProcessPoolExecutor(ask.jobs)
    bench = _bench(ask.station, ask.folder, ask.seed, ask.variants)
    for trial in bench.trials:
        trial.runner.parts(trial.presets)  # compiled once, before there are many of them
    return Search(ask, bench, pool, remote), pool


@cache
def _bench(station: str, folder: Path, seed: int, variants: bool) -> Bench:
    runner = Runner(check=False)
    names = possible(station, folder, runner) if variants else [AS_SET]
    return Bench([Trial(station, folder, runner, variant=name) for name in names], seed)


def _remote(ask: Ask, what: str, *given: Any) -> Any:
    return getattr(_bench(ask.station, ask.folder, ask.seed, ask.variants), what)(*given)


def _identity(ask: Ask, trials: list[Trial]) -> dict[str, Any]:
    """What makes a search the same search: another logic or plant would go on with other episodes."""
    parts = ([(t.presets, t.plant, t.texts) for t in trials], generated.source(trials[0].runner.logic))
    digest = hashlib.sha256(repr(parts).encode()).hexdigest()[:16]
    return {"station": ask.station, "seed": ask.seed, "format": FORMAT, "contents": digest}


def known(trials: list[Trial]) -> dict[str, list[str]]:
    """All that a search of these can try and reach, by what it is."""
    logic = trials[0].runner.logic
    points = [f"set {point}" for point, _, _ in POINTS]
    modes = dict.fromkeys(f"fail {mode}" for trial in trials for mode in trial.modes)
    return {
        "failures": list(modes),
        "commands": [f"command {name}" for name in COMMANDS],
        "points": [*points, "set jog"],
        "power cuts": ["power_cut"],
        "steps": list(logic.step_names),
        "trips": list(dict.fromkeys(i.name for i in logic.definition.interlocks if i.effect not in MILD)),
    }


# ---- what is printed -----------------------------------------------------------------------------------
def show(going: Search, ask: Ask) -> None:
    """Runs it: what is found, a line each; and on a terminal how far it is."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(highlight=False, soft_wrap=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("plant time", total=ask.for_ms, completed=going.state.ms)
        for find in going.state.finds:
            console.print(f"before: {shown(find, ask.out)}", markup=False)
        for line in going.lines():
            for find in line.finds:
                console.print(shown(find, ask.out), markup=False)
            found = len(going.state.finds)
            progress.update(task, advance=line.ms, description=f"{line.number + 1} episodes, {found} finds")


def shown(find: Find, out: Path) -> str:
    """One find in a line."""
    name = f"{find.rule} ({find.where})" if find.where else find.rule
    if not find.file:
        return f"FOUND  {name} again, in episode {find.number}"
    told = f"{find.deeds} deeds, {find.tries} tries"
    wrong = "" if find.shown else "; but the file alone does not fail: look at the episode"
    return f"FOUND  {name} in episode {find.number}: receiver scenarios {out / find.file}  ({told}{wrong})"


def coverage(state: State, known: Mapping[str, list[str]]) -> Iterator[str]:
    """What was tried how often, what was reached in how many episodes, and what never was."""
    counts: Counter[str] = Counter()
    for line in state.lines:
        counts.update(line.tried)
        counts.update(line.reached)
    for kind, names in known.items():
        met = sorted((name for name in names if counts[name]), key=lambda name: -counts[name])
        plain = {name: name.split(" ")[-1] for name in names}
        said = ", ".join(f"{plain[name]} {counts[name]}" for name in met) or "none"
        never = [plain[name] for name in names if not counts[name]]
        more = f"; never: {', '.join(never)}" if never and kind != "trips" else ""
        yield f"{kind}, {len(met)} of {len(names)}: {said}{more}"


def summary(state: State, took_s: float, before_ms: int) -> str:
    """The last line."""
    ran_h = (state.ms - before_ms) / 3_600_000
    counts = Counter(find.rule for find in state.finds)
    found = ", ".join(f"{rule} {n}" for rule, n in counts.items()) or "nothing found"
    rate = f"{ran_h / max(took_s, 0.1) * 60:.1f} plant hours a minute"
    return f"{len(state.lines)} episodes, {typed(state.ms // 1_000 * 1_000)} of plant time, {rate}: {found}"
