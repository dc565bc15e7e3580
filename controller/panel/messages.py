"""
What goes over the panel socket: one JSON object a line each way, every request answered by one answer.

Read strictly: an unknown key, a number for a word or a line too long is an error that says what is wrong.
"""

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, TypeAdapter, ValidationError
from pydantic_core import from_json

from controller.panel.area import is_a_name
from controller.panel.rig import COMMANDS, PointNow, Reasons, Status
from controller.panel.why import Why
from controller.problems import did_you_mean
from controller.records import PERSON
from controller.station_file import StrictModel

LINE_BYTES = 64 * 1024
"""The longest line, its end included."""

MOST_KEYS = 8
"""More than any request has: a line full of keys costs no time to say so."""

Name = Annotated[str, Field(min_length=1, max_length=60)]
Person = Annotated[str, Field(min_length=2, max_length=60, pattern=PERSON)]


def _named(said: str) -> str:
    if not is_a_name(said):
        msg = f"{said!r} is no name: the word of a person is asked for"
        raise ValueError(msg)
    return said


Surety = Annotated[Person, AfterValidator(_named)]
"""Who gives the area as clear."""


class Done(StrictModel):
    """What somebody does; who he is says the system, for whom he acts he may say himself."""

    on_behalf_of: Person | None = None


class CommandAsked(Done):
    """A command to the sequence, at the machine."""

    ask: Literal["command"]
    command: Name


class HoldAsked(Done):
    """An output held in manual mode; to be renewed. On I/O that may be real with a person's word only."""

    ask: Literal["hold"]
    output: Name
    area_clear_by: Surety | None = None


class ForceAsked(Done):
    """An input that shall read so until released; to be renewed."""

    ask: Literal["force"]
    point: Name
    value: int = Field(ge=0, le=24_000)  # 0 or 1, or microamperes
    area_clear_by: Surety


class ReleaseAsked(StrictModel):
    """What this connection holds or forces is let go."""

    ask: Literal["release"]


class FailAsked(Done):
    """A failure of the simulated plant; 0 ends it."""

    ask: Literal["fail"]
    mode: Name
    amount: float = Field(ge=0, le=1)
    for_ms: int | None = Field(default=None, ge=1, le=7 * 24 * 3_600_000)


class PointsAsked(StrictModel):
    """Every wired point as it is now."""

    ask: Literal["points"]


class WhyAsked(StrictModel):
    """Why the rig stands where it does."""

    ask: Literal["why"]


class StatusAsked(StrictModel):
    """Where the rig stands."""

    ask: Literal["status"]


Asked = (
    CommandAsked | HoldAsked | ForceAsked | ReleaseAsked | FailAsked | PointsAsked | WhyAsked | StatusAsked
)  # fmt: skip
ASKS = ("command", "hold", "force", "release", "fail", "points", "why", "status")
_ASKED: TypeAdapter[Asked] = TypeAdapter(Annotated[Asked, Field(discriminator="ask")])


class Answer(StrictModel):
    """One answer. `error`: the request could not be read, or not be put to the rig."""

    answer: Literal["accepted", "refused", "error"]
    reasons: Reasons = ()
    status: Status | None = None
    points: list[PointNow] | None = None
    why: Why | None = None
    horn_ms: int = 0  # of a hold: the horn sounds for so long yet, nothing is energised
    renew_ms: int = 200  # of a hold or force: renew it so often


class UnreadableError(Exception):
    """A line that is no request; says what is wrong."""


def read(line: bytes) -> Asked:
    """
    The request in a line.

    Raises:
        UnreadableError: It is not one; every problem, with the key.
    """
    try:
        found = from_json(line, allow_inf_nan=False)
    except ValueError as error:
        msg = f"no JSON: {error}"
        raise UnreadableError(msg) from None
    if not isinstance(found, dict) or len(found) > MOST_KEYS:
        msg = f"must be one JSON object of at most {MOST_KEYS} keys, with `ask` one of {', '.join(ASKS)}"
        raise UnreadableError(msg)
    try:
        asked = _ASKED.validate_python(found)
    except ValidationError as error:
        raise UnreadableError("; ".join(_said(item["loc"], item["msg"]) for item in error.errors())) from None
    if isinstance(asked, CommandAsked) and asked.command not in COMMANDS:
        near = did_you_mean(asked.command, COMMANDS)
        msg = f"no command {asked.command!r}{near}; there are: {', '.join(COMMANDS)}"
        raise UnreadableError(msg)
    return asked


def line_of(message: StrictModel) -> bytes:
    """A request or an answer as it goes over the socket."""
    return message.model_dump_json().encode() + b"\n"


def _said(loc: tuple[int | str, ...], text: str) -> str:
    key = ".".join(str(part)[:60] for part in loc[1:])
    return f"{key}: {text[:200]}" if key else text[:200]
