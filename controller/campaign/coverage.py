"""
What scenarios exercised, from what they recorded: steps, rows, pairs of moves, interlock lines, conditions.

Everything is judged over the facts of every scan, so a line counts as exercised where it did its work, not
where it was merely passed.
"""

from itertools import groupby, pairwise
from typing import Any, NamedTuple

from controller.campaign.decisions import Combinations, decisive
from controller.campaign.recording import Recording
from controller.engines.columns import ColumnRules, Columns
from controller.engines.fixed import Fixed, fixed_at
from controller.sequence.logic import Logic
from controller.sequence.made_facts import lines_of
from controller.sequence.presets import Presets

MEANS = {
    "steps entered": "steps that the presets of the stations leave open",
    "moves taken": "from a step to another, as the rows allow",
    "pairs of moves": "two moves in a row, as the rows allow; what no plant can do is counted among them",
    "rows fired": "its guard was true, and no row above it was taken",
    "rows held back": "it was asked, in one of its steps, and its guard was false",
    "interlock lines acted": "its cause stood for its delay, in a step where it is looked at",
    "interlock lines quiet": "it was not acting",
    "refusals given": "the command was refused while this was its reason",
    "outputs energised": "commanded on",
    "outputs overruled": "the last word held it back",
    "conditions at both values": "on in one scan, off in another, in the rule where it stands",
    "conditions decisive alone (MC/DC)": "on and off, each time the rule were otherwise with it flipped",
}
"""The shares, in their order, and what counts."""


class Share(NamedTuple):
    """So many of so many; `missing` are the rest."""

    what: str  # of MEANS
    met: int
    of: int
    missing: tuple[str, ...]

    @property
    def percent(self) -> float:
        """As a percentage; of nothing all is met."""
        return 100 * self.met / self.of if self.of else 100.0


class Met(NamedTuple):
    """What one recording met: plain sets, to send between processes."""

    steps: frozenset[int]
    moves: frozenset[tuple[int, int]]
    pairs: frozenset[tuple[int, int, int]]
    fired: frozenset[int]  # rows
    held: frozenset[int]  # rows that were asked and did not fire
    acted: frozenset[str]  # facts of interlock lines
    quiet: frozenset[str]
    refused: frozenset[tuple[str, str]]  # command, fact
    on: frozenset[str]  # outputs
    overruled: frozenset[str]
    combinations: tuple[frozenset[int], ...]


def met(recording: Recording, rules: ColumnRules) -> Met:
    """What a recording met."""
    import numpy as np

    logic, combinations = rules.logic, Combinations(rules)
    d = logic.definition
    place = list(logic.memory).index("step")
    paths: list[list[int]] = []  # a new one after each loss of power
    found: dict[str, set[Any]] = {name: set() for name in Met._fields[3:-1]}
    for piece in recording.pieces():
        c = piece.columns
        steps = [int(piece.memory[place]), *map(int, c.rescanned.memory[:, place])]
        before = paths.pop() if paths and paths[-1][-1] == steps[0] else []
        paths.append([k for k, _ in groupby([*before, *steps])])
        was, free = c.was("step"), np.ones(c.scans, dtype=bool)
        for n, row in enumerate(logic.rows):
            asked = free & ((sum(1 << k for k in row.steps) >> was) & 1 == 1)
            guard = np.broadcast_to(c.this(row.guard.name), c.scans)
            if (asked & guard).any():
                found["fired"].add(n)
            if (asked & ~guard).any():
                found["held"].add(n)
            free = free & ~(asked & guard)
        for fact, _ in lines_of(d.interlocks):
            column = np.broadcast_to(c.this(fact), c.scans)
            found["acted"] |= {fact} if column.any() else set()
            found["quiet"] |= {fact} if not column.all() else set()
        for refusal in d.refusals:
            if _any(c, f"{refusal.command}_refused", refusal.fact.name):
                found["refused"].add((refusal.command, refusal.fact.name))
        for name in d.outputs._fields:
            found["on"] |= {name} if c.this(name).any() else set()
            over = f"{name}_overruled"
            found["overruled"] |= {name} if over in logic.facts and np.any(c.this(over)) else set()
        combinations.take(c)
    sets = {name: frozenset(values) for name, values in found.items()}
    moves = frozenset(way for path in paths for way in pairwise(path))
    pairs = frozenset(way for path in paths for way in zip(path, path[1:], path[2:], strict=False))
    entered = frozenset(k for path in paths for k in path)
    return Met(entered, moves, pairs, **sets, combinations=tuple(map(frozenset, combinations.seen)))


