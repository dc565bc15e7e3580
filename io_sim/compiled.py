"""
The kernel compiled by Numba.

Numba keeps compiled code on disk but does not see a change in a function that lives in another file. So
the kernel and all it calls are written into one file, which is named by a hash of its text: changed text is
another file, unchanged text is found compiled. No other module of the simulator imports Numba.
"""

import hashlib
import importlib.util
import inspect
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

from controller.image import Inputs, Outputs
from io_sim import kernel
from io_sim.constants import at_rest, flat
from io_sim.failures import CATALOGUE
from io_sim.parameters import PlantParameters

HEADER = '''"""Written by io_sim.compiled from the kernel; do not edit."""

from __future__ import annotations

import math

from numba import njit

'''
OUTER = '@njit(cache=True, error_model="numpy", forceinline=True)'
INNER = '@njit(error_model="numpy", forceinline=True, no_cpython_wrapper=True, no_cfunc_wrapper=True)'


def default_cache_dir() -> Path:
    """Where compiled kernels are kept: VACUUM_RECEIVER_CACHE, or a folder of this user's own."""
    named = os.environ.get("VACUUM_RECEIVER_CACHE")
    if named:
        return Path(named)
    home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(home) / "vacuum-receiver"


def gather(
    function: FunctionType, functions: dict[str, FunctionType], constants: dict[str, int | float]
) -> None:
    """
    Collect a function, the functions and the numbers it uses, callees first.

    Raises:
        ValueError: Two different things share a name, or a name stands for what the kernel cannot hold.
    """
    for name in names_used(function):
        if name not in function.__globals__:
            continue
        thing = function.__globals__[name]
        if isinstance(thing, FunctionType):
            if functions.get(name, thing) is not thing:
                text = f"two kernel functions are called {name}; rename one"
                raise ValueError(text)
            if name not in functions:
                gather(thing, functions, constants)
        elif isinstance(thing, int | float):
            if constants.get(name, thing) != thing:
                text = f"two kernel constants are called {name}; rename one"
                raise ValueError(text)
            constants[name] = thing
        elif not isinstance(thing, ModuleType):
            text = f"{function.__name__} uses {name}, neither function, number nor module"
            raise ValueError(text)
    functions[function.__name__] = function


def names_used(function: FunctionType) -> tuple[str, ...]:
    """Names that the body of a function looks up."""
    return function.__code__.co_names


def kernel_text() -> str:
    """The kernel with all it calls, as one compilable module."""
    functions: dict[str, FunctionType] = {}
    constants: dict[str, int | float] = {}
    if not isinstance(kernel.advance, FunctionType):
        text = "io_sim.kernel.advance is not a plain function"
        raise TypeError(text)
    gather(kernel.advance, functions, constants)
    lines = [f"{name} = {value!r}" for name, value in sorted(constants.items())]
    bodies = [
        f"{OUTER if function is kernel.advance else INNER}\n{inspect.getsource(function)}"
        for function in functions.values()
    ]
    return HEADER + "\n".join(lines) + "\n\n\n" + "\n\n".join(bodies)


def compiled_module(cache_dir: Path | None = None) -> ModuleType:
    """
    The compiled kernel as a module: `advance`, callable from Python and from other njit code, and its parts.

    Args:
        cache_dir: Where text and machine code are kept; `default_cache_dir` if left out.

    Compiling happens in the first call, some seconds once for each text.
    """
    text = kernel_text()
    name = _name(text)
    if name in sys.modules:
        return sys.modules[name]
    folder = cache_dir or default_cache_dir()
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.py"
    if not path.exists():
        with tempfile.NamedTemporaryFile("w", dir=folder, suffix=".new", delete=False) as half_written:
            half_written.write(text)
        Path(half_written.name).replace(path)
    spec = importlib.util.spec_from_file_location(name, path)
    if spec is None or spec.loader is None:
        text = f"cannot load {path}"
        raise ImportError(text)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def compiled_advance(cache_dir: Path | None = None) -> Callable[..., None]:
    """
    `io_sim.kernel.advance`, compiled, over a float64 state and int64 images; callable from other njit code.

    Raises:
        ImportError: Numba is not installed; it comes with the extra `fast`.
    """
    dispatcher: Callable[..., None] = compiled_module(cache_dir).advance
    return dispatcher


def _name(text: str) -> str:
    return "plant_" + hashlib.sha256(text.encode()).hexdigest()[:16]


def is_kept(cache_dir: Path) -> bool:
    """Whether machine code of this kernel lies in `cache_dir`; if it does not fit, Numba compiles it anew."""
    return any((cache_dir / "__pycache__").glob(f"{_name(kernel_text())}.*.nbc"))


def keep(cache_dir: Path) -> None:
    """Compile the kernel for the arrays that it is called with, and keep it in `cache_dir`."""
    parameters = PlantParameters()
    outputs, inputs = [0] * len(Outputs._fields), [int(v) for v in Inputs()]
    compiled_advance(cache_dir)(
        float_array(at_rest(parameters, 1)), float_array(flat(parameters)),
        float_array([0.0] * len(CATALOGUE)), int_array(outputs), int_array(inputs), 0, 0.005,
    )  # fmt: skip


def float_array(values: list[float]) -> Any:
    """The flat array of floats that the compiled kernel takes."""
    import numpy as np

    return np.array(values, dtype=np.float64)


def int_array(values: list[int]) -> Any:
    """The flat array of whole numbers that the compiled kernel takes."""
    import numpy as np

    return np.array(values, dtype=np.int64)
