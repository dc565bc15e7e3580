"""What a reset leaves open: a cause that is looked at in some steps only is not proved gone by it."""

from collections.abc import Iterator

from controller.engines.matrix import steps_text
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER


def looked_at(interlock: str) -> Iterator[str]:
    """
    Where an interlock is looked at again after a reset, in one line.

    >>> list(looked_at("NO_VACUUM"))
    ['NO_VACUUM is not proved mended by the reset: looked at in PURGE, DRAW, CONVEY (trip)']
    """
    logic, steps = Logic(RECEIVER), dict[str, set[int]]()
    for line in logic.definition.interlocks:
        if line.name == interlock:
            steps.setdefault(" or ".join(line.allowed) or line.effect, set()).update(line.steps)
    said = "; ".join(f"{steps_text(logic, where)} ({effect})" for effect, where in steps.items())
    if said:
        yield f"{interlock} is not proved mended by the reset: looked at in {said}"
