"""
Conditions of scenarios: the language of the facts, with names instead of prefixes.

`flap_closed_fb` is an input, `source_cmd` an output, `vacuum_pa` a fact, `fill_ms` a preset, `CONVEY` a step,
`DRAWING` a group of steps, `FLAP_LOST_CLOSED` an interlock that acts; `plant_flap_open_permille` is a reading
of the simulated plant, in whole numbers of the unit in its name.

    step == CONVEY and vacuum_pa < 5_000
    source_cmd and not flap_closed_fb
"""

import ast
from collections.abc import Container, Iterable, Mapping
from copy import deepcopy
from typing import Any, NamedTuple

from controller.campaign.decisions import leaves
from controller.engines.columns import ColumnRules, Rule
from controller.problems import did_you_mean
from controller.sequence import steps
from controller.sequence.expressions import Read, Refused, Subset, reads_of
from controller.sequence.logic import Logic
from io_sim.state import State

_WHOLE = (("_pa", "_pa", 1), ("_pa_v", "_pa_v", 1), ("_pa_g", "_pa_g", 1), ("_ua", "_ua", 1),
          ("_kg_m2", "_g_m2", 1_000), ("_kg_s", "_g_s", 1_000), ("_m_s", "_mm_s", 1_000),
          ("_kg", "_g", 1_000), ("_s", "_ms", 1_000), ("_m3", "_l", 1_000))  # fmt: skip
"""Ends of a reading's name, of its whole number, and what it is multiplied by; a share counts permille."""

LARGER = (("pa_g", "bar", 100_000), ("pa_v", "kPa", 1_000), ("pa", "kPa", 1_000), ("ua", "mA", 1_000),
          ("ms", "s", 1_000), ("g", "kg", 1_000), ("mm_s", "m/s", 1_000),
          ("permille", "", 1_000))  # fmt: skip
"""Ends of names, the unit that people say instead, and how many of the first that is."""

EQUAL = ast.Eq | ast.NotEq | ast.In | ast.NotIn


class Reading(NamedTuple):
    """A reading of the plant as a whole number: of which field of `State`, times what."""

    field: str
    times: int


class Condition(NamedTuple):
    """A condition that was read: its text, and the rule over columns."""

    text: str
    rule: Rule
    reads: tuple[Read, ...]
    readings: Mapping[str, Reading]  # of the plant, by name; empty where it shows at the I/O


def plant_readings() -> dict[str, Reading]:
    """
    What conditions may read of the plant.

    >>> plant_readings()["plant_vessel_g"], plant_readings()["plant_flap_open_permille"]
    (Reading(field='vessel_kg', times=1000), Reading(field='flap_open', times=1000))
    """
    return {
        f"plant_{name}": Reading(field, times) for field in State._fields for name, times in [_whole(field)]
    }


def _whole(field: str) -> tuple[str, int]:
    for end, told, times in sorted(_WHOLE, key=lambda row: -len(row[0])):
        if field.endswith(end):
            return field.removesuffix(end) + told, times
    return f"{field}_permille", 1_000


