"""
A station in real time: read, decide, write, and tell; once in every scan.

Whoever asks for something runs on the same loop: it acts at a scan, never between.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

from controller.explain import Scene
from controller.image import JOG, Inputs, Outputs
from controller.live.desk import ITSELF, By, Desk, Value
from controller.live.kept_presets import Changed
from controller.live.live_io import LiveIo
from controller.live.live_scans import LiveScans
from controller.panel.held_back import dropped_by, held_back
from controller.port import IoError
from controller.records import Deed
from controller.scan.agreement import AgreeingScan, DisagreementError
from controller.scan.lateness import RECENT, Lateness
from controller.scan.ticker import Tick, Ticks
from controller.sequence.presets import Presets
from controller.sequence.steps import Step
from controller.simulate.cycle_book import AIR_TOTALS
from controller.simulate.segment import Segment
from controller.simulate.station_watch import Given, StationWatch, Watcher

LONGEST_DT_MS = 1_000
"""The longest time between two scans that the sequence is proved for; longer ones count as this."""
LATE_MOST = 1_000_000
FILES = "the station's files"
TOLD_OF_PLANT = ("delivered_kg", *AIR_TOTALS)


class Ended(NamedTuple):
    """Why a rig ended."""

    said: str
    good: bool  # it was asked to; False: by a fault of its own


class Rig:
    """
    One controller over one port.

    `run` drives it; `scan` is one scan, for whoever holds the time himself. People come in through `desk`.
    """

    def __init__(
        self,
        scan: AgreeingScan,
        presets: Presets,
        io: LiveIo,
        watcher: Watcher,
        *,
        software: str,
        date: datetime = datetime(1970, 1, 1, tzinfo=UTC),
        scan_ms: int = 10,
        kept: Mapping[str, int] | None = None,
        keep: Callable[[Any, int], None] = lambda memory, now_ms: None,
        deed: Callable[[Deed], None] = lambda deed: None,
    ) -> None:
        """
        At power-up.

        Args:
            scan: The sequence.
            presets: Of the station.
            io: What it runs on.
            watcher: Is told what happens.
            software: Version, for the records.
            date: Of power-up, until `power_up` says another.
            scan_ms: Time from scan to scan.
            kept: Memory that was kept through the loss of power.
            keep: Is shown memory and time after each scan.
            deed: Is told what people do.
        """
        self.logic, self.presets, self.io = scan.logic, presets, io
        self._scan, self._keep, self._deed, self._scan_ms, self._date = scan, keep, deed, scan_ms, date
        reading = io.machine.reading if io.machine else None
        self._scans = LiveScans(scan.logic, scan_ms, TOLD_OF_PLANT, reading)
        self.watch = StationWatch(
            scan.logic, presets, watcher, software=software, simulated=not io.real, dated=self.dated,
            known_beside={"IO_LOST": self._whose_fault},
        )  # fmt: skip
        self.desk = Desk(io.machine, self.tell, self._done)
        self.lateness = Lateness()
        self.memory = scan.logic.power_up(dict(kept or {}))
        self.inputs, self.outputs = Inputs(), Outputs()
        self._before: tuple[Any, int] = self.memory, scan_ms
        self._late = self._stood_ms = 0
        self.fell: tuple[str, ...] = ()
        """Why the output that was held by hand last is held no more; empty: it was let go."""
        self.hold_waits = False
        """An output is asked for, and its horn sounds first: what would drop it stands in `fell` too."""
        self.scans = 0
        """Since power-up."""
        self.link = ""
        """What is wrong with the link to the I/O, in words; empty while images come."""
        self._segment: Segment | None = None

    @property
    def now_ms(self) -> int:
        """Since power-up, as the sequence lived it."""
        return self._scans.now_ms

    @property
    def remote_in_control(self) -> bool:
        """The remote place has control, not the machine: the selector says so, or it was handed over."""
        handed = self.desk.remote_control
        return self.inputs.remote_selected if self.presets.selector_fitted else handed

    def power_up(self, date: datetime, changed: Sequence[Changed] | None = None) -> None:
        """
        Time 0, with its date.

        `changed`: the presets that are not what they were in the run before; None: of that nothing is known.
        """
        self._date = date
        self.tell("POWER_UP", "power-up, all safe")
        compared = "none known" if changed is None else f"{len(changed)} presets changed"
        self._done(ITSELF, "power up", io=self.io.said, run_before=compared)
        for preset in changed or ():
            self.tell("PRESET_CHANGED", preset.said)
            self._done(By(FILES), "preset", name=preset.name, before=preset.before, now=preset.now)

    async def run(self, ticks: Ticks, for_ms: int | None, stop: Callable[[], str]) -> Ended:
        """
        Scans until the time is over or `stop` says why to end; then, or when it raises, the outputs are safe.

        A closed port and engines that disagree end it too.
        """
        try:
            while not (said := stop()):
                if for_ms is not None and self.now_ms >= for_ms:
                    return Ended("the time is over", True)
                self.scan(await ticks.next())
            return Ended(said, True)
        except (DisagreementError, IoError) as fault:
            return Ended(str(fault), False)
        finally:
            self.outputs = Outputs()
            with suppress(IoError):  # a closed port went to its safe values by itself
                self.io.port.write(self.outputs)
            self.desk.close("the controller has ended")

    def warm_up(self) -> None:
        """What is built when it is first needed is built now: no scan has to wait for it."""
        memory = self.memory._replace(step=int(Step.CONVEY))
        inputs = Inputs(safety_chain_healthy=False, image_age_ms=LONGEST_DT_MS)
        self._scan.scan(memory, inputs, self._scan_ms)
        scene = self.watch.scene(memory, inputs, self._scan_ms)
        scene.waiting()
        for name in self.logic.interlock_names:
            scene.grounds_of_interlock(name)

    def finish(self, said: str) -> None:
        """After the last scan: the records are completed."""
        for segment in self._scans.cut():
            self._look(segment, ())
        if self._segment is not None:
            self.watch.unfinished(self._segment)
        self.tell("CONTROLLER_ENDED", said)
        self._done(ITSELF, "end", said=said)

    def scan(self, tick: Tick) -> None:
        """
        One scan.

        Raises:
            IoError: The port is closed.
            DisagreementError: The engines do not say the same; nothing was written.
        """
        self.scans += 1
        self.lateness.take(tick.late_us, tick.missed)
        self._late = min(self._late + tick.missed, LATE_MOST) if tick.missed else 0
        passed_ms = self._scan_ms * (1 + tick.missed)
        dt_ms = min(passed_ms, LONGEST_DT_MS)
        self._stood_ms += passed_ms - dt_ms
        health = self.io.health()  # before this scan itself can be held up
        wired = self.io.port.read()._replace(scans_late=self._late)
        inputs, before = self.desk.over(wired, self.memory, self.now_ms), self.memory
        done = self._scan.scan(before, inputs, dt_ms)
        self.io.port.write(done.outputs)
        self._before, self.memory, self.inputs, self.outputs = (
            (before, dt_ms),
            done.memory,
            inputs,
            done.outputs,
        )
        if self.hold_waits:
            self.fell = self.fell or dropped_by(self.logic, self.laid_open())
        elif before.jogged and not self.memory.jogged:
            self.fell = held_back(self.logic, self.laid_open(), JOG[before.jogged])
        given = self.desk.given(inputs, self.memory.jogged, self.fell)
        for segment in self._scans.take(dt_ms, before, inputs, done, cut=bool(given)):
            self._look(segment, given if segment.last_ms == self.now_ms else ())
        self._keep(self.memory, self.now_ms)
        if (health.state == "bad") != bool(self.link):
            self.link = "" if self.link else f"bad: {health.said}"
            is_ours = self.link and self.lateness.recent
            self.tell("LINK_CHANGED", self.link or "good", self._whose_fault()[:1] if is_ours else ())

    def laid_open(self) -> Mapping[str, int]:
        """Every fact of the last scan."""
        memory, dt_ms = self._before
        return self.watch.scene(memory, self.inputs, dt_ms).facts

    def next_scene(self, **asked: bool) -> Scene:
        """The next scan laid open, if no input changes but that this is asked for."""
        nothing = {name: False for name in Inputs._fields if name.endswith("_request")}
        inputs = self.inputs._replace(**nothing | {"request_remote": False} | asked)
        return self.watch.scene(self.memory, inputs, self._scan_ms)

    def _look(self, segment: Segment, given: Sequence[Given]) -> None:
        self._segment = segment
        self.desk.answered(self.watch.look(segment, given).answers)

    def _whose_fault(self) -> tuple[str, ...]:
        """That inputs are old: how late this program was, and what the link last failed with."""
        missed = f"the controller itself missed {self.lateness.recent or 'none'} of its last {RECENT} scans"
        return tuple(filter(None, (missed, self.io.health().said)))

    def tell(self, name: str, what: str, grounds: Sequence[str] = ()) -> None:
        """Writes down an event of now."""
        self.watch.tell(name, what, grounds, at_ms=self.now_ms)

    def clock_set(self, by: timedelta) -> None:
        """The machine's clock was set: records bear its date from here on."""
        was = self.dated(self.now_ms).isoformat(timespec="milliseconds")
        self._date += by
        what = f"set by {by.total_seconds():+.1f} s"
        self.tell("CLOCK_CHANGED", what, (f"the date was {was}",))
        self._done(ITSELF, "clock", change=what, was=was)

    def records_lost(self, count: int, why: str) -> None:
        """Written down in the journal, and in the audit log, which has no number that would be missing."""
        self.tell("RECORDS_LOST", f"{count} records", (why,))
        self._done(ITSELF, "lose records", records=count, why=why)

    def _done(
        self, by: By, command: str, *, result: str = "done", reasons: Sequence[str] = (), **parameters: Value
    ) -> None:
        utc = self.dated(self.now_ms).isoformat(timespec="milliseconds")
        if by.area_clear_by:
            parameters["area_clear_by"] = by.area_clear_by
        self._deed(Deed(self.now_ms, utc, by.who, by.place, command, parameters, result, tuple(reasons)))

    def dated(self, at_ms: int) -> datetime:
        """The date of a time since power-up."""
        return self._date + timedelta(milliseconds=at_ms + self._stood_ms)
