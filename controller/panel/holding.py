"""
What is held from the panel socket: an output in manual mode, or a forced input. One at a time, by one.

An output is held as the sequence's manual mode has it: heard for one scan, renewed, let go when the renewal
stays away, and the last word stays on it. Nothing is energised before the horn has sounded for its time.
"""

from controller.image import JOG
from controller.panel.forcing import NEVER_ON_REAL_IO
from controller.panel.messages import Answer, ForceAsked, HoldAsked
from controller.panel.rig import PointNow, Reasons, Rig, Status
from controller.problems import did_you_mean

WARNED_FOR_MS = 60_000
"""The horn is good for so long after the last held output: people may have come back (common practice)."""

RENEW_MS = 200
NO_MANUAL = "manual mode is off: ask for manual first"


class Holding:
    """The one thing that is held or forced; `by` is any object that stands for who does."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._by: object | None = None
        self._name = ""  # of the output or input
        self._who = ""  # the person's word that the area is clear, where it was asked for
        self._is_output = False
        self._begun = False  # the sequence has been asked to energise it, or the input reads so

    def holds(self, by: object) -> bool:
        """Whether `by` holds or forces something."""
        return self._by is by

    async def hold(self, by: object, asked: HoldAsked) -> Answer:
        """Takes an output, or renews it. `horn_ms` over 0: not yet energised."""
        status = self._rig.status()
        if reasons := self._cannot_hold(by, asked.output, status):
            self.release(by)
            return Answer(answer="refused", reasons=reasons)
        if not self.holds(by):
            self._take(by, asked.output, asked.area_clear_by or "", is_output=True)
            if reasons := await self._warn(status, afresh=asked.area_clear_by is not None):
                self.release(by)
                return Answer(answer="refused", reasons=reasons)
            status = self._rig.status()
        horn_ms = max(0, status.warning_ms - status.manual_ms)
        if not horn_ms:
            self._rig.jog(asked.output, self._who)
            self._begun = True
        renew_ms = max(1, round(min(RENEW_MS, status.jog_renew_ms * 2 / 5) / status.rate))
        return Answer(answer="accepted", horn_ms=horn_ms, renew_ms=renew_ms)

    def force(self, by: object, asked: ForceAsked) -> Answer:
        """Lets an input read so, or renews it."""
        status = self._rig.status()
        if reasons := self._cannot_force(by, asked, status):
            self.release(by)
            return Answer(answer="refused", reasons=reasons)
        self._take(by, asked.point, asked.area_clear_by, is_output=False)
        self._begun = True
        self._rig.force({asked.point: asked.value}, self._who)
        return Answer(answer="accepted", renew_ms=RENEW_MS)

    def release(self, by: object) -> None:
        """What `by` holds or forces is let go; nothing to do if there is nothing."""
        if not self.holds(by):
            return
        if self._is_output:
            self._rig.jog("")
        else:
            self._rig.force({})
        self._by, self._name, self._begun = None, "", False

    def _take(self, by: object, name: str, who: str, *, is_output: bool) -> None:
        self._by, self._name, self._who, self._is_output = by, name, who, is_output

    async def _warn(self, status: Status, *, afresh: bool) -> Reasons:
        """The horn: the one at the beginning of manual mode, or a new one by leaving and entering it."""
        forgotten = status.manual_ms >= status.warning_ms and status.jog_age_ms > WARNED_FOR_MS
        if status.warning_ms == 0 or not (afresh or forgotten):
            return ()
        return await self._rig.request("automatic") or await self._rig.request("manual")

    def _cannot_hold(self, by: object, output: str, status: Status) -> Reasons:
        wired = [p.name for p in self._rig.points() if p.kind == "output" and p.name in JOG]
        if output not in wired:
            near = did_you_mean(output, wired)
            return (f"no output {output!r} that can be held here{near}; there are: {', '.join(wired)}",)
        if not status.manual:
            return (NO_MANUAL,)
        if reasons := self._taken(by, output):
            return reasons
        if self._begun and status.jog_age_ms >= status.jog_renew_ms:
            return (f"{output} fell: it was not renewed within {status.jog_renew_ms} ms; hold it again",)
        return ()

    def _cannot_force(self, by: object, asked: ForceAsked, status: Status) -> Reasons:
        inputs = {p.name: p for p in self._rig.points() if p.kind != "output"}
        point = inputs.get(asked.point)
        if point is None:
            near = did_you_mean(asked.point, inputs)
            return (f"no input {asked.point!r} is wired here{near}; there are: {', '.join(inputs)}",)
        if not _fits(point, asked.value):
            return (f"{asked.point} is a contact: {asked.value} must be 0 or 1",)
        if status.real and asked.point in NEVER_ON_REAL_IO:
            return (f"{asked.point} is never forced on real I/O",)
        if status.real and not status.manual:
            return (NO_MANUAL,)
        if reasons := self._taken(by, asked.point):
            return reasons
        if self._begun and asked.point not in status.forced:
            return (f"the force of {asked.point} ended with manual mode",)
        return ()

    def _taken(self, by: object, name: str) -> Reasons:
        if self._by is None or (self.holds(by) and self._name == name):
            return ()
        who = "here" if self.holds(by) else "from another place"
        how = "held" if self._is_output else "forced"
        return (f"one at a time: {self._name} is {how} {who}",)


def _fits(point: PointNow, value: int) -> bool:
    return point.kind != "contact" or value in (0, 1)
