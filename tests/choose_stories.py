"""
Choose the shortest stories that together reach everything: run by hand, its answer goes to `stories.PROGRAMME`.

Each candidate is told once over the compiled observer (a few minutes to compile after a change of the sequence,
then kept on disk). What nothing reached and what was broken is printed too.
"""

import textwrap
from collections import Counter
from collections.abc import Hashable
from typing import NamedTuple

import numpy as np
import observer
import stories

from controller.engines.claims import CLAIMS
from controller.image import Outputs
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER

SCANS, DIRECTED_SCANS, MOST_SCANS = 4_000, 2_500, 28_000
SETS = len(stories.SETS)


class Candidate(NamedTuple):
    """A story that may be told."""

    seed: int
    presets: int
    director: stories.Director | None


CANDIDATES = (
    *(Candidate(seed, seed % SETS, None) for seed in range(9 * SETS)),
    *(Candidate(1_000 + n, n % SETS, d) for d in stories.DIRECTORS for n in range(SETS)),
)


class Observed:
    """The scans of one story: what was true and false in them, row by row and fact by fact."""

    def __init__(self, logic: Logic) -> None:
        self.logic, self.observe = logic, observer.observing(logic)
        names, memory = list(logic.facts), list(logic.memory)
        self.at = {name: n for n, name in enumerate(names)}
        self.boolean = np.array([logic.facts[n].kind is bool for n in names])
        self.always = np.array([c.when is None for c in CLAIMS])
        self.meant = np.array(
            [self.at[f"{'kept' if c.when is None else 'meant'}_{n}"] for n, c in enumerate(CLAIMS)]
        )
        self.held = np.array([self.at[f"kept_{n}"] for n in range(len(CLAIMS))])
        self.kept = np.array([n in logic.kept for n in memory])
        self.step = memory.index("step")
        self.first = np.array([int(v) for v in logic.power_up()])
        self.rows = [
            [(n, self.at[row.guard.name]) for n, row in enumerate(logic.rows) if k in row.steps]
            for k in logic.steps
        ]

    def first_seen(self, candidate: Candidate) -> dict[Hashable, int]:
        """What a story reaches, each with the number of scans it takes. Prints claims that break."""
        names = list(self.logic.facts)
        preset = np.array([int(v) for v in stories.SETS[candidate.presets]])
        told = stories.story(*candidate)
        inputs, dt_ms = next(told)
        memory, facts = self.first.copy(), np.zeros(len(names), dtype=np.int64)
        out, acts = (
            np.zeros(n, dtype=np.int64) for n in (len(Outputs._fields), len(self.logic.interlock_names))
        )
        seen: dict[Hashable, int] = {}
        on, off, rows, broken = ~self.boolean, ~self.boolean, set(), set[int]()
        for n in range(DIRECTED_SCANS if candidate.director else SCANS):
            if n and n % stories.POWER_CUT_EVERY == 0:
                memory = np.where(self.kept, memory, self.first)
            was = memory[self.step]
            self.observe(memory, np.array(inputs, dtype=np.int64), preset, dt_ms, out, acts, facts)
            true = facts != 0
            for new, way in ((true & ~on, True), (~true & ~off, False)):
                if new.any():
                    seen |= {(names[k], way): n + 1 for k in np.flatnonzero(new)}
            on |= true
            off |= ~true
            for row, guard in self.rows[was]:
                if (row, true[guard]) not in rows:
                    rows.add((row, true[guard]))
                    seen["fires" if true[guard] else "blocked", row] = n + 1
                if true[guard]:
                    break
            for k in {*np.flatnonzero((true[self.meant] | self.always) & ~true[self.held])} - broken:
                broken.add(k)
                print("BROKEN:", CLAIMS[k].name, candidate, "scan", n)
            inputs, dt_ms = told.send(Outputs(*map(bool, out)))
        return seen


def cover(
    reached: dict[Candidate, dict[Hashable, int]], all_of: set[Hashable], most: int
) -> dict[Candidate, int]:
    """Greedy cover in about `most` scans: always the story that reaches most that is new for its length."""
    left, chosen = all_of & set().union(*reached.values()), dict[Candidate, int]()
    while left and sum(chosen.values()) < most:
        worth, best, scans = 0.0, next(iter(reached)), 0
        for c, seen in reached.items():
            begun = chosen.get(c, 0)
            new = sorted(n for what, n in seen.items() if what in left)
            for count, n in enumerate(new, 1):
                if count / (max(n - begun, 0) + 100) > worth:
                    worth, best, scans = count / (max(n - begun, 0) + 100), c, n
        left -= {what for what, n in reached[best].items() if n <= scans}
        chosen[best] = max(chosen.get(best, 0), scans)
    return chosen


def covered_twice(
    reached: dict[Candidate, dict[Hashable, int]], all_of: set[Hashable]
) -> dict[Candidate, int]:
    """A cover, and while there are scans left what it reaches in one story only a second time in another."""
    chosen = cover(reached, all_of, 10 * MOST_SCANS)
    times = Counter(what for c, scans in chosen.items() for what, n in reached[c].items() if n <= scans)
    once = {what for what in all_of if times[what] == 1}
    others = {c: seen for c, seen in reached.items() if c not in chosen}
    return chosen | cover(others, once, MOST_SCANS - sum(chosen.values()))


def wanted(logic: Logic, reached: dict[Candidate, dict[Hashable, int]]) -> set[Hashable]:
    """What the programme must reach; prints what nothing reached."""
    boolean = [n for n, f in logic.facts.items() if f.kind is bool and not n.startswith(("meant_", "kept_"))]
    all_of: set[Hashable] = {(n, way) for n in boolean for way in (True, False)}
    all_of |= {(word, n) for n in range(len(logic.rows)) for word in ("fires", "blocked")}
    all_of |= {(f"meant_{n}", True) for n, c in enumerate(CLAIMS) if c.when}
    got = set().union(*reached.values())
    print("never reached:", *sorted(map(str, all_of - got)), sep="\n    ")
    return all_of & got


def main() -> None:
    """Tell the candidates and print the programme."""
    logic = observer.with_claims(RECEIVER)
    observed = Observed(logic)
    reached = {c: observed.first_seen(c) for c in CANDIDATES}
    chosen = covered_twice(reached, wanted(logic, reached))
    entries = [
        f"({seed},~{presets},~{director.__name__ if director else None},~{scans:_}),"
        for (seed, presets, director), scans in sorted(chosen.items(), key=lambda x: x[0][:2])
    ]
    print(textwrap.indent(textwrap.fill(" ".join(entries), 100), "    ").replace("~", " "))
    print(sum(chosen.values()), "scans")


if __name__ == "__main__":
    main()
