"""
How each step is reached on a healthy station, so that a failure can begin there.

The steps of a batch are those of one cycle after twelve (so that what is learned is known). The others are
reached by what people and machines do: a start after power-up, a halt while it draws, a lump on the seat, a
vessel that nobody empties, a safety chain that opens. What then has to be done goes on beside the failure.
"""

from collections import Counter
from collections.abc import Callable, Collection, Container
from typing import Any, NamedTuple

from controller.campaign.detection.expectations import RESET_REFUSED, START_REFUSED
from controller.sequence.steps import FAULT, REST, SETTLE, WARNING, WORKING, Step
from controller.simulate.station_loop import BLOCK, StationLoop

CYCLES = 12
HELD_MS, LOOK_MS, AWAKE_MS = 300, 500, 2_000
LONGEST_MS = 3_600_000
FULL = "vessel_not_consuming"
BATCH_STEPS = frozenset(WORKING) - {Step.REOPEN, Step.PURGE}


class Deed(NamedTuple):
    """What is done at its time: a point that no instrument drives is set, or a failure mode."""

    after_ms: int
    name: str
    value: int


def pressed(point: str, at_ms: int) -> tuple[Deed, Deed]:
    """A push button, or the stop contact, for a moment."""
    on = 0 if point == "stop_healthy" else 1
    return Deed(at_ms, point, on), Deed(at_ms + HELD_MS, point, 1 - on)


AFTERWARDS: dict[int, tuple[Deed, ...]] = {
    REST: pressed("start_pb", 10_000),
    WARNING: (Deed(HELD_MS, "start_pb", 0),),
    Step.LEVEL_HOLD: (Deed(30_000, FULL, 0),),
    FAULT: (
        Deed(2_000, "safety_chain_healthy", 1),
        *pressed("reset_pb", 20_000),
        *pressed("start_pb", 23_000),
    ),
}
STOPPED_MS, STARTED_FIRST_MS = 60_000, 200_000
"""When stop is pressed; later where a start comes first, which may wait for the rest of a motor."""


class Beginning(NamedTuple):
    """A station at the moment in which it enters a step."""

    step: int
    kept: Any
    deeds: tuple[Deed, ...]


