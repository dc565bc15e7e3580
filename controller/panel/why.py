"""Why a rig stands where it does: what goes over the panel socket, and what a person reads of it."""

from collections.abc import Iterator

from controller.station_file import StrictModel

Reasons = tuple[str, ...]
"""Why not, in words for a person; empty: accepted."""


class TripNow(StrictModel):
    """The trip of the fault that stands, with the words of the dictionary at this station."""

    id: str  # the first-out
    at_ms: int  # since power-up
    step: str
    facts: Reasons
    with_it: Reasons
    text: str
    cause: str
    to_do: str


class Why(StrictModel):
    """In the next scan, if no input changes."""

    step: str
    told: str  # in a hold its reason, in a fault its first-out
    at_ms: int
    in_step_ms: int
    trip: TripNow | None = None
    acting: tuple[tuple[str, Reasons], ...]  # interlocks, each with its facts
    waits: tuple[tuple[str, str, Reasons], ...]  # to which step, for what, what holds it back
    refused: dict[str, Reasons]  # start, and in a fault reset, given here now: why not; empty: accepted


def said(why: Why) -> Iterator[str]:
    """
    The trip that stands, and what bars the way on.

    >>> why = Why(step="REST", told="", at_ms=9, in_step_ms=9, acting=(), waits=(), refused={"start": ()})
    >>> list(said(why))
    ['start here, now: would be accepted']
    """
    if trip := why.trip:
        yield f"TRIP {trip.id} at {trip.at_ms / 1_000:.2f} s in {trip.step}: {trip.text}"
        yield f"  facts: {'; '.join(trip.facts) or 'none known'}"
        yield f"  cause: {trip.cause}"
        yield f"  to do: {trip.to_do}"
        if trip.with_it:
            yield f"  with it: {', '.join(trip.with_it)}"
    for command, reasons in why.refused.items():
        answer = f"refused: {'; '.join(reasons)}" if reasons else "accepted"
        yield f"{command} here, now: would be {answer}"
