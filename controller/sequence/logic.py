"""
The definition, read once: every fact as a checked expression, in the order it can be worked out.

`Logic.facts` is all that an engine needs. Written facts and made facts look alike here. `step` alone keeps
its rows, so that they stay rows everywhere.
"""

import ast
from collections import Counter, namedtuple
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, get_type_hints

from controller.sequence import definition as language
from controller.sequence.definition import Definition, Row, Scan, fact
from controller.sequence.expressions import (
    NotInTheSubset,
    Read,
    Refused,
    Subset,
    Written,
    reads_of,
    written,
)
from controller.sequence.keywords import IEC_KEYWORDS
from controller.sequence.made_facts import delayed, interlock_names, made_facts
from controller.sequence.table_checks import problems_in_tables

ROWS = "rows"
RESERVED = ("now", "set", "was", "memory", "inputs", "presets", "outputs", "acts")


@dataclass(frozen=True)
class Fact:
    """One fact, checked."""

    name: str
    kind: type  # bool or int
    first: int | None  # None: not remembered
    kept: bool
    tree: ast.expr  # in core form; for `step`: the guards of all rows
    where: str  # file:line, or the table that made it
    doc: str
    text: str  # as it was written
    rule: Callable[[Any], Any] | None  # as it was written; None: made


@dataclass
class _Found:
    """A fact before it is checked."""

    source: Written
    first: int | None = None
    kept: bool = False
    rule: Callable[[Any], Any] | None = None
    kind: type | None = None  # None: whatever the rule gives


