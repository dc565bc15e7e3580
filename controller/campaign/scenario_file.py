"""
A scenario as a file: what is done and what goes wrong when, what must follow, what never may.

The timeline is read from top to bottom: an entry waits for its moment once the entry before it has come.
What must follow stands under the entry it follows from, and is timed from that moment.
"""

from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from controller.settings import GROUPS as PRESET_GROUPS
from controller.settings import keys as preset_keys
from controller.station_file import Document, Problem, StrictModel, load, load_most
from controller.station_keys import file_model, group_model
from io_sim.settings import plant_model

COMMANDS = (
    "start", "stop", "halt", "reset", "acknowledge", "clean", "empty", "manual", "automatic",
    "vessel_seen", "recipe", "relearn",
)  # fmt: skip
"""What a person, page or network can ask for; as the requests of the process image are called."""
SOURCES = ("panel", "socket", "remote")

CONDITION = "a condition over facts, inputs, outputs, interlocks, presets and steps by name"
SPAN = "written as 500ms, 12s or 2m30s"


Range = Annotated[
    str,
    BeforeValidator(lambda given: str(given) if type(given) in (int, float) else given),
    WithJsonSchema({"type": ["string", "number"]}),
]
"""2 to 4, at least 2, at most 3s; a bare number may stand without quotes."""


def _with_unit(given: object) -> object:
    if type(given) in (int, float):
        msg = f"is {given}: a time has its unit, write it as {given}s"
        raise ValueError(msg)
    return given


Time = Annotated[str, BeforeValidator(_with_unit)]


class Expectation(StrictModel):
    """One thing that must follow: reaches, keeps, counts, lasts, delivers_kg or first_out."""

    reaches: str = Field(default="", description=f"{CONDITION}: must come true")
    keeps: str = Field(default="", description=f"{CONDITION}: must hold in every scan")
    counts: str = Field(default="", description=f"{CONDITION}: how often it comes true, see `range`")
    lasts: str = Field(default="", description=f"{CONDITION}: how long it holds the first time, see `range`")
    delivers_kg: Range = Field(
        default="", description="mass into the vessel below, as 20 to 24 or at least 20"
    )
    first_out: str = Field(default="", description="the interlock that trips first")
    range: Range = Field(default="", description="what is allowed, as 2 to 4, at least 2, at most 3s")
    within: Time = Field(default="", description=f"by when, from the moment on, {SPAN}; the end, if left out")
    not_before: Time = Field(default="", description=f"not sooner, from the moment on, {SPAN}")
    because: str = Field(default="", description="why it must be so")


class Entry(StrictModel):
    """One moment, what is done then, and what must follow."""

    at: Time = Field(default="", description=f"time since power-up, {SPAN}")
    enters: str = Field(default="", description="a step or a state that is entered")
    when: str = Field(default="", description=f"{CONDITION}: comes true")
    nth: int = Field(default=1, ge=1, le=10_000, description="which time, counted from the entry before")
    after: Time = Field(default="", description=f"so long after that, {SPAN}; alone: after the entry before")
    waits: Time = Field(default="2m", description=f"how long the moment may take to come, {SPAN}")
    command: Literal[COMMANDS] | None = Field(default=None, description="what is asked for")  # type: ignore[valid-type]
    source: Literal[SOURCES] = Field(default="panel", description="from where")  # type: ignore[valid-type]
    set: list[str] = Field(
        default=[], max_length=20, description="points that no instrument drives: `plant_enable off`"
    )
    fail: str = Field(default="", description="a failure mode that begins")
    amount: float = Field(default=1.0, ge=0.001, le=1, description="of the failure: 1 is whole")
    grows: Time = Field(default="", description=f"it grows to that in so long, {SPAN}")
    during: Time = Field(default="", description=f"it ends after so long, {SPAN}")
    every: Time = Field(default="", description=f"it comes again after so long, {SPAN}")
    times: int = Field(default=1, ge=1, le=1_000, description="how often it comes")
    mend: str = Field(default="", description="a failure mode that ends")
    power_cut: Time = Field(default="", description=f"the controller is without power for so long, {SPAN}")
    expect: list[Expectation] = Field(default=[], max_length=40, description="what must follow")


class Head(StrictModel):
    """The fields of a scenario that are no station overrides."""

    title: str = Field(min_length=1, max_length=100, description="what goes wrong, in a line")
    why: str = Field(min_length=1, max_length=600, description="what would happen if this were not handled")
    shows: list[str] = Field(
        default=[], max_length=20, description="requirements: sections of the narrative, as 3.3"
    )
    guards: list[str] = Field(
        default=[],
        max_length=20,
        description="table lines without which it fails: `row sealed`, `interlock NO_VACUUM`, "
        "`output source_cmd`, `last word source_cmd`, `refusal start vessel_full`",
    )
    station: str = Field(min_length=1, max_length=200, description="a folder, or a station by name")
    seed: int = Field(default=1, ge=1, le=2_147_483_646, description="of the plant's chance")
    wired: list[str] = Field(
        default=[], max_length=20, description="points wired beside those of points.yaml, as `plant_enable`"
    )
    not_wired: list[str] = Field(
        default=[], max_length=20, description="points of points.yaml that are not, as `vacuum_ua`"
    )
    timeline: list[Entry] = Field(min_length=1, max_length=100, description="moments, from first to last")
    lasts: Time = Field(default="1s", description=f"how long it runs on after the last moment, {SPAN}")
    never: list[str] = Field(
        default=[],
        max_length=40,
        description=f"{CONDITION}: in no scan; or `C for 150ms`, `C unless C for 3s since C`",
    )
    always: list[str] = Field(default=[], max_length=40, description=f"{CONDITION}: in every scan")
    acts_only: list[str] | None = Field(
        default=None, max_length=40, description="interlocks that may act; with it no other may. [] for none"
    )


@cache
def scenario_model() -> type[Head]:
    """The model of a scenario file: the head, and what is otherwise at its station."""
    presets: dict[str, Any] = {
        group: group_model(group, (item for item in preset_keys() if item.loc[0] == group), why)
        for group, (_, why) in PRESET_GROUPS.items()
    }
    overrides = file_model("presets", "What is set otherwise than in receiver.yaml.", presets)
    plant = plant_model()
    fields = {
        "presets": (overrides, Field(default_factory=overrides, description=str(overrides.__doc__))),
        "plant": (plant, Field(default_factory=plant, description="What is otherwise than in plant.yaml.")),
    }
    from pydantic import create_model

    model: type[Head] = create_model("scenario", __base__=Head, __doc__=__doc__, **fields)  # type: ignore[call-overload]
    return model


def read(path: Path) -> Document[Head]:
    """
    A scenario file, as it stands: what it names is looked up by `controller.campaign.scenario`.

    Raises:
        StationError: It cannot be read; every problem with its place.
    """
    return load(path, scenario_model())


def read_most(path: Path) -> tuple[Document[Head] | None, list[Problem]]:
    """A scenario file without what is wrong in it, and what is; None where too little is left."""
    return load_most(path, scenario_model())
