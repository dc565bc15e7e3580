"""
The facts that nobody writes: made from delays and from the lines of the tables, as text in the subset.

Delays are IEC 61131-3 TON in two memories, `<name>_seen` and `<name>_held_ms`. An interlock line is looked
at in the step of the scan before, so that a row taken in this scan can follow from it.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from controller.sequence.definition import EFFECTS, Definition, Interlock, Named, Output


class Made(NamedTuple):
    """One made fact."""

    name: str
    text: str
    where: str  # what it was made from
    first: int | None = None  # None: not remembered
    kept: bool = False
    kind: type = bool


class Line(NamedTuple):
    """One line of the interlock table under the name of its fact."""

    fact: str
    interlock: Interlock


def lines_of(interlocks: Sequence[Interlock]) -> list[Line]:
    """The interlock lines with their facts' names: the id in lower case, numbered where there are several."""
    names = [i.name.lower() for i in interlocks]
    return [
        Line(n if names.count(n) == 1 else f"{n}_{names[: k + 1].count(n)}", i)
        for k, (n, i) in enumerate(zip(names, interlocks, strict=True))
    ]


def interlock_names(interlocks: Sequence[Interlock]) -> tuple[str, ...]:
    """The distinct names, in the order of the table; the first-out counts them from 1."""
    return tuple(dict.fromkeys(i.name for i in interlocks))


def delayed(name: str, delay: str, where: str) -> list[Made]:
    """What a delay on the cause `<name>_seen` makes, `<name>_seen` itself apart."""
    held = f"min(s.was.{name}_held_ms + s.dt_ms, DAY_MS) if s.was.{name}_seen else 0"
    return [
        Made(f"{name}_held_ms", held, where, first=0, kind=int),
        Made(name, f"s.{name}_seen and s.{name}_held_ms >= {_time(delay)}", where),
    ]


def made_facts(definition: Definition) -> list[Made]:
    """All made facts of a definition, those of `on_delay` apart."""
    return [
        *_interlock_lines(definition),
        *_effects(definition),
        *_outputs(definition),
        *_refusals(definition),
    ]


def in_steps(what: str, steps: tuple[int, ...], definition: Definition) -> str:
    """A condition text: the step `what` is one of `steps`; empty if that is every step."""
    if set(steps) == set(definition.step):
        return ""
    return f"{what} in ({', '.join(definition.step(k).name for k in steps)},)"


def _time(delay: str) -> str:
    return delay if delay.startswith("s.") else f"s.set.{delay}"


def _all(*conditions: str) -> str:
    return " and ".join(filter(None, conditions)) or "True"


def _any(conditions: Iterable[str]) -> str:
    return " or ".join(conditions) or "False"


def _interlock_lines(definition: Definition) -> list[Made]:
    made = []
    lines = lines_of(definition.interlocks)
    for name, i in lines:
        where, cause = f"interlock {i.name}", f"s.{i.cause.name}"
        looked_at = in_steps("s.was.step", i.steps, definition)
        if i.delay is None:
            made.append(Made(name, _all(looked_at, cause), where))
            continue
        seen = _all(in_steps("s.step", i.steps, definition), cause)
        made.append(Made(f"{name}_seen", seen, where, first=False))
        held_ms, _ = delayed(name, i.delay, where)
        stands = f"s.{name}_held_ms >= {_time(i.delay)}"
        made += [held_ms, Made(name, _all(looked_at, cause, stands), where)]
    for name in interlock_names(definition.interlocks):
        acts = _any(f"s.{line.fact}" for line in lines if line.interlock.name == name)
        made.append(Made(f"{name.lower()}_acts", acts, f"interlock {name}"))
    return made


def _has_effect(line: Line, effect: str) -> str:
    """The condition under which a line acts with `effect`; empty if it never does."""
    i = line.interlock
    if i.effect == effect:
        return f"s.{line.fact}"
    if effect in i.allowed:
        return f"(s.{line.fact} and s.set.{i.effect} == {i.allowed.index(effect)})"
    return ""


def _effects(definition: Definition) -> list[Made]:
    lines = lines_of(definition.interlocks)
    made = [
        Made(effect, _any(filter(None, (_has_effect(line, effect) for line in lines))), f"effect {effect}")
        for effect in EFFECTS
    ]
    tripped = "0"
    for number, name in reversed(list(enumerate(interlock_names(definition.interlocks), 1))):
        trips = _any(
            filter(None, (_has_effect(line, "trip") for line in lines if line.interlock.name == name))
        )
        if trips != "False":
            tripped = f"{number} if {trips} else {tripped}"
    stored = f"(s.was.first_out if s.was.first_out != 0 else {tripped})"
    text = f"{stored} if s.step == {definition.step(definition.fault).name} else 0"
    made.append(Made("first_out", text, "first-out", first=0, kept=True, kind=int))
    return made


def _outputs(definition: Definition) -> list[Made]:
    made = []
    overruled: list[str] = []
    for name in dict.fromkeys(o.name for o in definition.output_lines):
        lines = [o for o in definition.output_lines if o.name == name]
        first = False if any(o.remembered for o in lines) else None
        text = _any(_bracketed(_line(o, definition, "not s."), len(lines)) for o in lines)
        made.append(Made(name, text, f"output {name}", first))
        if over := [_bracketed(_line(o, definition, "s."), len(lines)) for o in lines if o.unless]:
            made.append(Made(f"{name}_overruled", _any(over), f"output {name}"))
            overruled.append(f"s.{name}_overruled")
    return [*made, Made("overruled", _any(overruled), "outputs", first=False)]


def _line(o: Output, definition: Definition, unless: str) -> str:
    def word(prefix: str, named: Named | None) -> str:
        return f"{prefix}{named.name}" if named else ""

    return _all(in_steps("s.step", o.steps, definition), word("s.", o.when), word(unless, o.unless))


def _bracketed(text: str, lines: int) -> str:
    return f"({text})" if lines > 1 and " and " in text else text


def _refusals(definition: Definition) -> list[Made]:
    made = []
    for command in dict.fromkeys(r.command for r in definition.refusals):
        facts = dict.fromkeys(r.fact.name for r in definition.refusals if r.command == command)
        made.append(Made(f"{command}_refused", _any(f"s.{f}" for f in facts), f"refusals of {command}"))
    return made
