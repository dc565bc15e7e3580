"""`receiver simulate`: reads what was asked, runs it, leaves the run folder."""

import json
import sys
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

from controller.clock import WallClock
from controller.problems import install_with, together
from controller.records import CycleRecord, EventRecord, as_document
from controller.reporting.journal import FILE, Journal
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.settings import Station, load_station
from controller.simulate import executors, failures_asked
from controller.simulate.alarm_desk import alarm_load
from controller.simulate.operator import Operator
from controller.simulate.parts_fitted import read_for
from controller.simulate.picture import CyclePicture
from controller.simulate.station_loop import Segment, StationLoop
from controller.simulate.station_run import Explained, StationRun, Totals, Watcher
from controller.simulate.times import milliseconds
from io_sim.constants import derived
from io_sim.parameters import PlantParameters
from io_sim.settings import load_plant

NOTICE = "simulated; ordinary software, not a safety function"
SCAN_MS, STEP_MS = 10, 5


class WrongAsk(Exception):  # noqa: N818
    """The command line asks for what cannot be; says why, and what can."""


class Ask(NamedTuple):
    """A run as asked for, read and checked."""

    folder: Path
    station: Station
    plant: PlantParameters
    for_ms: int
    failures: list[failures_asked.Asked]
    seed: int
    out: Path | None
    explain_ms: int | None
    reset_after_ms: int | None
    executor: str


class Outcome(NamedTuple):
    """All that a run came to."""

    ask: Ask
    totals: Totals
    cycles: list[CycleRecord]
    explained: Explained | None
    never_due: list[str]  # failures asked for whose moment did not come
    took_s: float
    notes: list[str]

    @property
    def good(self) -> bool:
        """Nothing tripped, and every failure asked for came due."""
        return not self.totals.trips and not self.never_due


def read_ask(
    folder: Path,
    *,
    lasts: str,
    fail: Sequence[str],
    seed: int,
    out: Path | None,
    explain: str | None,
    reset_after: str | None,
    executor: str | None,
) -> Ask:
    """
    What was typed, checked against what there is.

    Raises:
        StationError: The station's files are wrong: without them nobody knows what can be asked.
        WrongAsk: Anything on the command line is wrong; all of it at once.
    """
    station, plant = together(lambda: load_station(folder), lambda: load_plant(folder))
    wrong: list[str] = []

    def tried(read: Callable[[str], Any], text: str | None, option: str = "") -> Any:
        try:
            return None if text is None else read(text)
        except ValueError as no:
            wrong.append(f"{option}{no}")
            return None

    presets = station.receiver.presets
    for_ms = tried(milliseconds, lasts, "--for: ")
    asked = [tried(lambda t: read_for(t, folder.name, presets, station.wired), text) for text in fail]
    reset_after_ms = tried(milliseconds, reset_after, "--reset-after: ")
    explain_ms = for_ms if explain == "end" else tried(milliseconds, explain, "--explain: ")
    if for_ms is not None and for_ms % SCAN_MS:
        wrong.append(f"--for: {for_ms} ms is not a whole number of scans of {SCAN_MS} ms")
    if explain_ms is not None and for_ms is not None:
        explain_ms -= explain_ms % SCAN_MS
        if not 0 < explain_ms <= for_ms:
            wrong.append(f"--explain {explain}: is outside the run, which lasts {lasts}")
    if executor is not None and executor not in executors.NAMES:
        wrong.append(f"--executor {executor}: there are {', '.join(executors.NAMES)}")
    if out is not None and (out / FILE).exists():
        wrong.append(f"--out {out}: holds a run already; name another folder, or remove that one")
    elif out is not None and out.is_dir() and any(out.iterdir()):
        wrong.append(f"--out {out}: is not empty and holds no run; name a new folder, or an empty one")
    if wrong:
        raise WrongAsk("\n".join(wrong))
    return Ask(
        folder, station, plant, for_ms, asked, seed, out, explain_ms, reset_after_ms,
        executor or executors.best(),
    )  # fmt: skip


