"""The scan of the live rig: moved by the rules as written, checked by the generated scan beside it."""

from typing import Any

from controller.engines import generated
from controller.engines.as_written import AsWritten, Scanned
from controller.image import Inputs, Outputs
from controller.options import options_of
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets

SHOWN = 5
"""Differences named in the message; there may be more."""


class DisagreementError(Exception):
    """The two engines do not say the same of one scan: neither can be trusted, and nothing may move."""


class AgreeingScan:
    """
    Both engines over the same memory.

    The rules run with what the station has not folded away, on `transitions`; the generated scan is whole. So
    the folding is checked with them.
    """

    def __init__(self, logic: Logic, presets: Presets, beside: generated.FlatScan | None = None) -> None:
        """
        Build both engines.

        Args:
            logic: What runs.
            presets: With what settings.
            beside: The scan that must agree; the generated one of `logic` if left out.
        """
        self.logic, self._presets, self._flat_presets = logic, presets, [int(value) for value in presets]
        self._engine = AsWritten(logic, options=options_of(presets))
        self._beside = beside or generated.interpreted(logic)
        self._outputs, self._acts = [0] * len(Outputs._fields), [0] * len(logic.interlock_names)

    def scan(self, memory: Any, inputs: Inputs, dt_ms: int) -> Scanned:
        """
        One scan.

        Raises:
            DisagreementError: memory, outputs or interlocks differ; names them with both values.
        """
        done: Scanned = self._engine.scan(memory, inputs, self._presets, dt_ms)
        flat = list(memory)
        self._beside(flat, inputs, self._flat_presets, dt_ms, self._outputs, self._acts)
        if list(done.memory) != flat or list(done.outputs) != self._outputs or list(done.acts) != self._acts:
            raise DisagreementError(self._said(done, flat))
        return done

    def _said(self, done: Scanned, memory: list[int]) -> str:
        names = (*self.logic.memory, *Outputs._fields, *self.logic.interlock_names)
        written = (*done.memory, *done.outputs, *done.acts)
        rows = zip(names, written, (*memory, *self._outputs, *self._acts), strict=True)
        differ = dict.fromkeys(f"{name} is {int(a)} and {int(b)}" for name, a, b in rows if a != b)
        shown = "; ".join(list(differ)[:SHOWN]) + (
            f" and {more} more" if (more := len(differ) - SHOWN) > 0 else ""
        )
        return f"the rules as written and the generated scan disagree: {shown}"