class Watch:
    """Runs a loop, does what is due, notes what begins to act, which steps come, what is refused."""

    def __init__(self, loop: StationLoop, deeds: tuple[Deed, ...] = ()) -> None:
        self.loop, self._since_ms = loop, loop.now_ms
        self._due = sorted(deeds)
        self._acting = frozenset(loop.acting())
        self._looks: list[tuple[int, int, str]] = []
        self._stopped = False
        self.raised: Counter[str] = Counter()
        self.acted: dict[str, int] = {}  # when each first began to act, or was refused
        self.steps = [(0, loop.remembers("step"))]

    @property
    def after_ms(self) -> int:
        """Since it began."""
        return self.loop.now_ms - self._since_ms

    def advance(self, limit_ms: int) -> int:
        """Up to the next thing that happens; the step it is in."""
        while self._due and self._due[0].after_ms <= self.after_ms:
            self._do(self._due.pop(0))
        ends = [limit_ms, *(d.after_ms for d in self._due[:1]), *(at for at, _, _ in self._looks[:1])]
        scans = max(1, -(-(min(ends) - self.after_ms) // self.loop.scan_ms))
        before = self.steps[-1][1]
        self.loop.run(min(scans, BLOCK))
        step = self.loop.remembers("step")
        self._note(before, step)
        return step

    def until(self, step: int, limit_ms: int) -> bool:
        """To the scan that enters a step; False if that does not come in time."""
        limit_ms += self.after_ms
        while self.after_ms < limit_ms:
            before = self.steps[-1][1]
            if self.advance(limit_ms) == step != before:
                return True
        return False

    def _note(self, before: int, step: int) -> None:
        acting = frozenset(self.loop.acting())
        for name in sorted(acting - self._acting):
            self.acted.setdefault(name, self.after_ms)
            self.raised[name] += 1
        self._acting = acting
        if step != before:
            self.steps.append((self.after_ms, step))
            if (before, step) == (WARNING, REST) and not self._stopped:
                self.acted.setdefault(START_REFUSED, self.after_ms)
        while self._looks and self._looks[0][0] <= self.after_ms:
            _, still, refused = self._looks.pop(0)
            if step == still:
                self.acted.setdefault(refused, self.after_ms)

    def _do(self, deed: Deed) -> None:
        if deed.name == FULL:
            self.loop.fail(deed.name, deed.value)
            return
        self.loop.press(deed.name, deed.value)
        self._stopped |= deed.name == "stop_healthy"
        look_ms, step = self.after_ms + LOOK_MS, self.steps[-1][1]
        if deed.name == "start_pb" and deed.value and step == REST:
            self._looks.append((look_ms, REST, START_REFUSED))
        if deed.name == "reset_pb" and deed.value and step == FAULT:
            self._looks.append((look_ms, FAULT, RESET_REFUSED))


def _to_purge(loop: StationLoop) -> bool:
    """Halted while it draws, so that the line stays loaded; then started again."""
    halt = (Deed(5_000, "halt_request", 1), Deed(5_000 + loop.scan_ms, "halt_request", 0))
    return Watch(loop, (*halt, *pressed("start_pb", 10_000))).until(Step.PURGE, 300_000)


def _to_reopen(loop: StationLoop) -> bool:
    """A lump on the seat, which falls off when the flap opens once more."""
    loop.fail("product_on_seat", 1)
    reached = Watch(loop).until(Step.REOPEN, 60_000)
    loop.fail("product_on_seat", 0)
    return reached


def _to_hold(loop: StationLoop) -> bool:
    """Nobody takes anything out of the vessel below."""
    loop.fail(FULL, 1)
    return Watch(loop).until(Step.LEVEL_HOLD, LONGEST_MS)


def _to_fault(loop: StationLoop) -> bool:
    """The safety chain opens while it draws."""
    return Watch(loop, (Deed(5_000, "safety_chain_healthy", 0),)).until(FAULT, 10_000)


class Reached(NamedTuple):
    """A step beside the batch: from which step of a batch, and how."""

    base: int
    reach: Callable[[StationLoop], bool]


OTHERS = {
    Step.PURGE: Reached(Step.CONVEY, _to_purge),
    Step.REOPEN: Reached(Step.DRAIN, _to_reopen),
    Step.LEVEL_HOLD: Reached(Step.SETTLE, _to_hold),
    Step.FAULT: Reached(Step.CONVEY, _to_fault),
}


def beginnings(
    loop: StationLoop, cycles: int = CYCLES, wanted: Collection[int] = tuple(Step)
) -> dict[int, Beginning]:
    """
    The wanted steps that this station can be brought to, in their order.

    Args:
        loop: From power-up on; it is used for it.
        cycles: Before the one whose steps are kept.
        wanted: Steps.
    """
    found: dict[int, Any] = {}
    Watch(loop).until(Step.FAULT, AWAKE_MS)
    found[REST] = loop.kept()
    watch = Watch(loop, pressed("start_pb", 0))
    watch.until(WARNING, 1_000)
    found[WARNING] = loop.kept()
    bases = {*wanted, *(OTHERS[Step(step)].base for step in wanted if step in OTHERS)} & BATCH_STEPS
    for _ in range(cycles if bases else 0):
        watch.until(SETTLE, LONGEST_MS)
    last_ms = watch.after_ms + LONGEST_MS
    while not bases <= found.keys() and watch.after_ms < last_ms:
        before = watch.steps[-1][1]
        step = watch.advance(last_ms)
        if step != before and step in bases:
            found.setdefault(step, loop.kept())
    for step in OTHERS.keys() & set(wanted):
        loop.restore(found[OTHERS[step].base])
        if OTHERS[step].reach(loop):
            found[step] = loop.kept()
    return {
        step: Beginning(step, found[step], AFTERWARDS.get(step, ()))
        for step in sorted(found)
        if step in wanted
    }


def deeds_of(beginning: Beginning, failing: Container[str], stopped: bool) -> tuple[Deed, ...]:
    """What is done after it: but nothing to what fails anyway, and the stop if there is one."""
    deeds = tuple(deed for deed in beginning.deeds if deed.name not in failing)
    return (*deeds, *pressed("stop_healthy", stop_ms(beginning.step))) if stopped else deeds


def stop_ms(step: int) -> int:
    """When stop is pressed after a step, if it is."""
    return STARTED_FIRST_MS if step in (REST, WARNING, FAULT) else STOPPED_MS