def simulate(ask: Ask, progress: Callable[[int], None]) -> Outcome:
    """
    Runs what was asked; with `out`, leaves journal, picture and run.json there.

    Raises:
        WrongAsk: The executor is not installed.
        JournalError: The folder cannot be written; said before the run begins.
    """
    software, clock, notes = version("vacuum-receiver"), WallClock(), list[str]()
    journal = Journal(ask.out) if ask.out else None
    logic = Logic(RECEIVER)
    chosen = _executor(ask, logic, notes)
    ask = ask._replace(executor=chosen.name)
    loop = StationLoop(
        logic, ask.station.receiver.presets, ask.plant, chosen,
        seed=ask.seed, scan_ms=SCAN_MS, step_ms=STEP_MS,
    )  # fmt: skip
    cycles: list[CycleRecord] = []
    picture = CyclePicture(derived(ask.plant).air_pa) if ask.out else None

    def on_cycle(record: CycleRecord) -> None:
        cycles.append(record)
        if journal:
            journal.add_cycle(record)
        if picture:
            picture.cycle_ended(record)

    def on_events(records: Sequence[EventRecord]) -> None:
        if journal and records:
            journal.add_events(records)

    def on_segment(segment: Segment) -> None:
        if picture:
            picture.take(segment)

    failures = failures_asked.Failures(ask.failures)
    watcher = Watcher(on_cycle, on_events, on_segment)
    run = StationRun(
        loop, ask.station.receiver.presets, Operator(ask.reset_after_ms), failures, watcher, software
    )
    with journal or nullcontext():
        if ask.out:
            _write_run_json(ask, ask.out, software, clock)
        totals = run.run(ask.for_ms, ask.explain_ms, progress)
    if picture and ask.out:
        notes += picture.draw(ask.out, ask.station.receiver.name)
    took_s = clock.now_ms() / 1_000
    return Outcome(ask, totals, cycles, run.explained, failures.left(), took_s, notes)


def check_errors(ask: Ask) -> int:
    """How many errors `receiver check` finds at the station."""
    from controller.station_check.report import judge  # here: with what it imports it takes up to a second

    _, found = judge(ask.plant, ask.station.receiver.presets, ask.station.wired)
    return sum(finding.verdict == "error" for finding in found)


def _executor(ask: Ask, logic: Logic, notes: list[str]) -> executors.Executor:
    try:
        options = executors.options_of(ask.station.receiver.presets)
        return executors.executor(ask.executor, logic, options=options)
    except ModuleNotFoundError as error:
        msg = f"--executor {ask.executor}: needs {error.name}, which is not installed: use "
        msg += f"--executor generated, or run: {install_with('fast')}"
        raise WrongAsk(msg) from error
    except OSError as error:
        notes.append(f"compiled code cannot be kept ({error}); ran the generated scan interpreted instead")
        return executors.executor("generated", logic)


def _write_run_json(ask: Ask, out: Path, software: str, clock: WallClock) -> None:
    """What one needs to run it again."""
    receiver = ask.station.receiver
    document = {
        "station": receiver.name,
        "folder": ask.folder.name,
        "product": receiver.product,
        "simulated": True,
        "notice": NOTICE,
        "version": software,
        "made_utc": clock.date().isoformat(timespec="seconds"),
        "command": ["receiver", *sys.argv[1:]],
        "seed": ask.seed,
        "executor": ask.executor,
        "scan_ms": SCAN_MS,
        "plant_step_ms": STEP_MS,
        "for_ms": ask.for_ms,
        "failures": [asked._asdict() for asked in ask.failures],
        "presets": receiver.presets._asdict(),
        "plant": ask.plant._asdict(),
    }
    (out / "run.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


def as_json(outcome: Outcome) -> str:
    """The outcome as one JSON document."""
    ask, totals = outcome.ask, outcome.totals
    tonnes = totals.delivered_kg / 1_000
    document = {
        "station": ask.station.receiver.name,
        "simulated": True,
        "notice": NOTICE,
        "for_ms": totals.ms,
        "seed": ask.seed,
        "executor": ask.executor,
        "totals": {
            "cycles": len(outcome.cycles),
            "delivered_kg": round(totals.delivered_kg, 3),
            "rate_kg_h": round(totals.delivered_kg * 3_600_000 / totals.ms, 1),
            "air_nm3": round(totals.air_nm3, 3),
            "air_nm3_per_t": round(totals.air_nm3 / tonnes, 1) if tonnes else None,
            "level_stops": totals.level_stops,
            "step_at_end": totals.step,
            "why_at_end": totals.why,
            "alarms": dict(totals.alarms),
            "alarm_load": alarm_load(totals.alarm_load),
            "counters": {name: round(count, 3) for name, count in totals.counters.items()},
            "holds": [hold._asdict() for hold in totals.holds],
            "refusals": [refused._asdict() for refused in totals.refusals],
        },
        "trips": [trip._asdict() for trip in totals.trips],
        "cycles": [as_document(record) for record in outcome.cycles],
        "explained": outcome.explained._asdict() if outcome.explained else None,
        "failures_never_due": outcome.never_due,
        "notes": outcome.notes,
    }
    return json.dumps(document, indent=1)
