"""All claims of the receiver, proved one after the other, for a person who watches."""

from collections.abc import Callable
from dataclasses import replace

from controller.clock import WallClock
from controller.engines.claims import CLAIMS, Watched
from controller.engines.proof import proving
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER


def prove_all(station: str, say: Callable[[str], None]) -> bool:
    """Says the verdict on each claim as it comes; whether all are proved. Needs the extra `prove`."""
    logic = Logic(replace(RECEIVER, facts=Watched))
    clock, good = WallClock(), 0
    before_ms = clock.now_ms()
    for verdict in proving(logic, CLAIMS):
        now_ms = clock.now_ms()
        say(f"{now_ms - before_ms:6} ms  {verdict}")
        before_ms = now_ms
        good += verdict.proved and verdict.possible
    say(
        f"{station}: {good} of {len(CLAIMS)} promises of the sequence proved in {before_ms / 1_000:.1f} s, "
        "for all inputs, histories and presets within their limits. Proved is the logic, not the machine."
    )
    return good == len(CLAIMS)
