"""A running rig as the panel socket sees it."""

from collections.abc import Mapping, Sequence

from controller.events import EVENTS, text_at
from controller.image import JOG
from controller.live.desk import REMOTE, By
from controller.live.rig import Rig
from controller.panel.held_back import held_back
from controller.panel.point_readings import readings
from controller.panel.rig import CONTROL, PointNow, Reasons, Status
from controller.panel.why import TripNow, Why
from controller.sequence.phrases import phrase
from controller.sequence.steps import STATES, Step
from controller.settings import Station
from controller.sheets.fitted import fitted
from controller.simulate.station_watch import Trip

PLACE = "the panel socket"
SELECTOR = "the selector local/remote at the machine says who has control"
WHY_MS = 100
"""Why it stands so is worked out no oftener: it takes a fifth of a scan."""


class PanelRig:
    """`panel.rig.Rig` over a rig."""

    def __init__(self, rig: Rig, station: Station) -> None:
        self._rig, self._station, self._parts = rig, station, fitted(station)
        self._asked = ""  # the output that somebody asks to hold, also while it is not given
        self._why: Why | None = None

    def points(self) -> Sequence[PointNow]:
        """As promised."""
        rig = self._rig
        wire = rig.desk.forcing.wire
        return readings(self._station.points, rig.inputs, rig.outputs, wire, rig.presets.io_lost_ms)

    def why(self) -> Why:
        """As promised."""
        if self._why is None or self._rig.now_ms - self._why.at_ms >= WHY_MS:
            self._why = self._why_now()
        return self._why

    def _why_now(self) -> Why:
        rig, memory = self._rig, self._rig.memory
        scene, fault = rig.next_scene(), memory.step == Step.FAULT
        acting = (name for name in rig.logic.interlock_names if scene.facts[f"{name.lower()}_acts"])
        return Why(
            step=Step(memory.step).name, told=rig.watch.told(memory.hold_reason, memory.first_out),
            at_ms=rig.now_ms, in_step_ms=memory.step_ms,
            trip=next((self._tripped(trip) for trip in rig.watch.trips[-1:] if fault and trip.id), None),
            acting=tuple((name, scene.grounds_of_interlock(name)) for name in acting),
            waits=tuple((w.to, phrase(w.guard), w.holds_back) for w in scene.waiting()),
            refused={
                command: rig.next_scene(**{f"{command}_request": True}).refusals(command)
                for command in (("reset", "start") if fault else ("start",))
            },
        )  # fmt: skip

    def _tripped(self, trip: Trip) -> TripNow:
        row = EVENTS[trip.id].at(self._parts)
        return TripNow(
            id=trip.id, at_ms=trip.at_ms, step=trip.step, facts=trip.grounds, with_it=trip.followers,
            text=row.text, cause=text_at(row.cause), to_do=text_at(row.action),
        )  # fmt: skip

    async def request(self, command: str, who: str = "", to_hold: str = "") -> Reasons:
        """As promised."""
        self._rig.hold_waits |= bool(to_hold)
        if command not in CONTROL:
            place = f"{PLACE}, for the horn before it holds {to_hold}" if to_hold else PLACE
            return await self._rig.desk.request(command, place, who)
        if self._rig.presets.selector_fitted:
            self.refused(command, (SELECTOR,), who)
            return (SELECTOR,)
        self._rig.desk.hand_control(to_remote=command == REMOTE, by=By(PLACE, who))
        return ()

    def refused(self, command: str, reasons: Reasons, who: str = "", **asked: str | int) -> None:
        """As promised."""
        self._rig.desk.turned_away(command, By(PLACE, who), *reasons, **asked)

    def jog(self, output: str, who: str = "", area_clear_by: str = "") -> None:
        """As promised."""
        self._asked, self._rig.hold_waits = output, False
        if not output:
            self._rig.fell = ()
        self._rig.desk.hold(output, By(PLACE, who, area_clear_by))

    def force(self, forced: Mapping[str, int], who: str = "", area_clear_by: str = "") -> None:
        """As promised."""
        self._rig.desk.force(forced, By(PLACE, who, area_clear_by))

    def fail(self, mode: str, amount: float, for_ms: int | None, who: str = "") -> Reasons:
        """As promised."""
        return self._rig.desk.fail(mode, amount, for_ms, self._rig.now_ms, By(PLACE, who))

    def status(self) -> Status:
        """As promised."""
        rig, memory = self._rig, self._rig.memory
        held = (JOG[memory.jogged] or self._asked) if memory.manual else ""
        dropped = memory.manual and bool(self._asked) and JOG[memory.jogged] != self._asked
        dropped |= rig.hold_waits and bool(rig.fell)
        facts = rig.laid_open() if held else {}
        return Status(
            station=self._station.receiver.name, io=rig.io.said, real=rig.io.real, at_ms=rig.now_ms,
            state=next(state for state, steps in STATES.items() if memory.step in steps),
            step=Step(memory.step).name, told=rig.watch.told(memory.hold_reason, memory.first_out),
            remote_in_control=rig.remote_in_control,
            manual=memory.manual, manual_ms=memory.manual_ms, jog_age_ms=memory.jog_age_ms,
            warning_ms=rig.presets.warning_ms, jog_renew_ms=rig.presets.jog_renew_ms,
            held=held, held_on=bool(held and getattr(rig.outputs, held)),
            held_back=(dropped and rig.fell) or (held_back(rig.logic, facts, held) if held else ()),
            dropped=dropped,
            fault_horn=memory.step == Step.FAULT and not memory.horn_silenced,
            forced=dict(rig.desk.forcing.forced), failures=dict(rig.desk.failures),
        )  # fmt: skip
