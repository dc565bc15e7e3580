"""
What the panel asks of a running rig, and what it says of itself.

The panel and the rig run on one event loop: whatever is asked acts at a scan, never between.
"""

from collections.abc import Mapping, Sequence
from typing import Literal, Protocol, runtime_checkable

from pydantic import Field

from controller.image import Inputs
from controller.panel.why import Reasons as Reasons
from controller.panel.why import Why
from controller.station_file import StrictModel

Quality = Literal["good", "doubtful", "failed", "old", "unknown"]

CONTROL = ("local", "remote")
"""Who has control, where no selector is wired for it."""
COMMANDS = (
    *(name.removesuffix("_request") for name in Inputs._fields if name.endswith("_request")), *CONTROL
)  # fmt: skip
"""What can be asked: start, stop, ... in the order of the process image; and who is to have control."""


class Status(StrictModel):
    """Where a rig or a simulated plant stands; goes with every answer, so that nothing forced is unseen."""

    station: str
    kind: Literal["rig", "plant"] = "rig"
    io: str  # "simulated", or what the wire is: "modbus 127.0.0.1:1502"
    real: bool  # other than the simulated plant in this process: a machine may move
    at_ms: int = Field(ge=0)  # since power-up, in the rig's own time
    rate: float = Field(default=1.0, gt=0)  # its seconds in one of the room; other than 1 only simulated
    state: str = ""  # of a rig: one of the six
    step: str = ""
    told: str = ""  # in a hold its reason, in a fault its first-out
    remote_in_control: bool = False  # the remote place has control, not the machine
    manual: bool = False
    manual_ms: int = 0  # in manual mode for so long
    jog_age_ms: int = 0  # since an output was last asked for in manual mode
    warning_ms: int = 0  # preset: the horn before the first movement
    jog_renew_ms: int = 0  # preset: a held output falls so soon after the last renewal
    held: str = ""  # the output that the sequence takes as held in manual mode
    held_on: bool = False  # it is energised
    held_back: Reasons = ()  # why it is not: the last word, or what dropped it
    dropped: bool = False  # asked for, and not taken as held; or something came that drops it, in its horn
    fault_horn: bool = False  # a fault that nobody has acknowledged
    forced: dict[str, int] = Field(default={})  # inputs that read other than the wire
    failures: dict[str, float] = Field(default={})  # of the simulated plant, with their amounts


class PointNow(StrictModel):
    """One wired point, now. `raw` is what the wire carries: 0 or 1, or whole microamperes."""

    tag: str
    name: str
    description: str
    kind: Literal["contact", "4-20 mA", "output"]
    quality: Quality
    raw: int
    value: float | None  # in `unit`; None for contacts and outputs, and where no value can be trusted
    unit: str
    age_ms: int | None  # None: no image yet, or none since its link was lost
    forced: bool = False
    wire: int | None = None  # of a forced input: what the wire itself carries


@runtime_checkable
class SimulatedPlant(Protocol):
    """A plant that failures can be put into."""

    def status(self) -> Status: ...

    def fail(self, mode: str, amount: float, for_ms: int | None, who: str = "") -> Reasons:
        """Sets a failure mode, 0 ends it; it ends by itself after `for_ms` of the plant's time. Why not."""
        ...


@runtime_checkable
class Rig(SimulatedPlant, Protocol):
    """A running station. No call waits for a scan but `request`."""

    def points(self) -> Sequence[PointNow]:
        """Every wired point, inputs first, as of the last scan."""
        ...

    def why(self) -> Why:
        """Why it stands where it does, as of a scan just now."""
        ...

    async def request(self, command: str, who: str = "", to_hold: str = "") -> Reasons:
        """
        One of `COMMANDS`, at the machine, in the next scan; returns when that is done: why refused.

        `to_hold`: the output for whose horn a hold asks it, which is written down as its place. From then on
        until `jog`, `Status.dropped` says that something came that would drop it.
        """
        ...

    def refused(self, command: str, reasons: Reasons, who: str = "", **asked: str | int) -> None:
        """Something was refused without asking the rig for it: it is written down."""
        ...

    def jog(self, output: str, who: str = "", area_clear_by: str = "") -> None:
        """This output as held in manual mode, heard in the next scan and in that alone: to be renewed."""
        ...

    def force(self, forced: Mapping[str, int], who: str = "", area_clear_by: str = "") -> None:
        """From the next scan on these inputs read so, and no others; the rule: `panel.forcing`."""
        ...
