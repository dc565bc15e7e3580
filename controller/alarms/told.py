"""Moves of alarms, read back from the lines that the journal has of them."""

from controller.alarms.move import Move
from controller.alarms.states import Edge, State

_STATES = {str(state): state for state in State}
_EDGES = {str(edge): edge for edge in Edge}


def move_told(at_ms: int, name: str, what: str, detail: str) -> Move | None:
    """
    The move that a line tells, without who did it and why; None where it tells something else.

    >>> move_told(5, "AIR", "normal -> unacknowledged", "raised; follows LINE")
    Move(at_ms=5, id='AIR', was=<State.NORMAL: 'normal'>, now=<State.UNACKNOWLEDGED: 'unacknowledged'>, \
edge=<Edge.RAISED: 'raised'>, root='LINE', by='', why='')
    >>> move_told(5, "STEP_CHANGED", "SEAL -> DRAW", "sealed")
    """
    was, _, now = what.partition(" -> ")
    edge, *rest = detail.split("; ")
    if was not in _STATES or now not in _STATES or edge not in _EDGES:
        return None
    root = rest[-1].removeprefix("follows ") if rest and rest[-1].startswith("follows ") else ""
    return Move(at_ms, name, _STATES[was], _STATES[now], _EDGES[edge], root)
