"""What an answer and a status say to a person."""

from collections.abc import Iterator

from controller.panel.messages import Answer
from controller.panel.rig import Status
from controller.records import stands


def outcome(what: str, answer: Answer) -> str:
    """
    An answer in one line.

    >>> outcome("start", Answer(answer="refused", reasons=("a fault stands: reset first", "too early")))
    'start: refused: a fault stands: reset first; too early'
    """
    return ": ".join(part for part in (what, answer.answer, "; ".join(answer.reasons)) if part)


def where(status: Status) -> str:
    """Station, I/O, state, step, and what a hold or a fault is about, in one line."""
    if status.kind == "plant":
        return f"{status.station}: a simulated plant runs on this machine ({status.io})"
    mode = ", manual mode" if status.manual else ""
    mode += ", the remote place has control" if status.remote_in_control else ""
    step = stands(status.state, status.step) + (f" ({status.told})" if status.told else "")
    return f"{status.station}: {step}{mode}; {f'I/O over {status.io}' if status.real else 'simulated I/O'}"


def marks(status: Status) -> Iterator[str]:
    """What is not as the machine by itself would have it: one line each."""
    for mode, amount in status.failures.items():
        yield f"SIMULATED FAILURE: {mode}" + (f", amount {amount:.2g}" if amount < 1 else "")
    for point, value in status.forced.items():
        yield f"FORCED INPUT: {point} reads {value}"
    if status.held:
        held = "on" if status.held_on else "off" + (": " if status.held_back else "")
        yield f"HELD BY HAND: {status.held} is {held}{'; '.join(status.held_back)}"
