"""
What must follow a failure mode: the words of the table, one row a mode, apart by station where options differ.

Written from the control narrative (sections 3 to 5) and the commissioning tables (what the instruments show,
why masks and effects are what they are, field failures) before anything was run. Where a run showed that an
expectation was wrong, the row says so in `changed`, with the reason; where it showed that the sequence is
wrong, in `defect`. How far a record moves is not in those tables: the direction is expected, and the size is
what the plant model shows, less a margin.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

B, S, M = "buckwheat_mill", "sugar_kitchen", "milk_powder_hall"
STATIONS = (B, S, M)
MID_FILL = {B: "48s", S: "52s", M: "180s"}
"""In the middle of a fill of the third cycle: product in the line, some of a batch on board."""
NORMAL = frozenset({"LEVEL_HIGH", "SOURCE_NOT_READY"})
"""What acts on a healthy day too: a full vessel, a motor that rests."""


class Shows(NamedTuple):
    """A field of the cycle records that moves, against those before the failure."""

    field: str
    percent: float  # the least that its median moves; negative: it falls


class Then(NamedTuple):
    """What must follow. All times from the moment the failure begins."""

    trips: tuple[str, ...] = ()  # first-outs that will do; empty: it must not trip
    acts: tuple[tuple[str, float], ...] = ()  # interlock, within so many seconds
    within_s: float = 0.0  # of the trip
    hold: str = ""  # a hold for this reason must come
    hold_within_s: float = 0.0
    may: tuple[str, ...] = ()  # interlocks that may act besides; all others must not
    refused: bool = False  # the start is refused
    unseen: str = ""  # why nobody sees it at the I/O
    shows: Shows | None = None  # the record that shows it all the same
    run_s: float = 0.0  # how long it is watched
    delivers: bool = False  # whole batches go on
    changed: str = ""  # why the expectation was changed after a run
    defect: str = ""  # the sequence does otherwise, and is wrong: the run is expected to fail until it is put right

    @property
    def allowed(self) -> frozenset[str]:
        """All that may act."""
        return NORMAL.union(self.trips, self.may, (name for name, _ in self.acts))

    @property
    def length_s(self) -> float:
        """How long the run must last after the failure began."""
        return max(self.run_s, self.within_s, self.hold_within_s, *(s for _, s in self.acts), 1.0)


def trip(first: str, within_s: float, *acts: tuple[str, float], may: tuple[str, ...] = (), changed: str = "") -> Then:
    """It trips; of several first-outs written `A|B` either will do."""
    return Then(trips=tuple(first.split("|")), within_s=within_s, acts=acts, may=may, changed=changed)


def warns(*acts: tuple[str, float], run_s: float = 0.0, may: tuple[str, ...] = (), delivers: bool = False, changed: str = "") -> Then:
    """It acts and neither trips nor stops the receiver."""
    return Then(acts=acts, run_s=run_s, may=may, delivers=delivers, changed=changed)


def holds(reason: str, within_s: float, *acts: tuple[str, float], may: tuple[str, ...] = (), run_s: float = 0.0, changed: str = "") -> Then:
    """The receiver holds for this reason, without a trip."""
    return Then(hold=reason, hold_within_s=within_s, acts=acts, may=may, run_s=run_s, changed=changed)


def unseen(why: str, run_s: float = 100.0, shows: Shows | None = None, may: tuple[str, ...] = (), delivers: bool = True, changed: str = "") -> Then:
    """No interlock acts and batches go on: it cannot be seen at the I/O, or must not be acted on."""
    return Then(unseen=why, run_s=run_s, shows=shows, may=may, delivers=delivers, changed=changed)


class Row(NamedTuple):
    """One failure mode."""

    mode: str
    begins: str | Mapping[str, str]  # as after @ on the command line; by station where they differ
    then: Then | Mapping[str, Then]
    amount: float | Mapping[str, float] = 1.0
    beside: tuple[str, ...] | Mapping[str, tuple[str, ...]] = ()  # other failures, as on the command line
    stop_s: float | None = None  # the stop button is pressed then
    fitted: Mapping[str, int] | None = None  # no station has the part: the mill with these presets

    def at(self, station: str) -> "Asked":
        """The row as it is run on one station."""

        def of(value: Any) -> Any:
            return value[station] if isinstance(value, Mapping) else value

        return Asked(of(self.begins), of(self.then), of(self.amount), of(self.beside))


class Asked(NamedTuple):
    """A row on one station."""

    begins: str
    then: Then
    amount: float
    beside: tuple[str, ...]
