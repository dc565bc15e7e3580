"""
The nine states of an alarm and the moves between them, as IEC 62682 (ISA-18.2) has them; from memory.

Two rules go further than the standard, so that nothing latched is ever lost: an alarm that is latched goes
neither on the shelf nor out of service, and acknowledging never resets.
"""

from enum import StrEnum


class State(StrEnum):
    """A to I of the standard."""

    NORMAL = "normal"  # A
    UNACKNOWLEDGED = "unacknowledged"  # B
    ACKNOWLEDGED = "acknowledged"  # C
    RETURNED = "returned, unacknowledged"  # D
    LATCHED_UNACKNOWLEDGED = "latched, unacknowledged"  # E
    LATCHED = "latched, acknowledged"  # F
    SHELVED = "shelved"  # G
    SUPPRESSED = "suppressed by design"  # H
    OUT_OF_SERVICE = "out of service"  # I


A, B, C, D, E, F, G, H, I = State  # noqa: E741, the letters of the standard


class Edge(StrEnum):
    """What can happen to an alarm."""

    RAISED = "raised"  # the condition came, its on-delay over
    CLEARED = "cleared"  # the condition went, its off-delay over
    AGAIN = "calls again"  # acknowledged, and its re-alarm time over, or it trips now
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"  # by the operator, or the time limit is over
    SUPPRESS = "suppress"  # its rule begins to hold
    RELEASE = "release"  # its rule ends to hold
    TAKE_OUT = "take out of service"
    PUT_BACK = "put back into service"


OPEN = (A, B, C, D)
"""Where nothing covers it and nothing latches it."""
COVERED = (G, H, I)
"""Where it does not call."""
CALLS = B
"""To move into this state is to call the operator."""

_FIXED = {
    (A, Edge.RAISED): B, (D, Edge.RAISED): B, (E, Edge.RAISED): B, (F, Edge.RAISED): B, (C, Edge.AGAIN): B,
    (B, Edge.ACKNOWLEDGE): C, (D, Edge.ACKNOWLEDGE): A, (E, Edge.ACKNOWLEDGE): F,
    (F, Edge.RESET): A,
    **{(state, Edge.SHELVE): G for state in OPEN}, (H, Edge.SHELVE): G,
    **{(state, Edge.SUPPRESS): H for state in OPEN},
    **{(state, Edge.TAKE_OUT): I for state in (*OPEN, G, H)},
}  # fmt: skip
_CLEARED = {B: (D, E), C: (A, F)}
_UNCOVERED = {(G, Edge.UNSHELVE), (H, Edge.RELEASE), (I, Edge.PUT_BACK)}


def after(state: State, edge: Edge, *, latches: bool, stands: bool, quiet: bool) -> State:
    """
    The state after an edge; the same state where that edge means nothing.

    Args:
        state: Before.
        edge: What happened.
        latches: It stays until a reset when its condition goes.
        stands: Its condition is there now; asked where a cover is taken away.
        quiet: A rule of design suppresses it now; asked there too.
    """
    if edge is Edge.CLEARED and state in _CLEARED:
        return _CLEARED[state][latches]
    if (state, edge) in _UNCOVERED:
        if quiet and edge is not Edge.RELEASE:
            return H
        return B if stands else A
    return _FIXED.get((state, edge), state)
