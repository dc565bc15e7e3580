"""
The generated scan compiled by Numba over int64 arrays, and kept on disk for the next start.

The text lies in a folder named by its hash, so that Numba's disk cache can never serve an older logic.
Needs the extra `fast`.
"""

import hashlib
import importlib.util
import os
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from controller.engines import generated
from controller.sequence.logic import Logic


def cache_folder() -> Path:
    """Where compiled scans are kept unless told: the user's cache folder."""
    root = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(root) / "vacuum-receiver" / "scans"


def compiled(logic: Logic, folder: Path | None = None, options: Mapping[str, int] | None = None) -> Any:
    """
    The generated scan, compiled: callable from Python and from other compiled functions.

    Args:
        logic: What to compile.
        folder: Where text and machine code are kept; `cache_folder()` unless told.
        options: As in `generated.source`.

    Returns:
        `scan(memory, inputs, presets, dt_ms, outputs, acts)` over C-contiguous int64 arrays, in place,
        as `generated.FlatScan`.

    Raises:
        OSError: The folder cannot be written.
        ModuleNotFoundError: Numba is not installed.
    """
    from numba import int64, njit, void

    array = int64[::1]
    scan = _stored(logic, folder, options).scan
    return njit(void(array, array, array, int64, array, array), cache=True)(scan)


def _stored(logic: Logic, folder: Path | None, options: Mapping[str, int] | None) -> Any:
    """The module of the generated text, written to its file if it is not there yet."""
    text = generated.source(logic, branch_free=True, options=options)
    key = hashlib.sha256(text.encode()).hexdigest()[:16]
    path = (folder or cache_folder()) / key / f"scan_{key}.py"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        draft = path.with_suffix(f".{os.getpid()}")
        draft.write_text(text, encoding="utf-8")
        draft.replace(path)  # whole or not at all, whoever else writes it now
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module  # Numba looks it up when it unpickles from its cache
    spec.loader.exec_module(module)
    return module


def array(values: Sequence[int]) -> Any:
    """Flat values as the array that a compiled scan takes."""
    import numpy as np

    return np.array(values, dtype=np.int64)
