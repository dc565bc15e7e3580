"""
The map itself: a row for each register and each bit, where it stands and what stands in it.

Rows keep address, form and meaning for ever; new ones take free addresses (`VERSION` counts such additions).
Numbers of two registers have the high word first; all ones say "not known".
"""

from collections.abc import Callable, Mapping
from typing import NamedTuple

from controller.modbus.places import Table, Type
from controller.records import CycleRecord
from controller.registers import numbers as n
from controller.registers.now import Now
from controller.sequence.steps import (
    FULL_BELOW,
    NO_AIR,
    NO_PRODUCT,
    NOT_SEEN_BELOW,
    STATES,
    TO_CLEAN,
    TO_EMPTY,
    TO_RUN,
    UNWANTED,
    Step,
)

VERSION = 1
NUMBER, COMMAND = 0, 1
"""Holding registers of a command."""

_HOLDS = {FULL_BELOW: "vessel_full", NOT_SEEN_BELOW: "vessel_not_seen", NO_PRODUCT: "no_product",
          UNWANTED: "not_wanted", NO_AIR: "no_air"}  # fmt: skip
_ORDERS = {TO_RUN: "run", TO_CLEAN: "clean", TO_EMPTY: "empty"}
_ON_BOARD = ("no", "yes", "unknown")
_STATE_OF = {step: state for state, steps in STATES.items() for step in steps}
_DIGITS = {"discrete_input": "1", "input_register": "3", "holding_register": "4"}

Value = Callable[[Now], float | None]


class Row(NamedTuple):
    """One register, pair of registers or bit."""

    name: str
    table: Table
    address: int  # in the protocol, 0-based
    type: Type
    unit: str
    meaning: str
    value: Value
    numbers: str = ""  # the table of `controller.registers.numbers` that says what the numbers mean

    @property
    def size(self) -> int:
        """Addresses it takes."""
        return 2 if self.type == "uint32" else 1

    @property
    def reference(self) -> str:
        """
        Its number as most manuals print it: a habit of the trade, not part of the standard.

        >>> BY_NAME["life"].reference
        '30005'
        """
        return f"{_DIGITS[self.table]}{self.address + 1:04d}"

    def cell(self, now: Now, address: int) -> int:
        """What stands at one of its addresses: of a number that it cannot hold, the nearest that it can."""
        value = self.value(now)
        if self.type == "bool":
            return int(bool(value))
        most = 0xFFFF if self.size == 1 else 0xFFFF_FFFF
        number = most if value is None else min(max(int(value), 0), most)
        return number >> 16 if self.size == 2 and address == self.address else number & 0xFFFF


def _word(address: int, name: str, unit: str, meaning: str, value: Value, numbers: str = "") -> Row:
    return Row(name, "input_register", address, "uint16", unit, meaning, value, numbers)


def _pair(address: int, name: str, unit: str, meaning: str, value: Value) -> Row:
    return Row(name, "input_register", address, "uint32", unit, meaning, value)


def _bit(address: int, name: str, meaning: str, value: Value) -> Row:
    return Row(name, "discrete_input", address, "bool", "", meaning, value)


def _named(table: Mapping[str, int], of: Callable[[Now], str]) -> Value:
    """The number of a name; 0 where there is none."""
    return lambda s: table.get(of(s), n.NONE)


def _count(name: str, per: int = 1) -> Value:
    return lambda s: s.counts[name] // per


def _last(of: Callable[[CycleRecord], float | None]) -> Value:
    """Of the newest cycle; 0 before the first."""
    return lambda s: of(s.cycles.last) if s.cycles.last else 0


def _reason(place: int) -> Value:
    return lambda s: s.asked.reasons[place] if place < len(s.asked.reasons) else n.NONE


def _time_in(step: str) -> Value:
    return _last(lambda cycle: cycle.step_ms(step))


def _of_interlock(name: str, number: int) -> tuple[Row, Row, Row]:
    return (
        _bit(ACTS_AT + number, f"acts_{name}", f"{name} acts", lambda s: name in s.acting),
        _bit(ALARM_AT + number, f"alarm_{name}", "its alarm is not normal", lambda s: name in s.standing),
        _bit(UNSEEN_AT + number, f"unseen_{name}", "nobody has acknowledged it", lambda s: name in s.unseen),
    )


