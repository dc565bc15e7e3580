"""What a reset leaves open: a cause that is not looked at in a fault is not proved gone by it."""

from collections.abc import Iterator

from controller.engines.matrix import steps_text
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import FAULT


def looked_at(interlock: str) -> Iterator[str]:
    """
    Where an interlock is looked at again after a reset, in one line; nothing if it is in a fault too.

    >>> list(looked_at("NO_VACUUM")), list(looked_at("IO_LOST"))
    (['NO_VACUUM is not proved mended by the reset: looked at in PURGE, DRAW, CONVEY (trip)'], [])
    """
    logic, steps = Logic(RECEIVER), dict[str, set[int]]()
    for line in logic.definition.interlocks:
        if line.name == interlock:
            steps.setdefault(" or ".join(line.allowed) or line.effect, set()).update(line.steps)
    if any(FAULT in where for where in steps.values()):
        return
    said = "; ".join(f"{steps_text(logic, where)} ({effect})" for effect, where in steps.items())
    if said:
        yield f"{interlock} is not proved mended by the reset: looked at in {said}"
