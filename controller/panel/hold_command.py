"""An output held from the command line: renewed until interrupted, with what changes said."""

from collections.abc import Callable

from controller.panel.client import PATIENCE_S, Client
from controller.panel.messages import Answer, HoldAsked
from controller.panel.rig import Status

RENEWED_WITHIN_S = 1.0
"""A rig that does not answer a renewal for so long has let it go, or hangs; either way the hold is over."""


def held(
    client: Client,
    asked: HoldAsked,
    tell: Callable[[str], object],
    wait: Callable[[float], object],
) -> Answer:
    """
    Holds an output until `wait` raises; returns only an answer that is not "accepted".

    Args:
        client: To the rig.
        asked: What is held.
        tell: Takes a line whenever what is to be told changes.
        wait: Takes seconds until the next renewal.

    Raises:
        PanelError: The connection broke, or the rig no longer answers.
    """
    told, within_s = "", PATIENCE_S
    while True:
        answer = client.ask(asked, within_s)
        if answer.answer != "accepted" or answer.status is None:
            return answer
        if (now := said(asked.output, answer, answer.status)) != told:
            tell(now)
            told = now
        within_s = RENEWED_WITHIN_S
        wait(answer.renew_ms / 1_000)


def said(output: str, answer: Answer, status: Status) -> str:
    """Where a held output stands, in one line."""
    if answer.horn_ms:
        return f"{output}: the horn sounds first; keep clear"
    if status.held == output and status.held_back:
        return f"{output}: held, but off: {'; '.join(status.held_back)}"
    if status.held == output and status.held_on:
        return f"{output}: on, while you hold it; Ctrl-C lets go"
    return f"{output}: asked for"
