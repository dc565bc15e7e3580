"""What a rig tells of this moment: where it stands, its wired points, its figures. Only what has changed."""

from collections import Counter
from collections.abc import Callable
from operator import itemgetter
from typing import Any

from controller.image import JOG, Inputs
from controller.live.rig import Rig
from controller.records import CycleRecord
from controller.sequence.steps import FAULT, LEVEL_HOLD, STATES, Step

POINTS_MS, STATE_MS = 100, 1_000
"""Of the room. Contacts and outputs are told as they change, and so is the state where something was told."""

_ORDERS = ("none", "run", "clean", "empty")
_STATE_OF = {step: state for state, steps in STATES.items() for step in steps}
_contacts = itemgetter(
    *(place for place, value in enumerate(Inputs._field_defaults.values()) if isinstance(value, bool))
)


class ToldNow:
    """Call `scanned` after each scan; `tell` takes kind and values of a line of the channel."""

    def __init__(self, rig: Rig, tell: Callable[..., None], scan_ms: int, rate: float) -> None:
        self._rig, self._tell, self._rate = rig, tell, rate
        self._points_every = max(1, round(POINTS_MS * rate / scan_ms))
        self._state_every = max(1, round(STATE_MS * rate / scan_ms))
        self._scans = 0
        self._moved = True
        self._seen: tuple[Any, ...] = ()
        self._state: dict[str, Any] = {}
        self._cycles: Counter[str] = Counter()

    def happened(self) -> None:
        """Something was written down: the state may be another one."""
        self._moved = True

    def cycle(self, record: CycleRecord) -> None:
        """A cycle ended."""
        self._cycles[record.result.split(" ")[0]] += 1

    def scanned(self) -> None:
        """A scan is done."""
        rig = self._rig
        seen = (_contacts(rig.inputs), rig.outputs)
        if seen != self._seen or self._scans % self._points_every == 0:
            self._seen = seen
            self._tell_points()
        whole = self._scans % self._state_every == 0
        if self._moved or whole:
            self._moved = False
            if (state := self._stands()) != self._state:
                self._state = state
                self._tell("now", state)
        if whole:
            self._tell("figures", self._figures())
        self._scans += 1

    def _tell_points(self) -> None:
        rig = self._rig
        utc = rig.dated(rig.now_ms).isoformat(timespec="milliseconds")
        inputs, outputs = [int(value) for value in rig.inputs], [int(value) for value in rig.outputs]
        self._tell("points", rig.now_ms, utc, inputs, outputs, rig.desk.forcing.wire)

    def _stands(self) -> dict[str, Any]:
        """The fields of a `StationNow`."""
        rig, memory, watch = self._rig, self._rig.memory, self._rig.watch
        why = rig.watch.told(memory.hold_reason, memory.first_out)
        state = _STATE_OF[memory.step]
        return {
            "state": state, "step": Step(memory.step).name,
            "told": why if memory.step in (LEVEL_HOLD, FAULT) else "",
            "order": _ORDERS[memory.order], "runs_on": bool(memory.run),
            "ready": state != "IDLE" or not rig.laid_open()["start_refused"],
            "remote_in_control": bool(rig.remote_in_control),
            "manual": bool(memory.manual), "held": JOG[memory.jogged],
            "forced": dict(rig.desk.forcing.forced), "failures": dict(rig.desk.failures),
            "acting": sorted(watch.acting), "standing": list(watch.standing), "due": list(watch.due),
            "rate": self._rate,
        }  # fmt: skip

    def _figures(self) -> dict[str, Any]:
        """The fields of the `Figures`."""
        rig, late = self._rig, self._rig.lateness
        delivered_kg = rig.io.machine.reading("delivered_kg") if rig.io.machine else None
        return {
            "up_ms": rig.now_ms, "scans": late.scans, "deadlines_missed": late.missed,
            "latest_us": late.max_us, "cycles": dict(self._cycles), "delivered_kg": delivered_kg,
            "alarms": dict(rig.watch.alarms),
        }  # fmt: skip
