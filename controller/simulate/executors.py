"""
The executors of the closed loop: three ways to run the same logic and the same plant.

`transitions` runs the rules as written and lets the library move the steps; `generated` runs the generated
scan; both on plain Python lists. `compiled` runs the generated scan, the plant and the loop through Numba.
"""

import hashlib
import inspect
import operator
import subprocess
import sys
from collections.abc import Callable, Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NamedTuple

from controller.engines import generated
from controller.engines.as_written import AsWritten
from controller.engines.compiled import compiled
from controller.options import options_of as options_of
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.simulate import closed_loop
from io_sim.put_in import put_in

NAMES = ("compiled", "generated", "transitions")


class Executor(NamedTuple):
    """A way to run the loop: the loop itself, and what makes its flat sequences."""

    name: str
    loop: Callable[..., int]
    whole: Callable[[Sequence[int]], Any]  # flat whole numbers
    floats: Callable[[Sequence[float]], Any]
    presets: Callable[[Presets], Any]
    advance: Callable[..., Any]  # the plant alone


def best() -> str:
    """The quickest executor that this installation has."""
    return "compiled" if find_spec("numba") else "generated"


def executor(
    name: str, logic: Logic, cache: Path | None = None, options: dict[str, int] | None = None
) -> Executor:
    """
    The executor of this name.

    Args:
        name: One of `NAMES`.
        logic: What it runs.
        cache: Where compiled code is kept; a folder of the user's own if left out.
        options: From `options_of`: the executor is for stations with these alone, and compiles sooner.

    Raises:
        ModuleNotFoundError: `compiled` without Numba.
        OSError: The cache folder cannot be written.
    """
    if name == "compiled":
        return _compiled(logic, cache, options or {})
    as_written = name == "transitions"
    scan = _flat(AsWritten(logic, options=options)) if as_written else generated.interpreted(logic, options)
    plant = put_in()
    loop = closed_loop.bound(logic, scan=scan, advance=plant, differ=operator.ne)
    return Executor(name, loop, list, list, Presets._make if as_written else _whole, plant)


def _whole(presets: Presets) -> list[int]:
    return [int(value) for value in presets]


def _flat(engine: AsWritten) -> generated.FlatScan:
    """The engine of named tuples behind the flat call; presets come as `Presets`."""
    memory_of, inputs_of = engine.logic.Memory._make, engine.logic.definition.inputs._make

    def scan(memory: Any, inputs: Any, presets: Any, dt_ms: int, outputs: Any, acts: Any) -> None:
        done = engine.scan(memory_of(memory), inputs_of(inputs), presets, dt_ms)
        memory[:], outputs[:], acts[:] = done.memory, done.outputs, done.acts

    return scan


def loop_folder(logic: Logic, root: Path, options: dict[str, int] | None = None) -> Path:
    """
    Where the compiled loop is kept: named by a hash of the texts of loop, scan and plant.

    Numba does not see a change in a function that another file defines; so changed text must never be
    looked for under an old name.
    """
    import numba

    from io_sim.compiled import kernel_text

    scan_text = generated.source(logic, branch_free=True, options=options)
    texts = (inspect.getsource(closed_loop), scan_text, kernel_text(), numba.__version__)
    return root / "loops" / hashlib.sha256("\0".join(texts).encode()).hexdigest()[:16]


def is_compiled(logic: Logic, options: dict[str, int]) -> bool:
    """Whether the loop for these options lies compiled on disk, so that it starts at once."""
    from io_sim.compiled import default_cache_dir

    return any(loop_folder(logic, default_cache_dir(), options).glob("**/*.nbc"))


def _plant_beside(folder: Path) -> "subprocess.Popen[bytes]":
    """
    Compile the plant in a process of its own while this one compiles the scan: it halves the first wait.

    Should that fail, the loop compiles the plant itself when it is first called.
    """
    code = "import pathlib, sys; from io_sim.compiled import keep; keep(pathlib.Path(sys.argv[1]))"
    return subprocess.Popen([sys.executable, "-c", code, str(folder)], stderr=subprocess.DEVNULL)


def _compiled(logic: Logic, cache: Path | None, options: dict[str, int]) -> Executor:
    """Loop, scan and plant through Numba, kept on disk."""
    import numba

    from io_sim.compiled import compiled_advance, default_cache_dir, float_array, int_array, is_kept

    root = cache or default_cache_dir()
    folder = loop_folder(logic, root, options)
    folder.mkdir(parents=True, exist_ok=True)
    plant = None if is_kept(root / "plants") else _plant_beside(root / "plants")
    scan = compiled(logic, root / "scans", options)
    if plant is not None:
        plant.wait()
    parts = {"scan": scan, "advance": compiled_advance(root / "plants")}
    config: Any = numba.config
    before, config.CACHE_DIR = config.CACHE_DIR, str(folder)
    try:
        differ = numba.njit(closed_loop.differs)
        loop = numba.njit(closed_loop.bound(logic, differ=differ, **parts), cache=True)
    finally:
        config.CACHE_DIR = before

    def flat_presets(presets: Presets) -> Any:
        assert options_of(presets).items() >= options.items(), "for a station with other options"
        return int_array(_whole(presets))

    return Executor(
        "compiled", loop, lambda values: int_array(list(values)), lambda values: float_array(list(values)),
        flat_presets, parts["advance"],
    )  # fmt: skip
