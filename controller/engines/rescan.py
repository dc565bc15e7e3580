"""
Recorded inputs run through the logic again, scan by scan, with everything kept that the scan gives.

A scan is a function, so memory before the first scan and the inputs of all are enough: memory, outputs and
acts come out as tables, one row a scan. Compiled where Numba is installed, else interpreted.
"""

import hashlib
import inspect
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import FunctionType
from typing import TYPE_CHECKING, Any, NamedTuple

from controller.engines import generated
from controller.engines.compiled import cache_folder, compiled
from controller.sequence.logic import Logic

if TYPE_CHECKING:
    import numpy as np

    Table = np.ndarray[tuple[int, int], np.dtype[np.int64]]


class Rescanned(NamedTuple):
    """What the scans gave: tables of whole numbers, (scans, columns) each, in the flat order."""

    memory: "Table"  # after each scan
    outputs: "Table"
    acts: "Table"


def scan(*_: Any) -> None:
    """Which scan: `_bound` puts it in."""


def rescanned(
    memory: Any, inputs: Any, presets: Any, dt_ms: int, memories: Any, outputs: Any, acts: Any
) -> None:
    """Fills the tables of memory, outputs and acts from the rows of `inputs`; in the subset of Numba."""
    for k in range(len(inputs)):
        scan(memory, inputs[k], presets, dt_ms, outputs[k], acts[k])
        memories[k] = memory


class Rescanner:
    """
    The logic over tables of inputs.

    Args:
        logic: What is run.
        options: As in `generated.source`: only for stations with these.
        folder: Where compiled scans are kept; the user's own cache unless told.
        interpreted: Without Numba, whether it is there or not.

    Raises:
        ModuleNotFoundError: NumPy is not installed.
        OSError: The folder cannot be written.
    """

    def __init__(
        self,
        logic: Logic,
        options: Mapping[str, int] | None = None,
        folder: Path | None = None,
        interpreted: bool = False,
    ) -> None:
        self.logic = logic
        if interpreted:
            self._loop: Any = _over_lists(generated.interpreted(logic, options))
        else:
            self._loop = _compiled(logic, options, folder or cache_folder())

    def run(self, memory: Sequence[int], inputs: Any, presets: Sequence[int], dt_ms: int) -> Rescanned:
        """
        All scans of a table of inputs.

        Args:
            memory: Before the first scan, in the flat order.
            inputs: Whole numbers, (scans, inputs).
            presets: In the flat order.
            dt_ms: Between two scans.
        """
        import numpy as np

        outputs = self.logic.definition.outputs._fields
        widths = (len(self.logic.memory), len(outputs), len(self.logic.interlock_names))
        tables = Rescanned(*(np.zeros((len(inputs), width), dtype=np.int64) for width in widths))
        first, table = np.array(list(memory), dtype=np.int64), np.ascontiguousarray(inputs, dtype=np.int64)
        self._loop(first, table, np.array(list(presets), dtype=np.int64), dt_ms, *tables)
        return tables


def _over_lists(scan: Any) -> Any:
    """The same loop for the interpreted scan, which runs over lists of int."""

    def loop(memory: Any, inputs: Any, presets: Any, dt_ms: int, *tables: Any) -> None:
        held, known, width = memory.tolist(), presets.tolist(), [table.shape[1] for table in tables]
        out, acts = [0] * width[1], [0] * width[2]
        for k, row in enumerate(inputs.tolist()):
            scan(held, row, known, dt_ms, out, acts)
            for table, values in zip(tables, (held, out, acts), strict=True):
                table[k] = values

    return loop


def _bound(scan: Any) -> Any:
    return FunctionType(rescanned.__code__, {"__name__": __name__, "scan": scan, "range": range, "len": len})


def _compiled(logic: Logic, options: Mapping[str, int] | None, folder: Path) -> Any:
    """The loop through Numba, kept on disk: named by a hash of the texts of loop and scan."""
    import numba

    texts = (inspect.getsource(rescanned), generated.source(logic, branch_free=True, options=options))
    key = hashlib.sha256("\0".join((*texts, numba.__version__)).encode()).hexdigest()[:16]
    scan = compiled(logic, folder, options)
    config: Any = numba.config
    before, config.CACHE_DIR = config.CACHE_DIR, str(folder / "loops" / key)
    try:
        return numba.njit(_bound(scan), cache=True)
    finally:
        config.CACHE_DIR = before
