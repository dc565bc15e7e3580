"""
The operator of a simulated run: presses start, and, if told to, resets a trip and starts again.

Nothing else: the receiver runs by itself, and a fault stays until somebody who has looked resets it.
"""

from controller.sequence.steps import FAULT, REST
from controller.simulate.station_loop import StationLoop

START_AT_MS = 1_000
HELD_MS = 300
LOOK_MS = 2_000
"""Between a reset and the look at what it did."""


class Operator:
    """Presses buttons of the loop at their scans."""

    def __init__(self, reset_after_ms: int | None) -> None:
        self._reset_after_ms = reset_after_ms
        self._plan: list[tuple[int, str]] = [(START_AT_MS, "press start_pb")]

    @property
    def next_ms(self) -> int | None:
        """When the next thing is to be done."""
        return min((at for at, _ in self._plan), default=None)

    def tripped(self, now_ms: int) -> None:
        """Learns of a trip."""
        if self._reset_after_ms is not None:
            self._plan.append((now_ms + self._reset_after_ms, "press reset_pb"))

    def act(self, loop: StationLoop) -> str:
        """Does what is due now; says which command was given: start, reset or nothing."""
        command = ""
        while due := sorted(entry for entry in self._plan if entry[0] <= loop.now_ms):
            self._plan.remove(due[0])
            verb, _, point = due[0][1].partition(" ")
            if verb == "look":
                self._look(loop)
                continue
            loop.press(point, int(verb == "press"))
            if verb == "press":
                command = point.removesuffix("_pb")
                self._plan.append((loop.now_ms + HELD_MS, f"release {point}"))
                if command == "reset":
                    self._plan.append((loop.now_ms + LOOK_MS, "look"))
        return command

    def _look(self, loop: StationLoop) -> None:
        """After a reset: start if it was accepted, else try again later."""
        if loop.remembers("step") == REST:
            self._plan.append((loop.now_ms, "press start_pb"))
        elif loop.remembers("step") == FAULT:
            self.tripped(loop.now_ms)