def _any(columns: Columns, *facts: str) -> bool:
    import numpy as np

    both: Any = True
    for fact in facts:
        both = both & columns.this(fact)
    return bool(np.any(both))


def joined(parts: list[Met]) -> Met:
    """What several recordings met."""
    sets = {n: frozenset().union(*(getattr(p, n) for p in parts)) for n in Met._fields[:-1]}
    columns = zip(*(part.combinations for part in parts), strict=True)
    return Met(**sets, combinations=tuple(frozenset().union(*column) for column in columns))


def coverage(logic: Logic, rules: ColumnRules, all_met: Met, stations: list[Presets]) -> list[Share]:
    """
    Shares of what can be met at these stations; what their presets settle for ever is not asked for.

    The last two are over conditions: both values seen, and decisive at both values (MC/DC).
    """
    d = logic.definition
    places = [fixed_at(logic, presets._asdict(), {}) for presets in stations]
    reached = frozenset().union(*(place.steps for place in places))
    rows = [n for n, r in enumerate(logic.rows) if reached & set(r.steps) and _open(places, r.guard.name)]
    ways = dict.fromkeys((k, r.to) for r in map(logic.rows.__getitem__, rows) for k in reached & {*r.steps})
    twice = [(a, b, c) for a, b in ways for other, c in ways if other == b]
    lines = [
        f for f, i in lines_of(d.interlocks) if any(place.acts(i) for place in places) and _open(places, f)
    ]
    refusals = [(r.command, r.fact.name) for r in d.refusals if _open(places, r.fact.name)]
    outputs = [name for name in d.outputs._fields if _open(places, name)]
    last_words = [n for n in outputs if f"{n}_overruled" in logic.facts and _open(places, f"{n}_overruled")]
    return [
        _share("steps entered", reached, all_met.steps, lambda k: logic.step_names[k]),
        _share("moves taken", ways, all_met.moves, lambda way: _path(logic, way)),
        _share("pairs of moves", twice, all_met.pairs, lambda way: _path(logic, way)),
        _share("rows fired", rows, all_met.fired, lambda n: _row(logic, n)),
        _share("rows held back", rows, all_met.held, lambda n: _row(logic, n)),
        _share("interlock lines acted", lines, all_met.acted, str),
        _share("interlock lines quiet", lines, all_met.quiet, str),
        _share("refusals given", refusals, all_met.refused, " ".join),
        _share("outputs energised", outputs, all_met.on, str),
        _share("outputs overruled", last_words, all_met.overruled, str),
        *_conditions(rules, all_met, places),
    ]


def _open(places: list[Fixed], fact: str) -> bool:
    """Whether a fact can be true at any of the stations."""
    return any(place.facts.get(fact) != 0 for place in places)


def _path(logic: Logic, steps: tuple[int, ...]) -> str:
    return " -> ".join(logic.step_names[k] for k in steps)


def _row(logic: Logic, n: int) -> str:
    row = logic.rows[n]
    return f"{row.guard.name} -> {logic.step_names[row.to]}"


def _share(what: str, wanted: Any, seen: Any, name: Any) -> Share:
    missing = tuple(name(item) for item in wanted if item not in seen)
    return Share(what, len(list(wanted)) - len(missing), len(list(wanted)), missing)


def _conditions(rules: ColumnRules, all_met: Met, places: list[Fixed]) -> list[Share]:
    both, alone, of, values_missing, alone_missing = 0, 0, 0, [], []
    for decision, seen in zip(Combinations(rules).decisions, all_met.combinations, strict=True):
        if all(decision.fact in place.facts for place in places):
            continue
        decided = decisive(decision, seen)
        for k, (text, at) in enumerate(decided.items()):
            of += 1
            values = {bool(combination >> k & 1) for combination in seen}
            both += len(values) == 2
            alone += len(at) == 2
            said = f"{decision.fact}: {text}"
            values_missing += [f"{said} never {v}" for v in (True, False) if v not in values]
            alone_missing += [f"{said} never decided as {v}" for v in (True, False) if v not in at]
    return [
        Share("conditions at both values", both, of, tuple(values_missing)),
        Share("conditions decisive alone (MC/DC)", alone, of, tuple(alone_missing)),
    ]