class Reader:
    """Reads conditions over one logic."""

    def __init__(self, logic: Logic) -> None:
        self.logic, self.rules, self._plant = logic, ColumnRules(logic), plant_readings()
        d = logic.definition
        acts = {name: f"{name.lower()}_acts" for name in logic.interlock_names}
        self._reads = {
            **{name: Read("set", name) for name in d.presets._fields},
            **{name: Read("this", name) for name in (*logic.facts, "dt_ms")},
            **{name: Read("now", name) for name in (*d.inputs._fields, *self._plant)},
            **{name: Read("this", fact) for name, fact in acts.items()},
        }
        self._kinds = {**logic.kinds, **{Read("now", name): int for name in self._plant}}
        self._constants = {
            name: value
            for name, value in vars(steps).items()
            if name.isupper() and isinstance(value, int | tuple)
        }
        self._steps = dict.fromkeys(logic.steps.__members__, "==")
        self._steps |= {name: "in" for name, value in self._constants.items() if isinstance(value, tuple)}

    @property
    def names(self) -> Iterable[str]:
        """All that a condition may name."""
        return (*self._reads, *self._constants)

    def read(self, text: str) -> Condition:
        """
        A condition.

        Raises:
            ValueError: It is none; says what is wrong with it, and what was likely meant.
        """
        try:
            tree = ast.parse(text.strip(), mode="eval").body
        except SyntaxError as no:
            msg = f"`{text}` cannot be read as a condition: {no.msg}"
            raise ValueError(msg) from None
        try:
            named = ast.fix_missing_locations(_Names(self).visit(deepcopy(tree)))
            _plain_mistakes(tree, self._steps)
            _, core = Subset(self._kinds, self.logic.steps, self._constants).read(named, bool)
        except Refused as no:
            raise ValueError(str(no).replace("s.now.", "").replace("s.set.", "").replace("s.", "")) from None
        reads = reads_of(core)
        core = _Numbers(self).visit(core)
        readings = {r.name: self._plant[r.name] for r in reads if r.name in self._plant}
        return Condition(text, self.rules.rule(core), reads, readings)

    def place(self, name: str) -> ast.expr:
        """What a name of a condition stands for."""
        if name in self._reads:
            return ast.parse(str(self._reads[name]), mode="eval").body
        if name in self._constants or name in ("min", "max", "percent", "True", "False"):
            return ast.Name(name)
        msg = f"`{name}` is no fact, input, output, interlock, preset or step{did_you_mean(name, self.names)}"
        raise Refused(msg)

    def number(self, name: str) -> int | None:
        """The value of a constant that is not a step."""
        value = self._constants.get(name)
        return None if name in self.logic.steps.__members__ or not isinstance(value, int) else value


def _plain_mistakes(tree: ast.expr, steps: Mapping[str, str]) -> None:
    """Raises Refused for what looks right at first; `steps`: steps and groups, with their signs."""
    for node in leaves(tree):
        if isinstance(node, ast.Name) and node.id in steps:
            msg = f"`{node.id}` alone is no condition: write step {steps[node.id]} {node.id}"
            raise Refused(msg)
    for part in ast.walk(tree):
        if isinstance(part, ast.Constant) and isinstance(part.value, float):
            raise Refused(_whole_number(tree, part))
        if isinstance(part, ast.Compare):
            _steps_with_the_step(part, steps)


def _whole_number(tree: ast.expr, number: ast.Constant) -> str:
    """As a person thinks of it, in the unit of what it is compared with."""
    said = f"`{ast.unparse(number)}`: whole numbers only, in the unit of the name"
    near = (node for node in ast.walk(tree) if isinstance(node, ast.Compare) and number in ast.walk(node))
    names = [n.id for compared in near for n in ast.walk(compared) if isinstance(n, ast.Name)]
    for unit, larger, times in LARGER:
        if any(f"{name}_".endswith(f"_{unit}_") for name in names) and isinstance(number.value, float):
            whole = f"{round(number.value * times)} for {number.value:g} {larger}".rstrip()
            return f"{said}: {whole}"
    return said


def _steps_with_the_step(node: ast.Compare, steps: Container[str]) -> None:
    """A step is a number, and so is a hold reason: compared, they would mean nothing."""
    sides = [node.left, *node.comparators]
    parts = [part for side in sides for part in (side.elts if isinstance(side, ast.Tuple) else [side])]
    named = [part.id for part in parts if isinstance(part, ast.Name) and part.id in steps]
    kept = {*named, "step"}
    others = [part for part in parts if not (isinstance(part, ast.Name) and part.id in kept)]
    if named and (others or not all(isinstance(op, EQUAL) for op in node.ops)):
        msg = f"`{ast.unparse(node)}`: {named[0]} stands for steps: compare it with step, by ==, != or in"
        raise Refused(msg)


class _Names(ast.NodeTransformer):
    def __init__(self, reader: Reader) -> None:
        self._reader = reader

    def visit_Name(self, node: ast.Name) -> Any:
        return self._reader.place(node.id)

    def visit_Attribute(self, node: ast.Attribute) -> Any:
        msg = f"`{ast.unparse(node)}`: names alone, without points"
        raise Refused(msg)


class _Numbers(ast.NodeTransformer):
    """Constants of the steps module by value: the logic may not use them."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader

    def visit_Name(self, node: ast.Name) -> Any:
        value = self._reader.number(node.id)
        return node if value is None else ast.Constant(value)
