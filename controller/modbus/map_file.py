"""The model of modbus.yaml: what may stand in it, key by key. What must agree is in `map_checks`."""

from functools import cache
from typing import Any

from pydantic import Field, create_model

from controller.image import Inputs, Outputs
from controller.modbus.places import Role, Table, Type, WordOrder
from controller.points import ANALOGS, CONTACTS
from controller.station_file import StrictModel

GOOD = {"level_low_good": "level_low_covered", "receiver_full_good": "receiver_free",
        "feed_present_good": "feed_present"}  # fmt: skip
"""Quality of a contact, for I/O that reports it, and the contact that must be wired for it."""

_TABLE = "one of the four tables of the Modbus server"
_WATCHDOG = "the device drops its outputs so long after the life counter of the controller moved last"
_ADDRESS = "address in the protocol, counted from 0: one less than the number printed in most manuals"


class _Place(StrictModel):
    table: Table = Field(description=_TABLE)
    address: int = Field(ge=0, le=65_535, description=_ADDRESS)
    reference: str | None = Field(
        default=None, pattern=r"^[0134](\d{4}|\d{5})$", max_length=6,
        description='number printed in the manual, as "40001" for holding register 0; must agree',
    )  # fmt: skip


class _Output(_Place):
    bit: int | None = Field(default=None, ge=0, le=15, description="bit of the register, 0 is the lowest")


class _Contact(_Output):
    invert: bool = Field(
        default=False, description="the module reports 0 while current flows; the sense of the wiring stays"
    )


class _Analog(_Place):
    type: Type = Field(default="uint16", description="form of the number")
    scale: float = Field(default=1.0, description="uA for one count: value = raw x scale + offset")
    offset: float = Field(default=0.0, description="uA at raw 0")
    word_order: WordOrder | None = Field(
        default=None, description="order of the bytes where it is not that of the link"
    )


class _Identity(_Place):
    value: int = Field(ge=0, le=65_535, description="what the register must hold")


class _Link(StrictModel):
    role: Role = Field(description="what the controller is: client (it asks) or server (it is asked)")
    host: str = Field(min_length=1, max_length=255, description="address of the server")
    port: int = Field(default=502, ge=1, le=65_535, description="port of the server; under 1024 needs rights")
    unit: int = Field(
        default=255, ge=1, le=255, description="unit number; 255 for a device on the network itself"
    )
    timeout_ms: int = Field(default=100, ge=10, le=2_000, description="a reply may take so long")
    retries: int = Field(
        default=1, ge=0, le=1, description="a read without reply is sent so often again; a write never"
    )
    poll_ms: int = Field(default=20, ge=5, le=1_000, description="an exchange of the image in this time")
    word_order: WordOrder = Field(default="ABCD", description="order of the bytes of numbers")


class _LinkRead(_Link):
    """What is left of a link that has mistakes."""

    role: Role = Field(default=None)  # type: ignore[arg-type]
    host: str = Field(default="")


class _Server(StrictModel):
    connections_max: int = Field(default=4, ge=1, le=32, description="clients at a time")
    idle_s: int = Field(
        default=60, ge=1, le=3_600, description="a client that asks nothing so long is closed"
    )
    allow: list[str] = Field(
        default_factory=list, max_length=32,
        description="addresses that may connect; left out: this machine alone",
    )  # fmt: skip


class _Life(StrictModel):
    controller: _Place = Field(description="register where the controller counts its scans")
    device: _Place = Field(default=None, description="register where the device counts")  # type: ignore[assignment]


@cache
def map_model(*, whole: bool = True) -> type[StrictModel]:
    """
    The model of modbus.yaml: link, life counters, and a place for every wired point.

    Not `whole`: a group or the role may be missing, None then; for what is left where there are mistakes.
    """
    needed: Any = ... if whole else None
    link = _Link if whole else _LinkRead
    inputs = {
        name: (_Analog if name in ANALOGS else _Contact, Field(default=None, description="where it is wired"))
        for name in Inputs._fields
        if name in CONTACTS or name in ANALOGS or name in GOOD
    }
    wired = Field(default=None, description="where it is wired")
    outputs = dict.fromkeys(Outputs._fields, (_Output, wired))
    groups: dict[str, Any] = {
        "link": (link, Field(default=needed, description="how controller and device meet")),
        "server": (_Server, Field(default=_Server(), description="whom the server answers")),
        "identity": (_Identity, Field(default=None, description="a register whose value tells the device")),
        "life": (_Life, Field(default=needed, description="counters that show that the other end is alive")),
        "watchdog_ms": (int, Field(default=needed, ge=50, le=10_000, description=_WATCHDOG)),
        "inputs": (_group("inputs", inputs), Field(default=needed, description="wired inputs")),
        "outputs": (_group("outputs", outputs), Field(default=needed, description="outputs")),
    }  # fmt: skip
    return create_model("modbus", __base__=StrictModel, __doc__="The map of the points on Modbus.", **groups)


def _group(name: str, fields: dict[str, Any]) -> type[StrictModel]:
    return create_model(name, __base__=StrictModel, **fields)
