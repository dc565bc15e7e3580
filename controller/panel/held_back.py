"""Why an output that somebody holds in manual mode is off: the last word, or what dropped it."""

from collections.abc import Mapping

from controller.image import JOG
from controller.sequence.expressions import reads_of
from controller.sequence.logic import Logic
from controller.sequence.phrases import phrase

GONE, ENDED = "what dropped it is gone again", "manual mode has ended"


def held_back(logic: Logic, facts: Mapping[str, int], output: str) -> tuple[str, ...]:
    """
    What holds `output` back, in words; empty if it is not held in this scan, or energised.

    Args:
        logic: The sequence.
        facts: Of one scan, as `Scene.facts` has them.
        output: One of `JOG`.
    """
    if not output or facts[output]:
        return ()
    if not facts["manual"]:
        return (ENDED,)
    if facts["jogged"] == JOG.index(output):
        lines = (line for line in logic.definition.output_lines if line.name == output and line.unless)
        words = dict.fromkeys(line.unless.name for line in lines if line.unless)
        return tuple(phrase(name) for name in words if facts[name])
    dropped = dropped_by(logic, facts)
    if dropped or not facts["jog_barred"]:
        return dropped
    return ("the horn is not over" if facts["manual_begins"] else GONE,)


def dropped_by(logic: Logic, facts: Mapping[str, int]) -> tuple[str, ...]:
    """What drops in this scan whatever is held, in words."""
    names = (*(read.name for read in reads_of(logic.facts["jog_dropped"].tree)), "remote_in_control")
    return tuple(phrase(name) for name in names if facts[name])
