"""
What is held from the panel socket: an output in manual mode, or a forced input. One at a time, by one.

An output is held as the sequence's manual mode has it: heard for one scan, renewed, let go when the renewal
stays away, and the last word stays on it. Nothing is energised before the horn has sounded its whole time,
begun after this very output was asked for. What fell has ended: whoever wants it again asks again.
"""

import asyncio

from controller.image import JOG
from controller.panel.caller import Caller
from controller.panel.forcing import NEVER_ON_REAL_IO
from controller.panel.held_back import ENDED, GONE
from controller.panel.messages import Answer, ForceAsked, HoldAsked
from controller.panel.rig import PointNow, Reasons, Rig, Status
from controller.problems import did_you_mean

RENEW_MS = 200
HORN_GOOD_MS = 10_000
"""What the last word holds back for longer must not move any more: nobody thinks of that horn (no source)."""
NO_MANUAL = "manual mode is off: ask for manual first"
REMOTE_CONTROL = "the remote place has control: it is handed back at the machine (selector, or local)"
AREA_NOT_CLEAR = "on I/O that may be real somebody must give the area as clear, by name"
FAULT_HORN = "acknowledge the fault first: nobody can tell its horn from the one before a movement"


class Holding:
    """The one thing that is held or forced."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._by: Caller | None = None
        self._name = ""  # of the output or input
        self._who = self._area_clear_by = ""
        self._is_output = False
        self._in_fault = False  # it was asked for in a fault
        self._begun_ms: int | None = None  # when the sequence was first asked for it
        self._on_ms = 0  # when it was last seen energised, or begun

    def holds(self, by: Caller) -> bool:
        """Whether `by` holds or forces something."""
        return self._by is by

    async def hold(self, by: Caller, asked: HoldAsked) -> Answer:
        """Takes an output, or renews it. `horn_ms` over 0: not yet energised."""
        status = self._rig.status()
        reasons: Reasons = ()
        if not self.holds(by):
            if reasons := self._cannot_hold(by, asked, status):
                return Answer(answer="refused", reasons=reasons)
            self._take(by, asked, asked.output, status)
            try:
                reasons = await self._warn()
            except BaseException:
                self.release(by)  # the next try begins with the horn again
                raise
            status = self._rig.status()
        if reasons := reasons or self._taken(by, asked.output) or self._fell(status):
            self.release(by)
            return Answer(answer="refused", reasons=reasons)
        waits_ms = max(status.warning_ms, status.jog_renew_ms)  # the sequence wants all let go for that time
        horn_ms = max(0, waits_ms - status.manual_ms)
        if not horn_ms:
            self._begin(status)
            self._rig.jog(asked.output, self._who, self._area_clear_by)
        renew_ms = max(1, round(min(RENEW_MS, status.jog_renew_ms * 2 / 5) / status.rate))
        return Answer(answer="accepted", horn_ms=horn_ms, renew_ms=renew_ms)

    def force(self, by: Caller, asked: ForceAsked) -> Answer:
        """Lets an input read so, or renews it."""
        status = self._rig.status()
        if reasons := self._cannot_force(by, asked, status):
            self.release(by)
            return Answer(answer="refused", reasons=reasons)
        if not self.holds(by):
            self._take(by, asked, asked.point, status)
        self._begin(status)
        self._rig.force({asked.point: asked.value}, self._who, self._area_clear_by)
        return Answer(answer="accepted", renew_ms=RENEW_MS)

    def release(self, by: Caller) -> None:
        """What `by` holds or forces is let go; nothing to do if there is nothing."""
        if not self.holds(by):
            return
        if self._is_output:
            self._rig.jog("")
        else:
            self._rig.force({})
        self._by, self._name, self._begun_ms = None, "", None

    def _take(self, by: Caller, asked: HoldAsked | ForceAsked, name: str, status: Status) -> None:
        self._by, self._name, self._is_output = by, name, isinstance(asked, HoldAsked)
        self._who, self._area_clear_by = by.who(asked.on_behalf_of), asked.area_clear_by or ""
        self._in_fault = status.state == "FAULT"

    def _begin(self, status: Status) -> None:
        if self._begun_ms is None:
            self._begun_ms = self._on_ms = status.at_ms

    async def _warn(self) -> Reasons:
        """The horn, from its beginning: the sequence sounds it where manual mode is entered."""
        asked = (self._rig.request(command, self._who, self._name) for command in ("automatic", "manual"))
        left, entered = await asyncio.gather(*asked)  # queued at once: no start comes between
        return left or entered

    def _fell(self, status: Status) -> Reasons:
        """Why the sequence no longer takes the output as held."""
        if not status.manual:
            return (f"{self._name} fell: {ENDED}",)
        if status.state == "FAULT" and not self._in_fault:
            return (f"{self._name} fell: a fault came: {status.told}",)
        dropped = (f"{self._name} fell: {'; '.join(status.held_back) or GONE}",) if status.dropped else ()
        if self._begun_ms is None:
            return dropped
        if status.at_ms <= self._begun_ms:
            return ()
        if status.jog_age_ms >= status.jog_renew_ms:
            said = f"it was not renewed within {status.jog_renew_ms} ms; hold it again"
            return (f"{self._name} fell: {said}",)
        if dropped:
            return dropped
        if status.held_on:
            self._on_ms = status.at_ms
        elif status.at_ms - self._on_ms > HORN_GOOD_MS:
            said = f"held back for over {HORN_GOOD_MS / 1_000:g} s after its horn"
            return (f"{self._name} fell: {said}: {'; '.join(status.held_back)}",)
        return ()

    def _cannot_hold(self, by: Caller, asked: HoldAsked, status: Status) -> Reasons:
        output = asked.output
        wired = [p.name for p in self._rig.points() if p.kind == "output" and p.name in JOG]
        if output not in wired:
            near = did_you_mean(output, wired)
            return (f"no output {output!r} that can be held here{near}; there are: {', '.join(wired)}",)
        if reasons := self._taken(by, output):
            return reasons
        if not status.manual:
            return (NO_MANUAL,)
        if status.real and not asked.area_clear_by:
            return (AREA_NOT_CLEAR,)
        return (FAULT_HORN,) if status.fault_horn else ()

    def _cannot_force(self, by: Caller, asked: ForceAsked, status: Status) -> Reasons:
        inputs = {p.name: p for p in self._rig.points() if p.kind != "output"}
        point = inputs.get(asked.point)
        if point is None:
            near = did_you_mean(asked.point, inputs)
            return (f"no input {asked.point!r} is wired here{near}; there are: {', '.join(inputs)}",)
        if not _fits(point, asked.value):
            return (f"{asked.point} is a contact: {asked.value} must be 0 or 1",)
        if status.remote_in_control and asked.point != "remote_selected":  # which may be what says so
            return (REMOTE_CONTROL,)
        if status.real and asked.point in NEVER_ON_REAL_IO:
            return (f"{asked.point} is never forced on real I/O",)
        if status.real and not status.manual:
            return (NO_MANUAL,)
        if reasons := self._taken(by, asked.point):
            return reasons
        if self._begun_ms is not None and asked.point not in status.forced:
            return (f"the force of {asked.point} ended with manual mode",)
        return ()

    def _taken(self, by: Caller, name: str) -> Reasons:
        if self._by is None or (self.holds(by) and self._name == name):
            return ()
        who = "here" if self.holds(by) else "from another place"
        how = "held" if self._is_output else "forced"
        return (f"one at a time: {self._name} is {how} {who}",)


def _fits(point: PointNow, value: int) -> bool:
    return point.kind != "contact" or value in (0, 1)
