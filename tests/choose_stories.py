"""Choose the shortest stories that together reach everything: run by hand, its answer goes to `stories.PROGRAMME`."""

from typing import Any

import observer
import stories

from controller.engines import generated
from controller.image import Outputs
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER

SCANS = 7_000
CANDIDATES = (
    *((seed, seed % len(stories.SETS), None) for seed in range(60)),
    *((90 + n, n % len(stories.SETS), stories.air_goes_while_purging) for n in range(12)),
    (120, 0, stories.line_plugs_at_the_end_of_purge),
    (121, 4, stories.scans_come_late),
    (122, 4, stories.product_runs_out),
)


def first_seen(logic: Logic, seed: int, presets: int, director: stories.Director | None) -> dict[Any, int]:
    """What a story reaches, each with the number of scans it takes."""
    observe, names = observer.observing(logic), list(logic.facts)
    memory_names = list(logic.memory)
    kept = [memory_names.index(n) for n in logic.kept]
    at = {n: k for k, n in enumerate(names)}
    step = memory_names.index("step")
    boolean = [k for k, n in enumerate(names) if logic.facts[n].kind is bool]
    preset = [int(v) for v in stories.SETS[presets]]
    told = stories.story(seed, director)
    inputs, dt_ms = next(told)
    first = generated.flat(logic)
    memory, out, acts = list(first), [0] * len(Outputs._fields), [0] * len(logic.interlock_names)
    seen: dict[Any, int] = {}
    for n in range(SCANS):
        if n and n % stories.POWER_CUT_EVERY == 0:
            memory = [v if k in kept else f for k, (v, f) in enumerate(zip(memory, first, strict=True))]
        was = memory[step]
        facts = observe(memory, [int(v) for v in inputs], preset, dt_ms, out, acts)
        for k in boolean:
            seen.setdefault((names[k], facts[k] > 0), n + 1)
        for k, row in enumerate(logic.rows):
            if was in row.steps:
                fires = facts[at[row.guard.name]]
                seen.setdefault(("fires" if fires else "blocked", k), n + 1)
                if fires:
                    break
        inputs, dt_ms = told.send(Outputs(*map(bool, out)))
    return seen


def main() -> None:
    """Greedy cover: always the story that reaches most that is new for its length."""
    logic = Logic(RECEIVER)
    reached = {c: first_seen(logic, *c) for c in CANDIDATES}
    left = set().union(*reached.values())
    chosen: dict[Any, int] = {}
    while left:
        worth, best, scans = 0.0, CANDIDATES[0], 0
        for c, seen in reached.items():
            new = sorted(n for what, n in seen.items() if what in left)
            for count, n in enumerate(new, 1):
                if count / (n + 150) > worth:
                    worth, best, scans = count / (n + 150), c, n
        left -= {what for what, n in reached[best].items() if n <= scans}
        chosen[best] = max(chosen.get(best, 0), scans)
    for (seed, presets, director), scans in sorted(chosen.items(), key=lambda x: x[0][:2]):
        print(f"({seed}, {presets}, {director.__name__ if director else None}, {scans}),")
    print(sum(chosen.values()), "scans")


if __name__ == "__main__":
    main()