WHO = (
    _word(0, "map", "", "version of this map; a newer one has the same rows, and more", lambda s: VERSION),
    _word(1, "software_major", "", "version of the software: the first of three", lambda s: s.software[0]),
    _word(2, "software_minor", "", "the second", lambda s: s.software[1]),
    _word(3, "software_patch", "", "the third", lambda s: s.software[2]),
    _word(4, "life", "", "counts the scans, from 65535 on to 0; while it stands nothing here is true",
          lambda s: s.scan & 0xFFFF),
)  # fmt: skip
PLACE = (
    _word(10, "state", "", "one of the six", _named(n.STATES, lambda s: _STATE_OF[s.memory.step]), "states"),
    _word(11, "step", "", "step of the sequence",
          _named(n.STEPS, lambda s: Step(s.memory.step).name), "steps"),
    _pair(12, "step_ms", "ms", "since it entered this step", lambda s: s.memory.step_ms),
    _word(14, "hold", "", "why it holds", _named(n.HOLDS, lambda s: _HOLDS.get(s.memory.hold_reason, "")),
          "holds"),
    _word(15, "first_out", "", "the interlock that tripped", _named(n.INTERLOCKS, lambda s: s.first_out),
          "interlocks"),
    _word(16, "order", "", "what it was asked for",
          _named(n.ORDERS, lambda s: _ORDERS.get(s.memory.order, "")), "orders"),
    _word(17, "on_board", "", "product in the receiver",
          _named(n.ON_BOARD, lambda s: _ON_BOARD[s.memory.on_board]), "on_board"),
    _word(18, "scans_late", "", "scans in a row that began too late", lambda s: s.scans_late),
    _word(19, "image_age_ms", "ms", "age of the inputs; 65535: that or more", lambda s: s.image_age_ms),
    _pair(20, "up_s", "s", "since power-up of the controller", lambda s: s.up_ms // 1000),
)  # fmt: skip
ANSWER = (
    _word(30, "asked_number", "", "number of this client's newest command", lambda s: s.asked.number),
    _word(31, "asked_command", "", "that command", lambda s: s.asked.command, "commands"),
    _word(32, "answer", "", "what became of it", lambda s: s.asked.answer, "answers"),
    _word(33, "reasons", "", "of a refusal: how many there are", lambda s: len(s.asked.reasons)),
    _word(34, "reason_1", "", "of a refusal: the first", _reason(0), "reasons"),
    _word(35, "reason_2", "", "of a refusal: the second", _reason(1), "reasons"),
    _word(36, "reason_3", "", "of a refusal: the third", _reason(2), "reasons"),
    _word(37, "counted", "", "this client counts on from here: its next number is one more, 1 after 65535",
          lambda s: s.asked.counted),
)  # fmt: skip
COUNTS = (
    _pair(40, "cycles", "", "cycles that ended, since power-up as all counts", lambda s: s.cycles.all),
    _pair(42, "batches", "", "batches drawn and dropped whole", lambda s: s.cycles.batches),
    _pair(44, "emptyings", "", "cycles that emptied what was found on board", lambda s: s.cycles.emptyings),
    _pair(46, "cleans", "", "cleanings that were asked for", lambda s: s.cycles.cleans),
    _pair(48, "trips", "", "cycles that a trip ended", lambda s: s.cycles.trips),
    _pair(50, "broken_off", "", "cycles not complete, trips included", lambda s: s.cycles.broken_off),
    _pair(52, "delivered", "0.1 kg", "into the vessel below; not known where nothing weighs it",
          lambda s: None if s.cycles.delivered_kg is None else round(s.cycles.delivered_kg * 10)),
    _pair(60, "flap_strokes", "", "openings of the flap", _count("flap_strokes")),
    _pair(62, "shots_1", "", "pulses of the first group", _count("shots_1")),
    _pair(64, "shots_2", "", "pulses of the second group", _count("shots_2")),
    _pair(66, "shots_3", "", "pulses of the third group", _count("shots_3")),
    _pair(68, "source_starts", "", "starts of the source", _count("source_starts")),
    _pair(70, "source_on_s", "s", "source on", _count("source_on_ms", 1000)),
    _pair(72, "filter_on_s", "s", "drawing through the filter", _count("filter_on_ms", 1000)),
)  # fmt: skip
LAST = (
    _pair(100, "last_number", "", "number of the newest cycle that ended, since power-up; 0: none yet",
          _last(lambda cycle: cycle.number)),
    _word(102, "last_kind", "", "what it was", _last(lambda cycle: n.KINDS[cycle.kind]), "kinds"),
    _word(103, "last_result", "", "how it ended",
          _last(lambda cycle: n.RESULTS[cycle.result.split()[0]]), "results"),
    _word(104, "last_trip", "", "the interlock that ended it",
          _last(lambda cycle: n.INTERLOCKS.get(cycle.result.removeprefix("trip "), n.NONE)), "interlocks"),
    _pair(106, "last_ms", "ms", "how long it took", _last(lambda cycle: cycle.ms)),
    _pair(108, "last_delivered", "g", "into the vessel below; not known where nothing weighs it",
          _last(lambda cycle: None if cycle.delivered_kg is None else round(cycle.delivered_kg * 1000))),
    *(_pair(110 + 2 * number, f"last_{step.lower()}_ms", "ms", f"its time in {step}", _time_in(step))
      for step, number in n.STEPS.items()),
)  # fmt: skip
BITS = (
    _bit(0, "simulated", "the I/O is simulated, in the controller itself", lambda s: s.simulated),
    _bit(1, "forced", "an input reads other than its wire", lambda s: s.forced),
    _bit(2, "failure", "a failure is put into the simulated plant", lambda s: s.failed),
    _bit(3, "link_good", "images of the I/O come", lambda s: s.link_good),
    _bit(4, "commands", "commands are taken here", lambda s: s.commands),
    _bit(5, "remote", "the remote place has control", lambda s: s.remote),
    _bit(6, "manual", "manual mode", lambda s: s.memory.manual),
    _bit(7, "run", "batch follows batch; off after a stop, while the last one ends", lambda s: s.memory.run),
    _bit(8, "fault", "a fault stands", lambda s: _STATE_OF[s.memory.step] == "FAULT"),
    _bit(9, "holds", "it waits, `hold` says why", lambda s: _STATE_OF[s.memory.step] == "LEVEL_HOLD"),
    _bit(10, "halted", "it was halted", lambda s: s.memory.halted),
    _bit(11, "line_loaded", "product may stand in the line", lambda s: s.memory.line_loaded),
    _bit(12, "any_alarm", "an alarm is not normal", lambda s: bool(s.standing)),
    _bit(13, "any_unseen", "an alarm calls: nobody has acknowledged it", lambda s: bool(s.unseen)),
    _bit(14, "delivered_known", "`delivered` is known", lambda s: s.cycles.delivered_kg is not None),
)  # fmt: skip
ACTS_AT, ALARM_AT, UNSEEN_AT = 100, 300, 500
"""Bits of the interlocks: these, and the number of the interlock."""
INTERLOCKS = tuple(row for item in n.INTERLOCKS.items() for row in _of_interlock(*item))
ROWS = (*WHO, *PLACE, *ANSWER, *COUNTS, *LAST, *BITS, *INTERLOCKS)
"""All that is read."""
READ: Mapping[Table, int] = {"input_register": 200, "discrete_input": 700}
"""These many addresses from 0 on can be read; what has no row yet reads 0."""
COMMANDS = (
    Row("command_number", "holding_register", NUMBER, "uint16", "",
        "counted on from `counted`; both registers in one request", lambda s: s.asked.number),
    Row("command", "holding_register", COMMAND, "uint16", "", "what is asked for", lambda s: s.asked.command,
        "commands"),
)  # fmt: skip
"""What may be written, and only where commands are allowed."""
BY_NAME = {row.name: row for row in (*ROWS, *COMMANDS)}
