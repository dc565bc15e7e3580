"""Every fact of every scan, quickly: the generated text, asked for all it works out. For coverage only."""

from collections.abc import Callable, Sequence
from typing import Any

from controller.engines import generated
from controller.sequence.logic import Logic


class _Everything(generated._Text):
    def _needed(self):
        return list(self.logic.facts.values())

    def whole(self) -> str:
        text = super().whole().replace("def scan(", "def observe(", 1)
        return text + f"    return ({', '.join(self.logic.facts)},)\n"


def observing(logic: Logic) -> Callable[..., Sequence[Any]]:
    """`observe(memory, inputs, presets, dt_ms, outputs, acts)`: a scan in place; answers all facts in order."""
    names: dict[str, Any] = {}
    exec(_Everything(logic, branch_free=False).whole(), names)
    return names["observe"]
