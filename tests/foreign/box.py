"""
A controller of another make for the same receiver, written from the I/O list and the plain description alone.

It shares no line and no idea with the controller of this project: a switch over the name of its state, times in
seconds of its own clock, readings in kPa. It conveys without a purge, cleans with one pulse, and gives up at
the first thing that is not as it should be: everything off, fault lamp on, until somebody resets.

    python tests/foreign/box.py HOST PORT [--mistake NAME]
"""

import argparse
import time
from dataclasses import dataclass, field
from typing import Protocol

try:
    from foreign import io_list as io
except ImportError:  # started as a program
    import io_list as io  # type: ignore[import-not-found,no-redef]

MISTAKES = ("draws_unproven", "opens_under_vacuum", "ignores_level")
"""Does not wait for the flap before it draws; does not look at the vacuum before it opens; nor at the probe."""


class Client(Protocol):
    """The part of pyModbusTCP's client that is used; None or False: it failed."""

    def read_discrete_inputs(self, address: int, count: int, /) -> list[bool] | None: ...
    def read_input_registers(self, address: int, count: int, /) -> list[int] | None: ...
    def write_multiple_registers(self, address: int, values: list[int], /) -> bool: ...


@dataclass(frozen=True)
class Times:
    """In seconds, pressures in kPa: short, so that a batch takes some ten seconds."""

    horn: float = 0.5
    flap_travel: float = 2.5
    flap_lost: float = 0.1
    charge: float = 0.5
    prove: float = 3.0
    prove_kpa: float = 1.2
    no_vacuum: float = 1.0
    fill: float = 2.5
    clear: float = 1.0
    vent_least: float = 0.3
    vent_most: float = 2.0
    released_kpa: float = 1.0
    released: float = 0.2
    drain: float = 1.0
    pulse: float = 0.1
    recover: float = 0.6
    settle: float = 0.4
    level_covered: float = 0.3
    level_masked: float = 0.3
    level_free: float = 1.0
    air_low_kpa: float = 450.0
    air_low: float = 1.0
    signal_bad: float = 0.3
    link: float = 0.5


@dataclass
class Stopwatch:
    """How long something has been so without a gap."""

    since: float | None = None

    def __call__(self, so: bool, now: float) -> float:
        self.since = (now if self.since is None else self.since) if so else None
        return now - self.since if self.since is not None else -1.0


@dataclass
class Seen:
    """The inputs of one pass."""

    start: bool
    reset: bool
    stop: bool
    safe: bool
    covered: bool
    closed: bool
    open: bool
    vacuum_kpa: float
    air_kpa: float
    signals_good: bool
    life: int


NOTHING_MOVES = ("rest", "fault")
DRAWING = ("draw", "fill", "clear")
FLAP_OPEN = ("drain", "pulse", "recover", "settle")


