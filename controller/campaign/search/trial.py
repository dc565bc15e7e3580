"""One episode run: drawn while it runs, or as it is written; and what it broke."""

import heapq
from itertools import count
from pathlib import Path
from random import Random
from typing import NamedTuple

from controller.campaign.drive import Driver
from controller.campaign.patterns import pattern
from controller.campaign.runner import Runner
from controller.campaign.scenario import SCAN_MS, Action, Deed
from controller.campaign.search.chance import Chance, modes_of, plant_of, spread, whole
from controller.campaign.search.episode import Episode
from controller.campaign.search.invariants import (
    DELIVERS,
    INVARIANTS,
    LIVENESS,
    delivers_within_ms,
    least_kg,
    texts,
)
from controller.campaign.search.variants import AS_SET, fitted
from controller.campaign.search.watch import Violation, Watch, WatchedStation
from controller.sequence.steps import DRAIN, FAULT, REST

MOST_DEEDS = 60
COMES_MS = 20_000
LOOK_MS = 1_000
NOTHING_FALLS = "empty drains"
SHORTEST_MS, LONGEST_MS = 120_000, 1_500_000


class Ran(NamedTuple):
    """An episode that was run."""

    episode: Episode
    violations: tuple[Violation, ...]  # of rules that nothing before it excuses
    ran_ms: int
    reached: frozenset[str] = frozenset()  # steps, and interlocks that tripped


class Trial:
    """
    Episodes of one station.

    Args:
        station: As it is named in a scenario file.
        folder: Where it lies.
        runner: With the logic that is tried.
        longest_ms: Of an episode, without its end.
        delivers_ms: How long it may take at the end until it delivers; worked out unless told, 0: not tried.
        variant: What is fitted or chosen otherwise than at the station.

    Raises:
        StationError: The station is wrong, or cannot be so.
    """

    def __init__(
        self,
        station: str,
        folder: Path,
        runner: Runner,
        longest_ms: int = LONGEST_MS,
        delivers_ms: int | None = None,
        variant: str = AS_SET,
    ) -> None:
        so = fitted(variant, station, folder, runner)
        self.station, self.folder, self.runner, self.variant = station, folder, runner, variant
        self._longest_ms, self._delivers_ms = longest_ms, delivers_ms
        self.presets, self.plant = so.presets, so.plant
        self.modes = modes_of(so.station, self.presets)
        self._delivers_kg = least_kg(self.plant)
        self.rules = {row.name: row for row in (*INVARIANTS, LIVENESS)}
        self.texts = dict(texts(self.presets, self.plant))
        patterns = {name: pattern(text, runner.reader.read) for name, text in self.texts.items()}
        self._watch = Watch(runner.reader, patterns, self.presets._asdict())

    def drawn(self, seed: int, number: int) -> Ran:
        """The episode of this number of a search: always the same."""
        draw = Random(f"{self.station} {seed} {number}")
        ends_ms = spread(draw, min(SHORTEST_MS, self._longest_ms), self._longest_ms)
        plant = plant_of(draw, self.plant)
        changed = self.plant._replace(**dict(plant))
        within_ms = self._delivers_ms
        if within_ms is None:
            within_ms = whole(delivers_within_ms(self.presets, changed))
        episode = Episode(
            self.station, draw.randrange(1, 2_147_483_646), plant, (), ends_ms, within_ms,
            self.variant, self._delivers_kg,
        )  # fmt: skip
        walk = _Walk(self._target(episode))
        deeds = walk.draws(Chance(draw, self.modes, ends_ms), ends_ms)
        return self._ended(walk, episode._replace(deeds=deeds, ends_ms=walk.target.now_ms))

    def again(self, episode: Episode) -> Ran:
        """An episode as it is written."""
        walk = _Walk(self._target(episode))
        walk.does(episode.deeds)
        return self._ended(walk, episode)

    def _target(self, episode: Episode) -> WatchedStation:
        ran, _ = self.runner.parts(self.presets)
        plant = self.plant._replace(**dict(episode.plant))
        return WatchedStation(
            self._watch, self.runner.logic, self.presets, plant, ran, [], episode.seed, SCAN_MS
        )  # fmt: skip

    def _ended(self, walk: "_Walk", episode: Episode) -> Ran:
        found = walk.ends(episode)
        kept = tuple(v for v in found if not episode.words(v.at_ms) & {*self.rules[v.rule].excused})
        return Ran(episode, kept, walk.target.now_ms, walk.target.reached)


