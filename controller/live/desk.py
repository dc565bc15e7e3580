"""
What people do to a running rig: commands, held outputs, forced inputs, failures of a simulated plant.

All of it acts in the next scan; what became of a command is known when that scan has been looked at.
"""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from controller.image import JOG, Inputs
from controller.live.live_io import SimulatedMachine
from controller.panel.forcing import Forcing
from controller.panel.rig import Reasons
from controller.simulate.station_watch import Answer, Given

FIRST = ("stop", "halt")
"""These pass all others that wait."""
WIRED = "the wired button"
BUTTONS = {"start": "start_pb", "reset": "reset_pb", "acknowledge": "acknowledge_pb"}
Tell = Callable[[str, str], None]
"""Writes down an event: its id, and what it is."""


class Desk:
    """The things on the desk of one rig. Each scan calls `over`, `given` and `answered`, in this order."""

    def __init__(self, machine: SimulatedMachine | None, tell: Tell) -> None:
        self.forcing = Forcing(real=machine is None)
        self._machine, self._tell = machine, tell
        self._waiting: list[tuple[Given, asyncio.Future[Reasons]]] = []
        self._asked: tuple[Given, asyncio.Future[Reasons]] | None = None
        self._closed = ""
        self.jog = ""
        """The output that was asked for since the last scan."""
        self._jogged = 0
        self._pressed: dict[str, bool] | None = None
        self._forced: dict[str, int] = {}
        self._ends: dict[str, int] = {}

    # ---- asked by people -------------------------------------------------------------------------------
    async def request(self, command: str, place: str) -> Reasons:
        """A command; returns after the scan that saw it. Empty: accepted; else why not."""
        if self._closed:
            return (self._closed,)
        future: asyncio.Future[Reasons] = asyncio.get_running_loop().create_future()
        waits = (Given(command, place), future)
        self._waiting.insert(0 if command in FIRST else len(self._waiting), waits)
        return await future

    def fail(self, mode: str, amount: float, for_ms: int | None, now_ms: int) -> Reasons:
        """Sets a failure mode of the simulated plant, 0 ends it. Empty: done; else why not."""
        if self._machine is None:
            return ("this rig runs on real I/O: failures are put into a simulated plant only",)
        try:
            self._machine.fail(mode, amount)
        except ValueError as no:
            return (str(no),)
        self._ends.pop(mode, None)
        if amount and for_ms is not None:
            self._ends[mode] = now_ms + for_ms
        self._tell("FAILURE_SET" if amount else "FAILURE_ENDED", _sized(mode, amount))
        return ()

    def close(self, why: str) -> None:
        """No scan comes any more: who waits is told why."""
        self._closed = why
        for _, future in (*self._waiting, *([self._asked] if self._asked else [])):
            if not future.done():
                future.set_result((why,))
        self._waiting, self._asked = [], None

    @property
    def failures(self) -> Mapping[str, float]:
        """Of the simulated plant, with their amounts."""
        return self._machine.failed if self._machine else {}

    # ---- once a scan -----------------------------------------------------------------------------------
    def over(self, inputs: Inputs, memory: Any, now_ms: int) -> Inputs:
        """The inputs with what people do: one command a scan, the held output, what is forced."""
        for mode in [mode for mode, end_ms in self._ends.items() if end_ms <= now_ms]:
            self.fail(mode, 0.0, None, now_ms)
        if self._waiting:
            self._asked = self._waiting.pop(0)
            inputs = inputs._replace(**{f"{self._asked[0].command}_request": True})
        if self.jog:
            inputs, self.jog = inputs._replace(jog=JOG.index(self.jog)), ""
        inputs = self.forcing.over(inputs, manual=memory.manual)
        if self.forcing.forced != self._forced:
            self._tell_forced()
        return inputs

    def given(self, inputs: Inputs, jogged: int) -> list[Given]:
        """The commands that this scan has seen, and the output that it takes as held from now on."""
        if jogged != self._jogged:
            if self._jogged:
                self._tell("OUTPUT_LET_GO", JOG[self._jogged])
            if jogged:
                self._tell("OUTPUT_HELD", f"{JOG[jogged]}, held by hand")
            self._jogged = jogged
        pressed = {command: bool(getattr(inputs, point)) for command, point in BUTTONS.items()}
        pressed["stop"] = not inputs.stop_healthy
        before, self._pressed = self._pressed or pressed, pressed
        seen = [Given(command, WIRED) for command, now in pressed.items() if now and not before[command]]
        return [*seen, *([self._asked[0]] if self._asked else [])]

    def answered(self, answers: Sequence[Answer]) -> None:
        """What became of the commands of a scan."""
        if self._asked is None:
            return
        given, future = self._asked
        mine = [answer for answer in answers if answer.given is given]
        if mine:
            self._asked = None
            if not future.done():
                future.set_result(mine[0].reasons)

    def _tell_forced(self) -> None:
        before, now = self._forced, dict(self.forcing.forced)
        for name in before.keys() - now.keys():
            self._tell("FORCE_ENDED", name)
        for name, value in now.items():
            if before.get(name) != value:
                self._tell("INPUT_FORCED", f"{name} reads {value}, FORCED")
        self._forced = now


def _sized(mode: str, amount: float) -> str:
    return f"{mode}, amount {amount:.2g}" if 0 < amount < 1 else mode
