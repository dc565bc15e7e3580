"""What the map is laid down from: a running receiver as of its last scan."""

from collections.abc import Collection, Mapping
from typing import Any, NamedTuple

from controller.records import CycleRecord


class Asked(NamedTuple):
    """The newest command of a client, and what became of it; numbers of `controller.registers.numbers`."""

    number: int = 0  # that came with it
    command: int = 0
    answer: int = 0
    reasons: tuple[int, ...] = ()
    counted: int = 0  # the newest number that counts: a next one must come after it; 0: none came yet


class Cycles:
    """The cycles since power-up, counted."""

    def __init__(self) -> None:
        self.all = self.batches = self.emptyings = self.cleans = self.trips = self.broken_off = 0
        self.delivered_kg: float | None = None
        self.last: CycleRecord | None = None

    def take(self, record: CycleRecord) -> None:
        """A cycle ended."""
        complete = record.result == "complete"
        self.all += 1
        self.batches += complete and record.kind == "batch"
        self.emptyings += complete and record.kind == "emptying"
        self.cleans += complete and record.kind == "clean"
        self.trips += record.result.startswith("trip")
        self.broken_off += not complete
        if record.delivered_kg is not None:
            self.delivered_kg = (self.delivered_kg or 0.0) + record.delivered_kg
        self.last = record


class Now(NamedTuple):
    """Of one scan."""

    scan: int  # counts them, since power-up
    up_ms: int
    memory: Any  # `Logic.Memory`
    first_out: str  # id of the interlock that tripped; empty: no fault
    image_age_ms: int
    scans_late: int
    remote: bool  # the remote place has control
    forced: bool  # an input reads other than its wire
    failed: bool  # a failure is put into the simulated plant
    simulated: bool  # the I/O is the plant in this process
    link_good: bool
    commands: bool  # they are taken
    acting: Collection[str]  # ids of the interlocks
    standing: Collection[str]  # ids of the alarms that are not normal
    unseen: Collection[str]  # ids of those that nobody has acknowledged
    counts: Mapping[str, float]  # of wear
    cycles: Cycles
    asked: Asked  # of the client that reads
    software: tuple[int, int, int]


def software_numbers(version: str) -> tuple[int, int, int]:
    """
    The numbers of a version.

    >>> software_numbers("1.20.3.dev4"), software_numbers("2.1rc1")
    ((1, 20, 3), (2, 1, 0))
    """
    found = []
    for part in (*version.split("."), "", "", "")[:3]:
        digits = part[: next((at for at, sign in enumerate(part) if not sign.isdecimal()), len(part))]
        found.append(int(digits or 0))
    return found[0], found[1], found[2]
