"""
The facts of many scans at once: each rule over whole columns, of which memory and inputs are known.

A scan is a function of what goes into it, so scans that were recorded need not be run in order again to be
looked at. It is an engine of its own, in another manner than the others, and so checks them too.
"""

import ast
import copy
from collections.abc import Callable, Mapping
from typing import Any

from controller.engines.rescan import Rescanned
from controller.sequence.expressions import Read, read_of
from controller.sequence.logic import Logic

SYMBOLS: dict[type, str] = {
    ast.Eq: "==", ast.NotEq: "!=", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=",
    ast.Add: "+", ast.Sub: "-", ast.FloorDiv: "//",
}  # fmt: skip

Rule = Callable[["Columns"], Any]


class ColumnRules:
    """The rules of a logic, each as an expression over columns; made once, when first asked for."""

    def __init__(self, logic: Logic) -> None:
        import numpy as np

        self.logic = logic
        self._made: dict[str, Rule] = {}
        self._names = {"where": np.where, "minimum": np.minimum, "maximum": np.maximum}

    def of(self, name: str) -> Rule:
        """The rule of a fact."""
        if name not in self._made:
            self._made[name] = _step(self.logic) if name == "step" else self.rule(self.logic.facts[name].tree)
        return self._made[name]

    def rule(self, tree: ast.expr) -> Rule:
        """Any expression in core form."""
        rule: Rule = eval("lambda c: " + self._text(tree), self._names)
        return rule

    def _text(self, node: ast.expr) -> str:
        t = self._text
        match node:
            case ast.Constant(value):
                return f"c.constant({value!r})"
            case ast.Name(name):
                return f"c.constant({self.logic.constants[name]})"
            case ast.BoolOp(op, values):
                return "(" + (" & " if isinstance(op, ast.And) else " | ").join(map(t, values)) + ")"
            case ast.UnaryOp(ast.Not(), value):
                return f"(~{t(value)})"
            case ast.IfExp(test, a, b):
                return f"where({t(test)}, {t(a)}, {t(b)})"
            case ast.Call(ast.Name("percent"), [a, p]):
                return f"(maximum({t(a)}, 0) * maximum({t(p)}, 0) // 100)"
            case ast.Call(ast.Name(name), [a, b]):
                return f"{name}imum({t(a)}, {t(b)})"
            case ast.Compare(a, [ast.In()], [ast.Tuple(steps)]):
                mask = sum(1 << self.logic.constants[k.id] for k in steps if isinstance(k, ast.Name))
                return f"(({mask} >> {t(a)}) & 1 == 1)"
            case ast.BinOp(a, op, b) | ast.Compare(a, [op], [b]):
                return f"({t(a)} {SYMBOLS[type(op)]} {t(b)})"
        read = read_of(node)
        assert read is not None, ast.dump(node)
        return f"c.{read.group}({read.name!r})"


def _step(logic: Logic) -> Rule:
    """The rows, last to first: what stands higher is written over what stands lower."""
    import numpy as np

    def step(c: "Columns") -> Any:
        was = c.was("step")
        now = was
        for row in reversed(logic.rows):
            among = (sum(1 << k for k in row.steps) >> was) & 1 == 1
            now = np.where(among & c.this(row.guard.name), int(row.to), now)
        return now

    return step


class RanRules(ColumnRules):
    """Memory and outputs as they ran, the other facts by their rules: sooner, but no engine of its own."""

    def of(self, name: str) -> Rule:
        """The rule of a fact."""
        if name in self.logic.memory or name in self.logic.definition.outputs._fields:
            return lambda c: c.ran(name)
        return super().of(name)


class Columns:
    """
    Scans in a row, by the names of what can be read in them: one value a scan, or one for all of them.

    Conditions are arrays of bool, whole numbers int64. `extra` are columns beside the inputs, read like them.
    """

    def __init__(
        self,
        rules: ColumnRules,
        memory: Any,
        inputs: Any,
        rescanned: Rescanned,
        presets: Mapping[str, int],
        dt_ms: int,
        extra: Mapping[str, Any] | None = None,
    ) -> None:
        import numpy as np

        logic = rules.logic
        self.rules, self.scans, self._presets, self._extra = rules, len(inputs), presets, extra or {}
        self._inputs, self.rescanned = np.asfortranarray(inputs), rescanned
        first = np.array(list(memory), dtype=np.int64)[None]
        self._before = np.asfortranarray(np.vstack([first, rescanned.memory[:-1]]))  # read by columns
        self._place = {
            **{Read("now", n): k for k, n in enumerate(logic.definition.inputs._fields)},
            **{Read("was", n): k for k, n in enumerate(logic.memory)},
        }
        self._kinds = logic.kinds
        self._facts: dict[str, Any] = {"dt_ms": np.int64(dt_ms)}

    def constant(self, value: bool | int) -> Any:
        """The same value for all scans, in the kinds of the columns."""
        import numpy as np

        return np.bool_(value) if isinstance(value, bool) else np.int64(value)

    def now(self, name: str) -> Any:
        """An input, or one of the extra columns."""
        if name in self._extra:
            return self._extra[name]
        return self._column(self._inputs, Read("now", name))

    def was(self, name: str) -> Any:
        """What was remembered before each scan."""
        return self._column(self._before, Read("was", name))

    def set(self, name: str) -> Any:
        """A preset: one value for all scans."""
        value = self._presets[name]
        return self.constant(bool(value) if self._kinds[Read("set", name)] is bool else int(value))

    def this(self, name: str) -> Any:
        """A fact of each scan."""
        if name not in self._facts:
            self._facts[name] = self.rules.of(name)(self)
        return self._facts[name]

    def ran(self, name: str) -> Any:
        """What each scan remembered or commanded, as it ran; not worked out again."""
        outputs = self.rules.logic.definition.outputs._fields
        if name in outputs:
            return self.rescanned.outputs[:, outputs.index(name)] != 0
        return self._column(self.rescanned.memory, Read("was", name))

    def otherwise(self, name: str, column: Any) -> "Columns":
        """The same scans with another column for a fact; what depends on it is left as it is."""
        other = copy.copy(self)
        vars(other)["_facts"] = self._facts | {name: column}
        return other

    def whole(self, rule: Rule) -> Any:
        """The column of a rule, one value for each scan, even where it is the same for all."""
        import numpy as np

        return np.broadcast_to(rule(self), (self.scans,))

    def _column(self, table: Any, read: Read) -> Any:
        column = table[:, self._place[read]]
        return column != 0 if self._kinds[read] is bool else column
