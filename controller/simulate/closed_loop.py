"""
The closed loop, scan by scan: one text, run interpreted over lists or compiled over arrays.

`bound` gives the text its parts: which scan, which plant, and where things stand in the flat images.
"""

from collections.abc import Callable
from types import FunctionType
from typing import Any

from controller.image import Inputs, Outputs
from controller.sequence.logic import Logic
from io_sim.state import State


def _unbound(*_: Any) -> Any:
    msg = "the loop has no parts yet: use `bound`"
    raise AssertionError(msg)


# the parts, which `bound` puts in; numbers, so that the compiler knows them as constants
scan: Callable[..., Any] = _unbound
advance: Callable[..., Any] = _unbound
differ: Callable[..., Any] = _unbound
N_INPUTS = N_OUTPUTS = N_MEMORY = N_ACTS = N_STATE = STEP = HOLD_REASON = 0


def closed_loop(
    scans: int,
    scan_ms: int,
    plant_steps: int,
    step_s: float,
    presets: Any,
    par: Any,
    failures: Any,
    memory: Any,
    inputs: Any,
    outputs: Any,
    acts: Any,
    acts_before: Any,
    state: Any,
    trace: Any,
    states: Any,
) -> int:
    """
    Runs up to `scans` scans; ends early in the scan that changes step, hold reason or an interlock.

    A scan: the plant moves `plant_steps` of `step_s` with the outputs as they were, its readings go into
    `inputs` (the operator's places stay as they are), the logic scans. Memory, images and state are changed
    in place. Row k of `trace` takes inputs, outputs, memory and acts of scan k, row k of `states` the plant.

    Returns:
        How many scans were run.
    """
    step = memory[STEP]
    reason = memory[HOLD_REASON]
    acts_before[:] = acts
    i = 0
    j = 0
    for k in range(scans):
        advance(state, par, failures, outputs, inputs, plant_steps, step_s)
        scan(memory, inputs, presets, scan_ms, outputs, acts)
        trace[i : i + N_INPUTS] = inputs
        i += N_INPUTS
        trace[i : i + N_OUTPUTS] = outputs
        i += N_OUTPUTS
        trace[i : i + N_MEMORY] = memory
        i += N_MEMORY
        trace[i : i + N_ACTS] = acts
        i += N_ACTS
        states[j : j + N_STATE] = state
        j += N_STATE
        if memory[STEP] != step or memory[HOLD_REASON] != reason or differ(acts, acts_before):
            return k + 1
    return scans


def differs(a: Any, b: Any) -> bool:
    """Whether two flat images differ; in the subset that Numba compiles."""
    for k in range(len(a)):  # noqa: SIM110
        if a[k] != b[k]:
            return True
    return False


def bound(logic: Logic, **parts: Callable[..., Any]) -> Any:
    """`closed_loop` over these `scan`, `advance` and `differ`, with the places of `logic`."""
    memory = list(logic.memory)
    names: dict[str, Any] = {
        "__name__": __name__,
        "N_INPUTS": len(Inputs._fields),
        "N_OUTPUTS": len(Outputs._fields),
        "N_MEMORY": len(memory),
        "N_ACTS": len(logic.interlock_names),
        "N_STATE": len(State._fields),
        "STEP": memory.index("step"),
        "HOLD_REASON": memory.index("hold_reason"),
        "range": range,
    }
    code = closed_loop.__code__
    return FunctionType(code, {**names, **parts}, closed_loop.__name__, closed_loop.__defaults__)