class _Walk(Driver):
    """Drives an episode; what is done at a moment is done as a scenario does it."""

    def __init__(self, target: WatchedStation) -> None:
        super().__init__(None, target, lambda *_: [])
        self.target = target

    def does(self, deeds: tuple[Deed, ...]) -> None:
        """All of it, each at its time."""
        for deed in deeds:
            self.run_until(deed.at_ms)
            self.do(deed.action)

    def draws(self, chance: Chance, ends_ms: int) -> tuple[Deed, ...]:
        """Draws what happens, does it, and gives what was done."""
        plan: list[tuple[int, int, Action]] = [(1_000, 0, Action("command", "start", 1))]
        tie, done, draw = count(1), list[Deed](), chance.draw
        while self.target.now_ms < ends_ms and len(done) < MOST_DEEDS:
            self._waits(draw, whole(draw.expovariate(1 / chance.calm_ms)), plan, ends_ms)
            now_ms = self.target.now_ms
            if not plan or plan[0][0] > now_ms:
                for after_ms, action in chance.happens(self.target.step(), now_ms):
                    heapq.heappush(plan, (now_ms + after_ms, next(tie), action))
            while plan and plan[0][0] <= now_ms < ends_ms:
                action = heapq.heappop(plan)[2]
                self.do(action)
                done.append(Deed(now_ms, action))
                now_ms = self.target.now_ms if action.kind == "power_cut" else now_ms
        return tuple(done)

    def _waits(self, draw: Random, gap_ms: int, plan: list[tuple[int, int, Action]], ends_ms: int) -> None:
        """For a while, or to a change of step and a little more; not beyond what is planned."""
        if self.target.step() in (FAULT, REST):  # somebody comes
            gap_ms = min(gap_ms, COMES_MS)
        limit_ms = min([ends_ms, self.target.now_ms + gap_ms, *(at for at, _, _ in plan[:1])])
        if draw.random() < 0.5:
            self.run_until(limit_ms)
            return
        more_ms = draw.choice((0, 0, 10, spread(draw, 10, 3_000)))
        while self.target.now_ms < limit_ms:
            before = self.target.step()
            self._advance(limit_ms)
            if self.target.step() != before:
                self.run_until(min(limit_ms, self.target.now_ms + more_ms))
                return

    def ends(self, episode: Episode) -> list[Violation]:
        """What is left of the episode; what was broken in all of it."""
        self.run_until(episode.ends_ms)
        self.does(episode.tail)
        found = self.target.violations()
        if episode.delivers_ms and not found:
            limit_ms = self.target.now_ms + episode.delivers_ms
            if not all(self.enters((DRAIN,), limit_ms) for _ in range(2)):
                return [Violation(DELIVERS, self.target.now_ms, self._stands())]
            if not self._delivers(episode.delivers_kg, episode.delivers_ms):
                return [Violation(DELIVERS, self.target.now_ms, NOTHING_FALLS)]
            found = self.target.violations()
        return found

    def _delivers(self, kg: float, ms: int) -> bool:
        """Runs until so much more has fallen into the vessel; whether it has, in so long."""
        limit_ms, kg = self.target.now_ms + ms, kg + self.target.reading("delivered_kg")
        while self.target.reading("delivered_kg") < kg and self.target.now_ms < limit_ms:
            self.run_until(min(limit_ms, self.target.now_ms + LOOK_MS))
        return self.target.reading("delivered_kg") >= kg

    def _stands(self) -> str:
        """The step that it stands in, and what tripped it or why it holds."""
        loop = self.target.loop
        step, first_out = loop.logic.step_names[self.target.step()], loop.remembers("first_out")
        more = loop.logic.interlock_names[first_out - 1] if first_out else ""
        return f"{step} {more or loop.remembers('hold_reason') or ''}".strip()