@dataclass
class Box:
    """One pass is `scan`; all times come in with it."""

    client: Client
    mistake: str = ""
    t: Times = field(default_factory=Times)

    state: str = "rest"
    why: str = ""
    since: float = 0.0
    run: bool = False
    may_hold_product: bool = True  # after power-up nobody knows
    level_high: bool = True
    flap_shut_at: float = 0.0
    life: int = 0
    lost: Stopwatch = field(default_factory=Stopwatch)
    stands_still: Stopwatch = field(default_factory=Stopwatch)
    last_life: int = -1
    last_good: float | None = None
    buttons: tuple[bool, bool] = (True, True)
    watches: dict[str, Stopwatch] = field(default_factory=dict)

    # ---- one pass ------------------------------------------------------------------------------------
    def scan(self, now: float) -> None:
        """Reads, decides, writes."""
        seen = self._read()
        if self._link_is_lost(seen, now):
            self._trip("link", now)
        elif seen is not None:
            self._decide(seen, now)
        self._write(now)

    def _read(self) -> Seen | None:
        bits = self.client.read_discrete_inputs(0, io.CONTACTS)
        words = self.client.read_input_registers(0, io.REGISTERS) if bits else None
        if not bits or not words or words[io.IDENTITY] != io.RIGHT_IDENTITY:
            return None
        vacuum, air = words[io.VACUUM], words[io.SUPPLY]
        return Seen(
            bits[io.START], bits[io.RESET], not bits[io.STOP_NOT_PRESSED], bits[io.SAFETY_CLOSED],
            not bits[io.LEVEL_FREE], bits[io.FLAP_CLOSED], bits[io.FLAP_OPEN],
            (vacuum - 4_000) * 100 / 16_000, (air - 4_000) * 1_000 / 16_000,
            all(3_600 < ua < 21_000 for ua in (vacuum, air)), words[io.DEVICE_LIFE],
        )  # fmt: skip

    def _link_is_lost(self, seen: Seen | None, now: float) -> bool:
        if seen is not None and seen.life != self.last_life:
            self.last_life, self.last_good = seen.life, now
        return self.last_good is None or now - self.last_good > self.t.link

    def _write(self, now: float) -> None:
        self.life = (self.life + 1) % 65_536
        word = sum(on << bit for bit, on in enumerate(self._outputs(now)))
        self.client.write_multiple_registers(io.COMMANDS, [word, self.life])

    # ---- what is so ----------------------------------------------------------------------------------
    def _for(self, what: str, so: bool, now: float) -> float:
        return self.watches.setdefault(what, Stopwatch())(so, now)

    def _look(self, seen: Seen, now: float) -> None:
        """The level, filtered; while the flap is open, and shortly after, it stays as it was."""
        if self.state in ("open", *FLAP_OPEN):
            self.flap_shut_at = now
        masked = now - self.flap_shut_at < self.t.level_masked
        covered = self._for("covered", seen.covered and not masked, now)
        free = self._for("free", not seen.covered and not masked, now)
        if covered >= self.t.level_covered:
            self.level_high = True
        elif free >= (self.t.level_free if self.state == "hold" else self.t.level_covered):
            self.level_high = False
        if self.mistake == "ignores_level":
            self.level_high = False

    def _wrong(self, seen: Seen, now: float) -> str:
        """What must stop everything, wherever it is; empty: nothing."""
        shut, hangs_open = seen.closed and not seen.open, seen.open and not seen.closed
        limits = (
            ("safety chain", not seen.safe, 0.0, True),
            ("flap switches both on", seen.closed and seen.open, 0.1, True),
            ("signal bad", not seen.signals_good, self.t.signal_bad, self.state != "rest"),
            ("supply air low", seen.air_kpa < self.t.air_low_kpa, self.t.air_low, self.state != "rest"),
            ("flap not shut while drawing", not shut, self.t.flap_lost, self.state in DRAWING),
            ("flap not open any more", not hangs_open, self.t.flap_lost, self.state in FLAP_OPEN),
            ("no vacuum", seen.vacuum_kpa < self.t.prove_kpa, self.t.no_vacuum, self.state == "fill"),
        )  # fmt: skip
        for what, so, least, looked_at in limits:
            if self._for(what, so and looked_at, now) >= least and self.state != "fault":
                return what
        return ""

    # ---- deciding ------------------------------------------------------------------------------------
    def _decide(self, seen: Seen, now: float) -> None:
        started, reset = seen.start and not self.buttons[0], seen.reset and not self.buttons[1]
        self.buttons = (seen.start, seen.reset)
        self._look(seen, now)
        if seen.stop:
            self.run = False
        if wrong := self._wrong(seen, now):
            self._trip(wrong, now)
            return
        step = getattr(self, f"_{self.state}")
        step(seen, now, started if self.state == "rest" else reset)

    def _rest(self, seen: Seen, now: float, started: bool) -> None:
        calm = abs(seen.vacuum_kpa) < self.t.released_kpa and seen.air_kpa > self.t.air_low_kpa + 20
        if started and calm and seen.safe and not seen.stop and seen.signals_good and not seen.open:
            self.run = True
            self._go("horn", now)

    def _fault(self, seen: Seen, now: float, reset: bool) -> None:
        if reset and seen.safe and seen.vacuum_kpa < self.t.released_kpa:
            self._go("rest", now)

    def _horn(self, seen: Seen, now: float, _: bool) -> None:
        if not self.run:
            self._go("rest", now)
        elif self._after(self.t.horn, now):
            self._go("hold" if self.level_high else "vent" if self.may_hold_product else "seal", now)

    def _hold(self, seen: Seen, now: float, _: bool) -> None:
        if not self.run:
            self._go("rest", now)
        elif not self.level_high:
            self._go("vent" if self.may_hold_product else "seal", now)

    def _seal(self, seen: Seen, now: float, _: bool) -> None:
        shut = (seen.closed and not seen.open) or self.mistake == "draws_unproven"
        if not self.run:
            self._go("rest", now)
        elif self.level_high:
            self._go("hold", now)
        elif shut and self._after(self.t.charge, now) and now - self.flap_shut_at > 2 * self.t.level_masked:
            self.may_hold_product = True
            self._go("draw", now)
        elif not shut and self._after(self.t.flap_travel, now):
            self._trip("flap does not shut", now)

    def _draw(self, seen: Seen, now: float, _: bool) -> None:
        if not self.run:
            self._go("clear", now)
        elif seen.vacuum_kpa > self.t.prove_kpa:
            self._go("fill", now)
        elif self._after(self.t.prove, now):
            self._trip("no vacuum", now)

    def _fill(self, seen: Seen, now: float, _: bool) -> None:
        if not self.run or self._after(self.t.fill, now):
            self._go("clear", now)

    def _clear(self, seen: Seen, now: float, _: bool) -> None:
        if self._after(self.t.clear, now):
            self._go("vent", now)

    def _vent(self, seen: Seen, now: float, _: bool) -> None:
        released = self._for("released", abs(seen.vacuum_kpa) < self.t.released_kpa, now) >= self.t.released
        if self._after(self.t.vent_least, now) and (released or self.mistake == "opens_under_vacuum"):
            self._go("open", now)
        elif self._after(self.t.vent_most, now):
            self._trip("vacuum is not released", now)

    def _open(self, seen: Seen, now: float, _: bool) -> None:
        if seen.open and not seen.closed:
            self._go("drain", now)
        elif self._after(self.t.flap_travel, now):
            self._trip("flap does not open", now)

    def _drain(self, seen: Seen, now: float, _: bool) -> None:
        if self._after(self.t.drain, now):
            self.may_hold_product = False
            self._go("pulse", now)

    def _pulse(self, seen: Seen, now: float, _: bool) -> None:
        if self._after(self.t.pulse, now):
            self._go("recover", now)

    def _recover(self, seen: Seen, now: float, _: bool) -> None:
        if self._after(self.t.recover, now):
            self._go("settle", now)

    def _settle(self, seen: Seen, now: float, _: bool) -> None:
        if self._after(self.t.settle, now):
            self._go("seal" if self.run else "rest", now)

    def _after(self, seconds: float, now: float) -> bool:
        return now - self.since >= seconds

    def _go(self, state: str, now: float) -> None:
        self.state, self.since, self.why = state, now, ""

    def _trip(self, why: str, now: float) -> None:
        if self.state != "fault":
            self.may_hold_product = True
            self._go("fault", now)
            self.run, self.why = False, why

    # ---- outputs -------------------------------------------------------------------------------------
    def _outputs(self, now: float) -> list[bool]:
        s = self.state
        bits = [False] * io.BITS
        bits[io.SOURCE] = s in DRAWING
        bits[io.OPEN_FLAP] = s in ("open", *FLAP_OPEN)
        bits[io.CLOSE_VENT] = s in ("seal", *DRAWING)
        bits[io.PULSE] = s == "pulse"
        bits[io.PURGE] = s == "clear"
        bits[io.FEED] = s == "fill"
        bits[io.RUN_LAMP] = s not in NOTHING_MOVES and (s != "hold" or now % 1.0 < 0.5)
        bits[io.FAULT_LAMP] = s == "fault"
        bits[io.HORN] = s == "horn"
        return bits


def main() -> None:
    """Runs until it is told to stop."""
    from pyModbusTCP.client import ModbusClient

    told = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    told.add_argument("host")
    told.add_argument("port", type=int)
    told.add_argument("--mistake", choices=MISTAKES, default="")
    told.add_argument("--pass-ms", type=int, default=20)
    asked = told.parse_args()
    client = ModbusClient(host=asked.host, port=asked.port, unit_id=io.UNIT, timeout=0.3, auto_open=True)
    box = Box(client, asked.mistake)
    due = time.monotonic()
    while True:
        box.scan(time.monotonic())
        due = max(due + asked.pass_ms / 1_000, time.monotonic())
        time.sleep(due - time.monotonic() if due > time.monotonic() else 0)


if __name__ == "__main__":
    main()
