"""`receiver simulate`: reads what was asked, runs it, leaves the run folder."""

import json
import sys
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

from controller.clock import WallClock
from controller.problems import install_with, together
from controller.records import CycleRecord, EventRecord, as_document
from controller.reporting.journal import Journal, not_a_new_folder
from controller.sequence.logic import Logic
from controller.settings import Station, load_station
from controller.simulate import executors, failures_asked, run_end
from controller.simulate.alarm_desk import alarm_load
from controller.simulate.operator import Operator
from controller.simulate.parts_fitted import read_for
from controller.simulate.picture import CyclePicture
from controller.simulate.run_trace import RunTrace
from controller.simulate.segment import Segment
from controller.simulate.station_loop import StationLoop
from controller.simulate.station_run import AT_END, StationRun
from controller.simulate.station_watch import Explained, Totals, Watcher
from controller.simulate.times import milliseconds, typed
from controller.station_check.findings import Finding
from controller.station_check.findings_steps import sequence
from controller.station_check.report import errors
from controller.trace.header import Header, header_of
from io_sim.constants import derived
from io_sim.parameters import PlantParameters
from io_sim.settings import load_plant

NOTICE = "simulated; ordinary software, not a safety function"
SCAN_MS, STEP_MS = 10, 5
LEAST_KG, LEAST_NM3 = 0.01, 0.001


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
    until: run_end.Until | None = None


class Outcome(NamedTuple):
    """All that a run came to."""

    ask: Ask
    totals: Totals
    cycles: list[CycleRecord]
    explained: Explained | None
    never_due: list[str]  # what was asked for and whose moment did not come
    took_s: float
    notes: list[str]

    @property
    def good(self) -> bool:
        """Nothing tripped, and all that was asked for came due."""
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
    until: str | None = None,
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
    ends = tried(run_end.read, until)
    explain_ms = AT_END if explain == "end" else tried(milliseconds, explain, "--explain: ")
    if for_ms is not None and for_ms % SCAN_MS:
        wrong.append(f"--for: {for_ms} ms is not a whole number of scans of {SCAN_MS} ms")
    if explain_ms is not None and explain_ms != AT_END and for_ms is not None:
        explain_ms -= explain_ms % SCAN_MS
        if not 0 < explain_ms <= for_ms:
            wrong.append(f"--explain {explain}: is outside the run, which lasts {lasts}")
    if executor is not None and executor not in executors.NAMES:
        wrong.append(f"--executor {executor}: there are {', '.join(executors.NAMES)}")
    if out is not None and (why := not_a_new_folder(out)):
        wrong.append(f"--out {out}: {why}")
    if wrong:
        raise WrongAsk("\n".join(wrong))
    return Ask(
        folder, station, plant, for_ms, asked, seed, out, explain_ms, reset_after_ms,
        executor or executors.best(), ends,
    )  # fmt: skip


def simulate(ask: Ask, progress: Callable[[int], None]) -> Outcome:
    """
    Runs what was asked; with `out`, leaves journal, trace, picture and run.json there.

    Raises:
        WrongAsk: The executor is not installed.
        JournalError, TraceError: The folder cannot be written; said before the run begins.
    """
    software, clock, notes = version("vacuum-receiver"), WallClock(), list[str]()
    journal = Journal(ask.out) if ask.out else None
    logic = sequence()
    chosen = _executor(ask, logic, notes)
    ask = ask._replace(executor=chosen.name)
    loop = StationLoop(
        logic, ask.station.receiver.presets, ask.plant, chosen,
        seed=ask.seed, scan_ms=SCAN_MS, step_ms=STEP_MS,
    )  # fmt: skip
    cycles: list[CycleRecord] = []
    picture = CyclePicture(derived(ask.plant).air_pa) if ask.out else None
    trace = RunTrace(ask.out, _header(ask, logic, software), loop.layout) if ask.out else None

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
        if trace:
            trace.take(segment)
        if picture:
            picture.take(segment)

    failures, end = failures_asked.Failures(ask.failures), run_end.RunEnd(ask.until)
    watcher = Watcher(on_cycle, on_events, on_segment)
    run = StationRun(
        loop, ask.station.receiver.presets, Operator(ask.reset_after_ms), failures, watcher, software, end
    )
    with journal or nullcontext(), trace or nullcontext():
        if ask.out:
            _write_run_json(ask, ask.out, software, clock)
        totals = run.run(ask.for_ms, ask.explain_ms, progress)
        if journal:
            journal.lasted(totals.ms)
    if picture and ask.out:
        notes += picture.draw(ask.out, ask.station.receiver.name)
    took_s = clock.now_ms() / 1_000
    never = failures.left()
    never += [f"--until {ask.until.said}"] if ask.until and not end.reached else []
    if ask.explain_ms and not run.explained:
        never.append(f"--explain {typed(ask.explain_ms)}, after the end of the run")
    return Outcome(ask, totals, cycles, run.explained, never, took_s, notes + _between(totals, cycles))


def found_errors(ask: Ask) -> tuple[Finding, ...]:
    """The errors that `receiver check` finds at the station: a run shows nothing that could be built so."""
    return _errors(ask.plant, ask.station.receiver.presets, ask.station.wired)


_errors = cache(errors)


def check_errors(ask: Ask) -> int:
    """How many errors `receiver check` finds at the station."""
    return len(found_errors(ask))


def _between(totals: Totals, cycles: Sequence[CycleRecord]) -> list[str]:
    """What the totals count and no cycle does, where it shows in the places that are printed."""
    kg, nm3 = (round(x, 3) for x in outside(totals, cycles))
    if kg < LEAST_KG and nm3 < LEAST_NM3:
        return []
    said = f"Outside the cycles: {kg:.2f} kg, {nm3:.3f} Nm3 (flap closing, tanks filling, fault)"
    return [f"{said}; the totals count them, no cycle does."]


def outside(totals: Totals, cycles: Sequence[CycleRecord]) -> tuple[float, float]:
    """Product [kg] and air [Nm3] of the totals that fell or flowed while no cycle ran."""
    kg = totals.delivered_kg - sum(record.delivered_kg or 0 for record in cycles)
    return kg, totals.air_nm3 - sum(record.air_nm3 or 0 for record in cycles)


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


def _header(ask: Ask, logic: Logic, software: str) -> Header:
    """The header of the trace."""
    receiver = ask.station.receiver
    return header_of(logic, receiver, ask.folder, software=software, scan_ms=SCAN_MS, seed=ask.seed)


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
        "until": ask.until.said if ask.until else None,
        "failures": [asked._asdict() for asked in ask.failures],
        "presets": receiver.presets._asdict(),
        "plant": ask.plant._asdict(),
    }
    (out / "run.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


def as_json(outcome: Outcome) -> str:
    """The outcome as one JSON document."""
    ask, totals = outcome.ask, outcome.totals
    tonnes = totals.delivered_kg / 1_000
    outside_kg, outside_nm3 = outside(totals, outcome.cycles)
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
            "outside_cycles_kg": round(outside_kg, 3),
            "outside_cycles_nm3": round(outside_nm3, 3),
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
        "check_errors": [f"{finding.what}: {finding.change}" for finding in found_errors(ask)],
        "failures_never_due": outcome.never_due,
        "notes": outcome.notes,
    }
    return json.dumps(document, indent=1)
