"""
What people do to a running rig: commands, held outputs, forced inputs, failures of a simulated plant.

All of it acts in the next scan; what became of a command is known when that scan has been looked at.
"""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple, Protocol

from controller.image import JOG, Inputs
from controller.live.live_io import SimulatedMachine
from controller.panel.forcing import Forcing
from controller.panel.rig import Reasons
from controller.simulate.station_watch import Answer, Given

FIRST = ("stop", "halt")
"""These pass all others that wait."""
WIRED = "the wired button"
REMOTE = "remote"
"""The place of all that comes over a network: it has its own rights."""
BUTTONS = {"start": "start_pb", "reset": "reset_pb", "acknowledge": "acknowledge_pb"}


class Tell(Protocol):
    """Writes down an event: its id, what it is, and the facts behind it."""

    def __call__(self, name: str, what: str, grounds: Sequence[str] = ()) -> None: ...


Value = str | int | float | None
"""Of a parameter of a deed."""


class By(NamedTuple):
    """Who does something, and where."""

    place: str
    who: str = ""
    area_clear_by: str = ""  # the word of a person, where one was asked for


ITSELF = By("the rig itself")
NOT_BEGUN = "the controller has not done its first scan yet"
LATE = "its time was over before a scan took it"


class Asked(NamedTuple):
    """A command that waits for a scan, and who waits for its answer."""

    given: Given
    answer: "asyncio.Future[Reasons]"
    late: Callable[[], bool]
    id: str


class DeedDone(Protocol):
    """Takes down what somebody did: a line of the audit log."""

    def __call__(
        self, by: By, command: str, *, result: str = "done", reasons: Reasons = (), **parameters: Value
    ) -> None: ...


