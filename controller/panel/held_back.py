"""Why an output that somebody holds in manual mode is off: the last word, or what dropped it."""

from collections.abc import Mapping

from controller.image import JOG
from controller.sequence.logic import Logic
from controller.sequence.phrases import phrase

DROPPED_BY = (
    "stop", "halt", "safety_chain_open", "supply_lost", "inputs_old", "overload", "remote_in_control",
)  # fmt: skip
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
    dropped = tuple(phrase(name) for name in DROPPED_BY if facts[name])
    if dropped or not facts["jog_barred"]:
        return dropped
    return ("the horn is not over" if facts["manual_begins"] else GONE,)
