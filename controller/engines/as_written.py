"""
The rules run as they are written: the debugger steps into them, the rows move `transitions`.

The slowest engine and the plainest; the others are checked against it.
"""

import ast
from collections.abc import Callable, Iterator, Mapping
from operator import itemgetter
from typing import Any, NamedTuple

from transitions import Machine

from controller.engines.fixed import folded
from controller.sequence import definition as language
from controller.sequence.logic import Logic

Stepper = Callable[[Any], int]
"""Which step follows, of a scan whose guards can be asked."""


class Scanned(NamedTuple):
    """What one scan gives."""

    memory: Any  # `Logic.Memory`
    outputs: Any  # `Definition.outputs`
    acts: Any  # `Logic.Acts`: one boolean for each interlock name


def on_transitions(logic: Logic) -> Stepper:
    """
    The rows on a `transitions` machine.

    It keeps no state of its own, or a scan would not be a function of what goes into it.
    """

    class Token:
        at = ""

    def holds(guard: str) -> Callable[[Any], bool]:
        return lambda event: bool(getattr(event.kwargs["s"], guard))

    token, names = Token(), logic.step_names
    numbers = {k.name: k.value for k in logic.steps}
    rows = [
        {
            "trigger": "scan",
            "source": [logic.steps(k).name for k in row.steps],
            "dest": logic.steps(row.to).name,
            "conditions": holds(row.guard.name),
        }
        for row in logic.rows
    ]
    machine = Machine(
        None,
        list(names),
        initial=names[0],
        transitions=rows,
        auto_transitions=False,
        ignore_invalid_triggers=True,
        send_event=True,
        model_attribute="at",
    )
    advance: Any = machine.events["scan"].trigger if rows else lambda token, s: False

    def step(s: Any) -> int:
        token.at = names[s.was.step]
        advance(token, s=s)
        return int(numbers[token.at])

    return step


def on_rows(logic: Logic) -> Stepper:
    """The rows on three lines."""
    rows: list[list[tuple[str, int]]] = [
        [(r.guard.name, r.to) for r in logic.rows_from(k)] for k in logic.steps
    ]

    def step(s: Any) -> int:
        for guard, to in rows[s.was.step]:
            if getattr(s, guard):
                return int(to)
        return int(s.was.step)

    return step


class Laid:
    """One scan laid open: every fact of it by name, beside `now`, `set`, `was` and `dt_ms`."""

    def __init__(self, was: Any, now: Any, preset: Any, dt_ms: int) -> None:
        self.was, self.now, self.set, self.dt_ms = was, now, preset, dt_ms


class LaidWhereAsked(Laid):
    """One scan whose facts are worked out when they are asked for, and those that they need."""

    def __init__(self, rules: Mapping[str, Callable[[Any], Any]], *scan: Any) -> None:
        super().__init__(*scan)
        self._rules = rules

    def __getattr__(self, name: str) -> Any:
        rule = self._rules.get(name)
        if rule is None:
            raise AttributeError(name)
        value = self.__dict__[name] = rule(self)
        return value


class FactsAsked(Mapping[str, int]):
    """The facts of one scan by name, in working order; each is worked out when it is first asked for."""

    def __init__(self, rules: Mapping[str, Callable[[Any], Any]], scan: LaidWhereAsked) -> None:
        self._rules, self._scan = rules, scan

    def __getitem__(self, name: str) -> int:
        if name not in self._rules:
            raise KeyError(name)
        value: int = getattr(self._scan, name)
        return value

    def __contains__(self, name: object) -> bool:
        return name in self._rules

    def __iter__(self) -> Iterator[str]:
        return iter(self._rules)

    def __len__(self) -> int:
        return len(self._rules)


class AsWritten:
    """
    The logic, run as it is written: each rule once a scan, in working order.

    `scan(memory, inputs, presets, dt_ms)` is pure: named tuples in, `Scanned` out. Start from
    `Logic.power_up()`. Not for two threads at once: the machine of `transitions` is shared. With `options`
    as in `generated.source` it leaves out what these settle for ever; what lays a scan open never does.
    """

    def __init__(
        self,
        logic: Logic,
        stepper: Callable[[Logic], Stepper] = on_transitions,
        options: Mapping[str, int] | None = None,
    ) -> None:
        self.logic = logic
        names = vars(language) | dict(logic.constants)
        # a made text has passed the reader, which lets nothing through but the subset
        self._rules: list[tuple[str, Callable[[Any], Any]]] = [
            (f.name, stepper(logic) if f.name == "step" else f.rule or eval("lambda s: " + f.text, names))
            for f in logic.facts.values()
        ]
        self._rule_of = dict(self._rules)
        left = folded(logic, options) if options else {}
        self._settled = {name: tree.value for name, tree in left.items() if isinstance(tree, ast.Constant)}
        self._open = [(name, rule) for name, rule in self._rules if name not in self._settled]
        self._memory, self._outputs, self._acts = logic.Memory, logic.definition.outputs, logic.Acts
        self._memory_of = itemgetter(*self._memory._fields)
        self._outputs_of = itemgetter(*self._outputs._fields)
        self._acts_of = itemgetter(*(f"{n.lower()}_acts" for n in logic.interlock_names))

    def scan(self, memory: Any, inputs: Any, presets: Any, dt_ms: int) -> Scanned:
        """One scan."""
        facts = self._run(Laid(memory, inputs, presets, dt_ms), self._settled, self._open).__dict__
        return Scanned(
            self._memory._make(self._memory_of(facts)),
            self._outputs._make(self._outputs_of(facts)),
            self._acts._make(self._acts_of(facts)),
        )

    def laid(self, memory: Any, inputs: Any, presets: Any, dt_ms: int) -> Laid:
        """One scan, laid open."""
        return self._run(Laid(memory, inputs, presets, dt_ms), {}, self._rules)

    @staticmethod
    def _run(s: Laid, settled: Mapping[str, Any], rules: list[tuple[str, Callable[[Any], Any]]]) -> Laid:
        facts = s.__dict__
        facts.update(settled)
        for name, rule in rules:
            facts[name] = rule(s)
        return s

    def all_facts(self, memory: Any, inputs: Any, presets: Any, dt_ms: int) -> dict[str, int]:
        """Every fact of one scan by name, in working order: for explanations."""
        facts = self.laid(memory, inputs, presets, dt_ms).__dict__
        return {name: facts[name] for name in self.logic.facts}

    def facts_asked(self, memory: Any, inputs: Any, presets: Any, dt_ms: int) -> FactsAsked:
        """As `all_facts`, for those who look at a few of them."""
        return FactsAsked(self._rule_of, LaidWhereAsked(self._rule_of, memory, inputs, presets, dt_ms))