class Desk:
    """The things on the desk of one rig. Each scan calls `over`, `given` and `answered`, in this order."""

    def __init__(self, machine: SimulatedMachine | None, tell: Tell, deed: DeedDone) -> None:
        self.forcing = Forcing(real=machine is None)
        self.remote_control = False
        """The remote place has control, where no selector says so; after power-up it has not."""
        self._machine, self._tell, self._deed = machine, tell, deed
        self._held_by = self._forced_by = ITSELF
        self._force_asked = False  # and not let go again by who asked
        self._waiting: list[Asked] = []
        self._asked: Asked | None = None
        self._closed = ""
        self._jog = ""  # asked for since the last scan
        self._jogged = 0
        self._pressed: dict[str, bool] | None = None
        self._forced: dict[str, int] = {}
        self._ends: dict[str, int] = {}

    # ---- asked by people -------------------------------------------------------------------------------
    async def request(
        self, command: str, place: str, who: str = "", *, late: Callable[[], bool] = bool, id: str = ""
    ) -> Reasons:
        """
        A command; returns after the scan that saw it. Empty: accepted; else why not.

        No scan sees one whose answer nobody waits for any more, or that is `late` by then, but for a stop or
        halt. `id`: under which its sender knows it.
        """
        if self._closed:
            return (self._closed,)
        if place == REMOTE and self._pressed is None and command not in FIRST:
            return (NOT_BEGUN,)  # else it would act whenever the I/O is there
        future: asyncio.Future[Reasons] = asyncio.get_running_loop().create_future()
        waits = Asked(Given(command, place, who), future, late, id)
        self._waiting.insert(0 if command in FIRST else len(self._waiting), waits)
        try:
            return await future
        except asyncio.CancelledError:
            if command not in FIRST and waits in self._waiting:
                self._waiting.remove(waits)
            raise

    def turned_away(self, command: str, by: By, *why: str, **parameters: Value) -> None:
        """What no scan shall see is written down as refused."""
        self._tell("COMMAND_REFUSED", f"{command} from {by.place} ({by.who})", why)
        self._deed(by, command, result="refused", reasons=why, **parameters)

    def hand_control(self, *, to_remote: bool, by: By) -> None:
        """At the machine only: from the next scan on the remote place has control, or no longer."""
        if to_remote != self.remote_control:
            self.remote_control = to_remote
            self._tell("CONTROL_CHANGED", REMOTE if to_remote else "at the machine")
        self._deed(by, "control", place=REMOTE if to_remote else "local")

    def hold(self, output: str, by: By) -> None:
        """This output as held in manual mode, in the next scan and in that alone."""
        self._jog = output
        if output:
            self._held_by = by

    def force(self, forced: Mapping[str, int], by: By) -> None:
        """From the next scan on these inputs read so, and no others."""
        self.forcing.put(forced)
        self._force_asked = bool(forced)
        if forced:
            self._forced_by = by

    def fail(self, mode: str, amount: float, for_ms: int | None, now_ms: int, by: By) -> Reasons:
        """Sets a failure mode of the simulated plant, 0 ends it. Empty: done; else why not."""
        reasons = self._fail(mode, amount, for_ms, now_ms)
        result = "refused" if reasons else "done"
        self._deed(by, "fail", result=result, reasons=reasons, mode=mode, amount=amount, for_ms=for_ms)
        return reasons

    def _fail(self, mode: str, amount: float, for_ms: int | None, now_ms: int) -> Reasons:
        if self._machine is None:
            return ("I/O over a wire counts as real I/O: failures are put into a simulated plant only",)
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
        for asked in (*self._waiting, *([self._asked] if self._asked else [])):
            if not asked.answer.done():
                asked.answer.set_result((why,))
        self._waiting, self._asked = [], None

    @property
    def failures(self) -> Mapping[str, float]:
        """Of the simulated plant, with their amounts."""
        return self._machine.failed if self._machine else {}

    # ---- once a scan -----------------------------------------------------------------------------------
    def over(self, inputs: Inputs, memory: Any, now_ms: int) -> Inputs:
        """The inputs with what people do: one command a scan, the held output, what is forced."""
        for mode in [mode for mode, end_ms in self._ends.items() if end_ms <= now_ms]:
            self.fail(mode, 0.0, None, now_ms, ITSELF)
        if self.remote_control:
            inputs = inputs._replace(remote_control=True)
        if asked := self._next():
            self._asked = asked
            given = asked.given
            named: dict[str, bool] = {f"{given.command}_request": True}
            inputs = inputs._replace(request_remote=given.place == REMOTE, **named)
        if self._jog:
            inputs, self._jog = inputs._replace(jog=JOG.index(self._jog)), ""
        inputs = self.forcing.over(inputs, manual=memory.manual)
        if self.forcing.forced != self._forced:
            self._tell_forced()
        return inputs

    def _next(self) -> Asked | None:
        """The next command that is still in its time."""
        while self._waiting:
            asked = self._waiting.pop(0)
            if asked.given.command in FIRST or not asked.late():
                return asked
            if not asked.answer.done():
                asked.answer.set_result((LATE,))
            given = asked.given
            known = {"id": asked.id} if asked.id else {}
            self.turned_away(given.command, By(given.place, given.who), LATE, **known)
        return None

    def given(self, inputs: Inputs, jogged: int, fell: Reasons = ()) -> list[Given]:
        """The commands that this scan has seen; what it takes as held from now on, or why that fell."""
        if jogged != self._jogged:
            if self._jogged:
                why = () if jogged else fell
                self._tell("OUTPUT_LET_GO", JOG[self._jogged], why)
                by = ITSELF if why else self._held_by
                self._deed(by, "let go", reasons=why, output=JOG[self._jogged])
            if jogged:
                self._tell("OUTPUT_HELD", f"{JOG[jogged]}, held by hand")
                self._deed(self._held_by, "hold", output=JOG[jogged])
            self._jogged = jogged
        pressed = {command: bool(getattr(inputs, point)) for command, point in BUTTONS.items()}
        pressed["stop"] = not inputs.stop_healthy
        before, self._pressed = self._pressed or pressed, pressed
        seen = [Given(command, WIRED) for command, now in pressed.items() if now and not before[command]]
        return [*seen, *([self._asked.given] if self._asked else [])]

    def answered(self, answers: Sequence[Answer]) -> None:
        """What became of the commands of a scan."""
        for answer in answers:
            given, result = answer.given, "accepted" if answer.accepted else "refused"
            asked = self._asked if self._asked and self._asked.given is given else None
            known = {"id": asked.id} if asked and asked.id else {}
            self._deed(
                By(given.place, given.who), given.command, result=result, reasons=answer.reasons, **known
            )
            if asked:
                self._asked = None
                if not asked.answer.done():
                    asked.answer.set_result(answer.reasons)

    def _tell_forced(self) -> None:
        before, now = self._forced, dict(self.forcing.forced)
        for name in before.keys() - now.keys():
            self._tell("FORCE_ENDED", name)
            self._deed(ITSELF if self._force_asked else self._forced_by, "release", point=name)
        for name, value in now.items():
            if before.get(name) != value:
                self._tell("INPUT_FORCED", f"{name} reads {value}, FORCED")
                self._deed(self._forced_by, "force", point=name, value=value)
        self._forced = now


def _sized(mode: str, amount: float) -> str:
    return f"{mode}, amount {amount:.2g}" if 0 < amount < 1 else mode