class Logic:
    """
    The facts of a definition in working order, and its rows.

    Raises:
        NotInTheSubset: Something is misspelt, mixed, looped, clashing or outside the subset; all at once.
    """

    def __init__(self, definition: Definition) -> None:
        self.definition = definition
        self.steps = definition.step
        self.step_names: tuple[str, ...] = tuple(k.name for k in definition.step)
        self.rows: tuple[Row, ...] = definition.rows
        self.interlock_names = interlock_names(definition.interlocks)
        self.constants: dict[str, int] = {k.name: k.value for k in definition.step}
        self.kinds: dict[Read, type] = {Read("this", "dt_ms"): int}
        self.facts: dict[str, Fact] = {}
        self._problems = problems_in_tables(definition)
        self._stop_at_problems()
        for group, record in ("now", definition.inputs), ("set", definition.presets):
            self.kinds |= {Read(group, n): k for n, k in get_type_hints(record).items()}
        found = self._found()
        self._stop_at_problems()
        self.kinds |= {Read("was", n): type(f.first) for n, f in found.items() if f.first is not None}
        self._read_in_order(found)
        self._check_names()
        self._stop_at_problems()

    # ---- what engines and people ask -----------------------------------------------------------------

    @cached_property
    def memory(self) -> dict[str, int]:
        """What is remembered, in the flat order, with its value before the first scan."""
        return {n: f.first for n, f in self.facts.items() if f.first is not None}

    @cached_property
    def kept(self) -> tuple[str, ...]:
        """The memory that survives power loss."""
        return tuple(n for n, f in self.facts.items() if f.kept)

    @cached_property
    def Memory(self) -> Any:  # noqa: N802, a type
        """The memory record: a named tuple in the flat order."""
        return namedtuple("Memory", list(self.memory))

    @cached_property
    def Acts(self) -> Any:  # noqa: N802, a type
        """One boolean for each interlock name, as a named tuple."""
        return namedtuple("Acts", [n.lower() for n in self.interlock_names])

    def power_up(self, kept: Mapping[str, int] | None = None) -> Any:
        """The memory before the first scan after power-up, with what was kept."""
        stored = {n: v for n, v in (kept or {}).items() if n in self.kept}
        return self.Memory(**{**self.memory, **stored})

    def rows_from(self, step: int) -> list[Row]:
        """The rows that leave `step`, in order."""
        return [r for r in self.rows if step in r.steps]

    def source_of(self, name: str) -> str:
        """The expression of a fact as it was written, or the rows of `step`."""
        return self.facts[name].text

    def reads(self, name: str) -> tuple[Read, ...]:
        """What the rule of a fact reads."""
        own = (Read("was", "step"),) if name == "step" else ()
        return (*own, *reads_of(self.facts[name].tree))

    def expression(self, source: Written, wanted: type = bool) -> ast.expr:
        """Any other expression over a scan (a claim, a scenario's condition) in core form, or Refused."""
        subset = Subset(self.kinds, self.steps, source.names)
        _, core = subset.read(source.tree, wanted)
        for name, value in subset.constants.items():
            if self.constants.setdefault(name, value) != value:
                msg = f"{source.where}: {name} is {value} here and {self.constants[name]} elsewhere"
                raise Refused(msg)
        return core

    # ---- reading -------------------------------------------------------------------------------------

    def _stop_at_problems(self) -> None:
        if self._problems:
            raise NotInTheSubset(self._problems)

    def _found(self) -> dict[str, _Found]:
        """Every fact by name, written ones first."""
        found: dict[str, _Found] = {}
        forward: dict[str, str] = {}
        for layer in reversed(self.definition.facts.__mro__):
            if not issubclass(layer, Scan) or layer is Scan:
                continue
            for name, value in vars(layer).items():
                if isinstance(value, fact):
                    if value.rule is None:
                        forward[name] = f"{layer.__module__}.{layer.__qualname__}"
                    else:
                        self._add_written(found, name, value)
                elif not name.startswith("__"):
                    self._problems.append(f"{layer.__qualname__}.{name}: neither fact nor memory")
        self._add_made(found)
        self._problems += [
            f"{place}.{name}: declared, but no rule and no table gives it a value"
            for name, place in forward.items()
            if name not in found
        ]
        return found

    def _add_written(self, found: dict[str, _Found], name: str, value: fact[Any]) -> None:
        assert value.rule is not None
        try:
            source = written(value.rule)
        except Refused as no:
            self._problems.append(f"{no} ({name})")
            return
        for part in ("_seen", "_held_ms"):  # of a delay that this rule replaces
            found.pop(name + part, None) if name in found else None
        if value.delay is None:
            found[name] = _Found(source, value.first, value.kept, value.rule)
            return
        found[f"{name}_seen"] = _Found(source, False, rule=value.rule, kind=bool)
        for made in delayed(name, value.delay, source.where):
            text = self._text(made.text, source.where, source.doc)
            found[made.name] = _Found(text, made.first, kind=made.kind)

    def _add_made(self, found: dict[str, _Found]) -> None:
        for made in made_facts(self.definition):
            if made.name in found:
                where = found[made.name].source.where
                self._problems.append(f"{where}: {made.name}: {made.where} makes a fact of this name too")
            text = self._text(made.text, made.where)
            found[made.name] = _Found(text, made.first, made.kept, kind=made.kind)
        if "step" in found:
            self._problems.append(f"{found['step'].source.where}: step: comes from the rows")
        guards = " or ".join(dict.fromkeys(f"s.{r.guard.name}" for r in self.rows)) or "False"
        found["step"] = _Found(self._text(guards, ROWS, "The step of the machine."), 0, kind=bool)

    def _text(self, text: str, where: str, doc: str = "") -> Written:
        names = vars(language) | dict(self.steps.__members__)
        return Written(_parsed(text), where, names, doc)

    def _read_in_order(self, found: dict[str, _Found]) -> None:
        placed: dict[str, bool] = {}  # False: begun
        loops: set[frozenset[str]] = set()

        def place(name: str, path: tuple[str, ...]) -> None:
            if placed.get(name):
                return
            if name in placed:
                loop = path[path.index(name) :]
                if frozenset(loop) not in loops:
                    loops.add(frozenset(loop))
                    round_trip = " -> ".join((*loop, name))
                    where = found[name].source.where
                    self._problems.append(f"{where}: {round_trip}: a loop, one of them must read s.was")
                return
            placed[name] = False
            for group, other in reads_of(found[name].source.tree):
                if group == "this" and other in found:
                    place(other, (*path, name))
            placed[name] = True
            self._read(name, found[name], found)

        for name in found:
            place(name, ())

    def _read(self, name: str, f: _Found, found: dict[str, _Found]) -> None:
        reads = [r for r in reads_of(f.source.tree) if r.group == "this" and r.name in found]
        if any(r not in self.kinds for r in reads):  # said already, where it went wrong
            return
        subset = Subset(self.kinds, self.steps, f.source.names)
        try:
            kind, tree = subset.read(f.source.tree, f.kind)
            tree = self._same_constants(subset, tree)
        except Refused as no:
            self._problems.append(f"{f.source.where}: {name}: {no}")
            return
        text = _unparsed(f.source.tree)
        if name == "step":
            kind, text = int, self._rows_text()
        if f.first is not None and type(f.first) is not kind:
            self._problems.append(
                f"{f.source.where}: {name}: remembers a {kind.__name__}, but first={f.first!r} is a "
                f"{type(f.first).__name__}"
            )
        self.kinds[Read("this", name)] = kind
        self.facts[name] = Fact(name, kind, f.first, f.kept, tree, f.source.where, f.source.doc, text, f.rule)

    def _same_constants(self, subset: Subset, tree: ast.expr) -> ast.expr:
        for name, value in subset.constants.items():
            if self.constants.setdefault(name, value) != value:
                msg = f"{name} is {value} here and {self.constants[name]} elsewhere"
                raise Refused(msg)
        return tree

    def _rows_text(self) -> str:
        def name(k: int) -> str:
            return self.steps(k).name

        return "\n".join(
            f"{', '.join(map(name, r.steps))} -> {name(r.to)}: {r.guard.name}" for r in self.rows
        )

    def _check_names(self) -> None:
        taken = [r.name for r in self.kinds if r.group != "was"] + list(self.constants)
        times = Counter(n.lower() for n in taken)
        self._problems += [
            f"{n}: used twice (case does not count)" for n, k in sorted(times.items()) if k > 1
        ]
        self._problems += [
            f"{n}: a keyword of IEC 61131-3, choose another name"
            for n in sorted(taken)
            if n.upper() in IEC_KEYWORDS and n != "step"
        ]
        self._problems += [
            f"{n}: reserved, choose another name" for n in taken if n in RESERVED or n.startswith("_")
        ]


@lru_cache(maxsize=1024)
def _parsed(text: str) -> ast.expr:
    return ast.parse(text, mode="eval").body


@lru_cache(maxsize=1024)  # by identity: nobody changes a tree
def _unparsed(tree: ast.expr) -> str:
    return ast.unparse(tree)
