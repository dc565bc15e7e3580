"""The lines of a definition's tables, checked: every step, effect, name and limit that does not fit."""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any, get_type_hints

from controller.sequence.definition import EFFECTS, Definition, Interlock, Row, fact


def problems_in_tables(d: Definition) -> list[str]:
    """Everything in the tables that does not fit, one line each; empty if all is well."""
    return [
        *_steps(d),
        *_records(d),
        *(p for n, row in enumerate(d.rows, 1) for p in _row(d, n, row)),
        *(p for i in d.interlocks for p in _interlock(d, i)),
        *_outputs(d),
        *(p for r in d.refusals for p in _points_at(d, f"refusal of {r.command}", r.fact)),
    ]


def _steps(d: Definition) -> Iterator[str]:
    numbers = [int(k) for k in d.step]
    if numbers != list(range(len(numbers))) or len(numbers) > 62:
        yield f"steps: numbered {numbers}, must be 0, 1, 2 ... and 62 at most"
    if d.fault not in numbers:
        yield f"fault: {d.fault!r} is no step"
    for state, steps in d.states.items():
        yield from _known(d, f"state {state}", steps)
    placed = Counter(k for steps in d.states.values() for k in steps)
    yield from (f"step {k.name}: in {placed[k]} states, must be in one" for k in d.step if placed[k] != 1)


def _records(d: Definition) -> Iterator[str]:
    for what, record, kinds in (
        ("input", d.inputs, (bool, int)),
        ("preset", d.presets, (bool, int)),
        ("output", d.outputs, (bool,)),
    ):
        for name, kind in get_type_hints(record).items():
            if kind not in kinds:
                yield f"{what} {name}: must be {' or '.join(k.__name__ for k in kinds)}, is {kind}"
    for what, names, given in (
        ("preset limits", d.presets._fields, d.limits),
        ("input range", d.inputs._fields, d.ranges),
    ):
        yield from (f"{what} {n}: no such {what.split()[0]}" for n in given if n not in names)
        yield from (f"{what} {n}: low {v[0]} over high {v[1]}" for n, v in given.items() if v[0] > v[1])
    yield from (f"preset {n}: has no limits" for n in d.presets._fields if n not in d.limits)


def _known(d: Definition, where: str, steps: Iterable[int]) -> Iterator[str]:
    steps = tuple(steps)
    if not steps:
        yield f"{where}: no steps"
    yield from (f"{where}: {k!r} is no step" for k in steps if not isinstance(k, d.step))
    twice = [k for k, n in Counter(steps).items() if n > 1 and isinstance(k, d.step)]
    yield from (f"{where}: {d.step(k).name} twice" for k in twice)


def _points_at(d: Definition, where: str, named: Any, kind: str = "fact") -> Iterator[str]:
    if not isinstance(named, fact):
        yield f"{where}: {kind} {named!r} is not a fact"
    elif not isinstance(getattr(d.facts, named.name, None), fact):
        yield f"{where}: {kind} {named.name} is not in {d.facts.__name__}"


def _row(d: Definition, n: int, row: Row) -> Iterator[str]:
    where = f"row {n}"
    yield from _known(d, where, row.steps)
    yield from _points_at(d, where, row.guard, "guard")
    if not isinstance(row.to, d.step):
        yield f"{where}: goes to {row.to!r}, which is no step"


def _interlock(d: Definition, i: Interlock) -> Iterator[str]:
    where = f"interlock {i.name}"
    if i.name != i.name.upper() or not i.name.isidentifier():
        yield f"{where}: the name must be one word in capitals"
    yield from _known(d, where, i.steps)
    yield from _points_at(d, where, i.cause, "cause")
    if i.effect in EFFECTS:
        if i.allowed:
            yield f"{where}: its effect is fixed ({i.effect}), so nothing more can be allowed"
        return
    if i.effect not in d.presets._fields:
        yield f"{where}: effect {i.effect} is neither one of {', '.join(EFFECTS)} nor a preset"
    elif i.effect in d.limits and d.limits[i.effect] != (0, len(i.allowed) - 1):
        low, high = d.limits[i.effect]
        needed = f"0 to {len(i.allowed) - 1} ({', '.join(i.allowed)})"
        yield f"{where}: {i.effect} goes from {low} to {high}, must be {needed}"
    yield from (f"{where}: {e} is none of {', '.join(EFFECTS)}" for e in i.allowed if e not in EFFECTS)


def _outputs(d: Definition) -> Iterator[str]:
    for o in d.output_lines:
        where = f"output {o.name}"
        yield from _known(d, where, o.steps)
        for kind, named in ("when", o.when), ("unless", o.unless):
            if named is not None:
                yield from _points_at(d, where, named, kind)
        if o.name not in d.outputs._fields:
            yield f"{where}: no such output"
    names = {o.name for o in d.output_lines}
    yield from (f"output {n}: has no line" for n in d.outputs._fields if n not in names)
