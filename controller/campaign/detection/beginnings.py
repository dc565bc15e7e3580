"""
How each step is reached on a healthy station, so that a failure can begin there.

The steps of a batch are those of one cycle after twelve (so that what is learned is known). The others are
reached by what people and machines do: a start after power-up, a halt while it draws, a lump on the seat, a
vessel that nobody empties, a safety chain that opens. What then has to be done goes on beside the failure.
"""

from collections import Counter
from collections.abc import Callable, Collection, Container, Iterable
from functools import partial
from typing import Any, NamedTuple

from controller.campaign.detection.expectations import RESET_REFUSED, START_REFUSED
from controller.campaign.drive import HELD_MS, Driver
from controller.campaign.scenario import Action, Deed
from controller.campaign.target import Chunk, VirtualStation
from controller.sequence.steps import FAULT, REST, SETTLE, WARNING, WORKING, Step

CYCLES = 12
LOOK_MS, AWAKE_MS = 500, 2_000
LONGEST_MS = 3_600_000
FULL = "vessel_not_consuming"
BATCH_STEPS = frozenset(WORKING) - {Step.REOPEN, Step.PURGE}


START, STOP, RESET = (Action("command", name, 1) for name in ("start", "stop", "reset"))
CHAIN = "safety_chain_healthy"
AFTERWARDS: dict[int, tuple[Deed, ...]] = {
    REST: (Deed(10_000, START),),
    WARNING: (Deed(HELD_MS, Action("set", "start_pb", 0)),),
    Step.LEVEL_HOLD: (Deed(30_000, Action("mend", FULL, 0)),),
    FAULT: (Deed(2_000, Action("set", CHAIN, 1)), Deed(20_000, RESET), Deed(23_000, START)),
}
STOPPED_MS, STARTED_FIRST_MS = 60_000, 200_000
"""When stop is pressed; later where a start comes first, which may wait for the rest of a motor."""


class Beginning(NamedTuple):
    """A station at the moment in which it enters a step."""

    step: int
    kept: Any
    deeds: tuple[Deed, ...]


class Unrecorded(VirtualStation):
    """A simulated station of which nothing is kept."""

    def advance(self, scans: int) -> Chunk:
        """As promised, but for the chunk: there is nothing in it."""
        segment = self.loop.run(scans)
        return Chunk(segment.first_ms, [], range(segment.scans), {})


class Watch(Driver):
    """Does what is due, notes what begins to act, which steps come, what is refused."""

    def __init__(self, station: Unrecorded, deeds: Iterable[Deed] = ()) -> None:
        super().__init__(None, station, lambda *_: [])
        self._loop, self._since_ms = station.loop, station.now_ms
        self._acting = frozenset(self._loop.acting())
        self._stopped = False
        self.raised: Counter[str] = Counter()
        self.acted: dict[str, int] = {}  # when each first began to act, or was refused
        self.steps = [(0, station.step())]
        for deed in sorted(deeds):
            self._at(self._since_ms + deed.at_ms, partial(self.do, deed.action))

    @property
    def after_ms(self) -> int:
        """Since it began."""
        return self.now_ms - self._since_ms

    def advance(self, limit_ms: int) -> int:
        """Up to the next thing that happens, or so long since it began; the step it is in."""
        self._advance(self._since_ms + limit_ms)
        return self.steps[-1][1]

    def until(self, step: int, limit_ms: int) -> bool:
        """To the scan that enters a step; False if that does not come in time."""
        return self.enters((step,), self.now_ms + limit_ms)

    def do(self, action: Action) -> None:
        """As a driver does, and has a look whether it is refused."""
        super().do(action)
        self._stopped |= action == STOP
        for asked, still, refused in ((START, REST, START_REFUSED), (RESET, FAULT, RESET_REFUSED)):
            if action == asked and self.steps[-1][1] == still:
                self._at(self.now_ms + LOOK_MS, partial(self._look, still, refused))

    def _look(self, still: int, refused: str) -> None:
        if self.steps[-1][1] == still:
            self.acted.setdefault(refused, self.after_ms)

    def _advance(self, limit_ms: int) -> Chunk:
        chunk = super()._advance(limit_ms)
        acting, before, step = frozenset(self._loop.acting()), self.steps[-1][1], self._loop.remembers("step")
        for name in sorted(acting - self._acting):
            self.acted.setdefault(name, self.after_ms)
            self.raised[name] += 1
        self._acting = acting
        if step != before:
            self.steps.append((self.after_ms, step))
            if (before, step) == (WARNING, REST) and not self._stopped:
                self.acted.setdefault(START_REFUSED, self.after_ms)
        return chunk


def _to_purge(station: Unrecorded) -> bool:
    """Halted while it draws, so that the line stays loaded; then started again."""
    halt = Action("command", "halt", 1, source="socket")
    return Watch(station, (Deed(5_000, halt), Deed(10_000, START))).until(Step.PURGE, 300_000)


def _to_reopen(station: Unrecorded) -> bool:
    """A lump on the seat, which falls off when the flap opens once more."""
    station.loop.fail("product_on_seat", 1)
    reached = Watch(station).until(Step.REOPEN, 60_000)
    station.loop.fail("product_on_seat", 0)
    return reached


def _to_hold(station: Unrecorded) -> bool:
    """Nobody takes anything out of the vessel below."""
    station.loop.fail(FULL, 1)
    return Watch(station).until(Step.LEVEL_HOLD, LONGEST_MS)


def _to_fault(station: Unrecorded) -> bool:
    """The safety chain opens while it draws."""
    return Watch(station, [Deed(5_000, Action("set", CHAIN, 0))]).until(FAULT, 10_000)


class Reached(NamedTuple):
    """A step beside the batch: from which step of a batch, and how."""

    base: int
    reach: Callable[[Unrecorded], bool]


OTHERS = {
    Step.PURGE: Reached(Step.CONVEY, _to_purge),
    Step.REOPEN: Reached(Step.DRAIN, _to_reopen),
    Step.LEVEL_HOLD: Reached(Step.SETTLE, _to_hold),
    Step.FAULT: Reached(Step.CONVEY, _to_fault),
}


def beginnings(
    station: Unrecorded, cycles: int = CYCLES, wanted: Collection[int] = tuple(Step)
) -> dict[int, Beginning]:
    """
    The wanted steps that this station can be brought to, in their order.

    Args:
        station: From power-up on; it is used for it.
        cycles: Before the one whose steps are kept.
        wanted: Steps.
    """
    found, loop = dict[int, Any](), station.loop
    Watch(station).until(Step.FAULT, AWAKE_MS)
    found[REST] = loop.kept()
    watch = Watch(station, [Deed(0, START)])
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
        if OTHERS[step].reach(station):
            found[step] = loop.kept()
    return {
        step: Beginning(step, found[step], AFTERWARDS.get(step, ()))
        for step in sorted(found)
        if step in wanted
    }


def deeds_of(beginning: Beginning, failing: Container[str], stopped: bool) -> tuple[Deed, ...]:
    """What is done after it: but nothing to what fails anyway, and the stop if there is one."""
    deeds = tuple(deed for deed in beginning.deeds if deed.action.name not in failing)
    return (*deeds, Deed(stop_ms(beginning.step), STOP)) if stopped else deeds


def stop_ms(step: int) -> int:
    """When stop is pressed after a step, if it is."""
    return STARTED_FIRST_MS if step in (REST, WARNING, FAULT) else STOPPED_MS
