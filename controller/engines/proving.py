"""All claims of the receiver, proved one after the other, for a person who watches or as a document."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from controller.clock import WallClock
from controller.engines.claims import CLAIMS, Watched
from controller.engines.proof import Verdict, proving
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER

FORMAT = 1


def verdicts() -> Iterator[tuple[int, Verdict]]:
    """The verdict on each claim as it comes, and how long it took [ms]. Needs the extra `prove`."""
    clock = WallClock()
    before_ms = clock.now_ms()
    for verdict in proving(Logic(replace(RECEIVER, facts=Watched)), CLAIMS):
        now_ms = clock.now_ms()
        yield now_ms - before_ms, verdict
        before_ms = now_ms


def prove_all(station: str, say: Callable[[str], None]) -> bool:
    """Says the verdict on each claim as it comes; whether all are proved. Needs the extra `prove`."""
    clock, good = WallClock(), 0
    for took_ms, verdict in verdicts():
        say(f"{took_ms:6} ms  {verdict}")
        good += verdict.proved and verdict.possible
    say(
        f"{station}: {good} of {len(CLAIMS)} promises of the sequence proved in "
        f"{clock.now_ms() / 1_000:.1f} s, for all inputs, histories and presets within their limits. "
        "Proved is the logic, not the machine."
    )
    return good == len(CLAIMS)


def proofs(station: str, software: str, logic: str) -> dict[str, Any]:
    """All verdicts as a document; `logic` is the hash of what they are about. Needs the extra `prove`."""
    clock = WallClock()
    made = clock.date().strftime("%Y-%m-%dT%H:%M:%SZ")
    claims = [
        {"name": v.claim.name, "proved": v.proved, "possible": v.possible, "took_ms": ms}
        for ms, v in verdicts()
    ]
    return {
        "receiver_proofs": FORMAT, "station": station, "software": software, "logic": logic, "made_utc": made,
        "claims": claims,
    }  # fmt: skip
