"""An output held from the command line: renewed until interrupted, with what changes said."""

from collections.abc import Callable

from controller.panel.client import Client
from controller.panel.messages import Answer, HoldAsked
from controller.panel.rig import Status


def held(
    client: Client,
    output: str,
    tell: Callable[[str], object],
    wait: Callable[[float], object],
    area_clear_by: str | None = None,
) -> Answer:
    """
    Holds `output` until `wait` raises; returns only an answer that is not "accepted".

    Args:
        client: To the rig.
        output: One of `JOG`.
        tell: Takes a line whenever what is to be told changes.
        wait: Takes seconds until the next renewal.
        area_clear_by: Who says that the area is clear: then the horn sounds anew.
    """
    asked = HoldAsked(ask="hold", output=output, area_clear_by=area_clear_by)
    told = ""
    while True:
        answer = client.ask(asked)
        if answer.answer != "accepted" or answer.status is None:
            return answer
        if (now := said(output, answer, answer.status)) != told:
            tell(now)
            told = now
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
