"""
The schema of each message: what a subscriber may rely on. Nothing beside it, nothing missing, no NaN.

Once 0.1.0 is released, a change that a subscriber could notice is a new number behind the slash:
`receiver.state/2`. Until then `/1` is open, and fields are added to it.
"""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from controller.records import PERSON
from controller.reporting.station_now import Kind, Order, Signal, State
from controller.station_file import StrictModel

MOST = 2**53 - 1
"""Whole numbers that every reader of JSON takes exactly (RFC 8259 section 6)."""

COMMANDS = ("start", "stop", "halt", "reset", "acknowledge", "clean", "empty")
"""What can be asked for over the broker; nothing is held or forced from there."""

LONGEST = 400
"""Characters of what is said of the connection."""

def _dated(stamp: str) -> str:
    datetime.fromisoformat(stamp)  # the 30th of February has the form of a date
    return stamp


Count = Annotated[int, Field(ge=0, le=MOST)]
Utc = Annotated[
    str,
    Field(
        pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z$",
        description="RFC 3339, always UTC", json_schema_extra={"format": "date-time"},
    ),
    AfterValidator(_dated),
]
Boot = Annotated[
    str,
    Field(pattern=r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$", description="UUID of this power-up"),
]
COMMAND_ID = r"^[A-Za-z0-9_.:-]{8,64}$"
CommandId = Annotated[str, Field(pattern=COMMAND_ID)]
Person = Annotated[str, Field(min_length=2, max_length=60, pattern=PERSON)]
Pascals = Annotated[int | None, Field(description="Pa; null where it could not be known")]


class Told(StrictModel):
    """What every message begins with."""

    schema_id: str = Field(alias="schema")
    ts: Utc
    mono_ms: Count = Field(description="ms since power-up, whatever was done to the clock")
    boot: Boot
    seq: Count = Field(
        description="the same kind, boot and number is the same message; events and cycles share one count; "
        "a status offline that the broker tells bears a number from when it was left there"
    )
    station: str = Field(min_length=1, max_length=80)
    simulated: bool = Field(description="no machine stands behind this; false: perhaps one does")
    forced: bool = Field(description="an input reads other than its wire, or a failure is put in")


class StatusTold(Told):
    """Whether the receiver is told of, and what of it was lost."""

    schema_id: Literal["receiver.status/1"] = Field(alias="schema")
    online: bool = Field(description="false: what is retained is the last that was known")
    said: str = Field(max_length=LONGEST)
    software: str
    io: str
    commands: Literal["refused", "allowed"]
    waiting: Count = Field(description="events and cycle records that wait for the broker")
    tags_dropped: Count = Field(description="tag messages that were not sent, in this boot")
    lines_removed: Count = Field(
        description="events and cycle records that left the journal for its size before a broker took them"
    )
    commands_unheard: Count = Field(
        description="commands without an answer: too many, too large, of nobody; or it was not taken"
    )


class MachineStateTold(StrictModel):
    """A view modelled on ISA-TR88.00.02: number and name, as texts on it do not number alike."""

    number: int = Field(ge=1, le=17)
    name: str
    mode_number: int = Field(ge=1, le=3)
    mode: Literal["Produce", "Maintenance", "Manual"]
    blocked: bool = Field(description="waits because the vessel below does not take it")
    starved: bool = Field(description="waits for product")


class DeviceStatusTold(StrictModel):
    """A view modelled on NAMUR NE 107."""

    number: int = Field(ge=0, le=4)
    name: Literal["normal", "failure", "check function", "out of specification", "maintenance required"]
    letter: Literal["N", "F", "C", "S", "M"]
    because: tuple[str, ...] = Field(description="tags, inputs, interlocks and counters that it comes from")


class StateTold(Told):
    """Where the receiver stands."""

    schema_id: Literal["receiver.state/1"] = Field(alias="schema")
    state: State
    step: str
    told: str = Field(description="in a hold its reason, in a fault the interlock that came first")
    order: Order
    runs_on: bool = Field(description="another batch follows this one")
    ready: bool = Field(description="at rest: nothing refuses a start")
    remote_in_control: bool = Field(description="the remote place has control, not the machine")
    manual: bool
    held: str = Field(description="output held by hand in manual mode")
    rate: float = Field(gt=0, description="its seconds in one of the room; other than 1 only simulated")
    forced_inputs: dict[str, int]
    failures: dict[str, float] = Field(description="put into the simulated plant, with their amounts")
    acting: tuple[str, ...] = Field(description="interlocks that act")
    alarms: tuple[str, ...] = Field(description="alarms that are not normal")
    alarm_priority: int = Field(ge=0, le=3, description="the highest of them; 0 without any")
    due: tuple[str, ...] = Field(description="counters of wear over their limit")
    machine_state: MachineStateTold
    device_status: DeviceStatusTold


class TagTold(Told):
    """One wired point."""

    schema_id: Literal["receiver.tag/1"] = Field(alias="schema")
    tag: str
    name: str
    description: str
    kind: Kind
    value: float | None = Field(description="in `unit`; of contacts and outputs 1 while current flows")
    unit: str
    raw: int = Field(description="0 or 1, or uA of the loop", ge=-MOST, le=MOST)
    q: Literal["good", "stale", "bad", "simulated", "forced"]
    signal: Signal = Field(description="of the signal itself, whatever forces or simulates it; NAMUR NE 43")
    status: Literal["N", "F", "C", "S", "M"] = Field(description="modelled on NAMUR NE 107")


class EventTold(Told):
    """A line of the journal."""

    schema_id: Literal["receiver.event/1"] = Field(alias="schema")
    id: str
    what: str
    text: str
    priority: int = Field(ge=0, le=3)
    detail: str


class AlarmTold(Told):
    """One alarm, with what to do."""

    schema_id: Literal["receiver.alarm/1"] = Field(alias="schema")
    id: str
    state: str = Field(description="words of the nine states modelled on IEC 62682")
    was: str
    priority: int = Field(ge=1, le=3, description="1 low, 2 medium, 3 high")
    text: str
    cause: str
    action: str
    consequence: str
    respond_min: Count
    detail: str


class StepTold(StrictModel):
    """One step of a cycle."""

    step: str
    ms: Count
    ended_by: str


class CycleTold(Told):
    """A finished cycle."""

    schema_id: Literal["receiver.cycle/1"] = Field(alias="schema")
    number: Count
    kind: str
    start_utc: Utc
    start_ms: Count
    steps: tuple[StepTold, ...]
    result: str
    fill_ended_by: str
    vacuum_peak_pa: Pascals
    vacuum_mean_pa: Pascals
    vacuum_air_only_pa: Pascals
    draw_ms: Count | None
    release_ms: Count | None
    filter_dp_cleaned_pa: Pascals
    filter_dp_laden_pa: Pascals
    flap_opening_ms: Count | None
    flap_closing_ms: Count | None
    pulses: Count
    supply_lowest_pa_g: Pascals
    supply_resting_pa_g: Pascals
    delivered_kg: float | None
    fill_rate_kg_h: float | None
    air_nm3: float | None = Field(description="at 0 degrees C and 101.325 kPa (DIN 1343)")
    flap_retries: Count
    resumes: Count
    on_board: str
    line_loaded: bool
    alarms: tuple[str, ...]
    recipe: str
    software: str


class AnswerTold(Told):
    """What became of a command."""

    schema_id: Literal["receiver.answer/1"] = Field(alias="schema")
    id: CommandId
    command: str = Field(max_length=40)
    operator: str = Field(max_length=60)
    accepted: bool
    reasons: tuple[str, ...] = Field(description="of a refusal, in words for a person")


class CommandAsked(StrictModel):
    """A command over the broker: acts once, never after its end, and only where the station allows it."""

    schema_id: Literal["receiver.command/1"] = Field(alias="schema")
    id: CommandId = Field(description="new for each command: the same id again does nothing")
    command: Literal["start", "stop", "halt", "reset", "acknowledge", "clean", "empty"]
    operator: Person = Field(description="who asks; written down as it comes, proved by nothing")
    issued_at: Utc
    expires_at: Utc = Field(description="not done after this")


MODELS: dict[str, type[StrictModel]] = {
    "status": StatusTold, "state": StateTold, "tag": TagTold, "event": EventTold, "alarm": AlarmTold,
    "cycle": CycleTold, "answer": AnswerTold, "command": CommandAsked,
}  # fmt: skip
"""The model of each kind of message."""
