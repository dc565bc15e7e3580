"""What is wrong with a run of a failure mode: against its row, and against what must hold in every run."""

from collections.abc import Sequence
from statistics import median

from failure_expectations.table import Row, Then
from failure_runs import LONGEST_MS, Run, Worst, station

from controller.records import CycleRecord
from controller.sequence.steps import VACUUM_HELD

SCANS_MS = 30
"""Of a reaction: the scan that sees, the one that acts, and the image between."""
EXCUSED = {
    "vessel full": {
        "level_probe_stuck_free": "nothing sees the level",
    },
}
"""What may break which invariant, and why nobody could know."""


def wrong(row: Row, name: str, seen: Run) -> list[str]:
    """Each way in which the run is not what was expected; empty: all is well."""
    then = row.at(name).then
    if not seen.begun:
        return ["the failure never began"]
    return [*wrong_trip(then, seen), *wrong_alarms(then, seen), *wrong_batches(then, seen), *broken(row, name, seen.worst)]


def wrong_trip(then: Then, seen: Run) -> list[str]:
    """First-out, and when."""
    if not then.trips:
        return [f"tripped {seen.trip} after {seen.trip_s:g} s"] if seen.trip else []
    if seen.trip not in then.trips:
        return [f"tripped {seen.trip or 'nothing'} after {seen.trip_s:g} s, not {'|'.join(then.trips)}"]
    return [f"{seen.trip} after {seen.trip_s:g} s, not {then.within_s:g}"] if seen.trip_s > then.within_s else []


def wrong_alarms(then: Then, seen: Run) -> list[str]:
    """What must act, and in what time; what must not act; the hold; the refusal."""
    found = [f"{name} acted besides, after {s:g} s" for name, s in seen.acted.items() if name not in then.allowed]
    for name, within_s in then.acts:
        if seen.acted.get(name, LONGEST_MS) > within_s:
            found.append(f"{name} acted {after(seen.acted.get(name))}, not within {within_s:g} s")
    if then.hold and seen.holds.get(then.hold, LONGEST_MS) > then.hold_within_s:
        found.append(f"held '{then.hold}' {after(seen.holds.get(then.hold))}, not within {then.hold_within_s:g} s")
    usual = (then.hold, "vessel full")
    found += [f"held '{why}' after {s:g} s" for why, s in seen.holds.items() if why not in usual]
    if seen.refused != then.refused:
        found.append("the start was refused" if seen.refused else "the start was not refused")
    return found


def after(seconds: float | None) -> str:
    return "never" if seconds is None else f"after {seconds:g} s"


def wrong_batches(then: Then, seen: Run) -> list[str]:
    """Whole batches that must go on, and the record that must show the failure."""
    before, since = batches(seen, before=True), batches(seen, before=False)
    found = []
    if then.delivers and not any(r.delivered_kg > 0.5 * before[-1].delivered_kg for r in since):
        found.append(f"no whole batch in {seen.lasted_s:g} s")
    if then.shows:
        moved = moved_percent(then.shows.field, before, since)
        if moved is None or (moved < then.shows.percent if then.shows.percent > 0 else moved > then.shows.percent):
            text = "no figure" if moved is None else f"moved {moved:+.1f} %"
            found.append(f"{then.shows.field} {text}, not {then.shows.percent:+g} %")
    return found


def batches(seen: Run, *, before: bool) -> list[CycleRecord]:
    """Whole batches that ended before the failure, or began after it."""
    at_ms = seen.begun_s * 1_000
    return [
        r
        for r in seen.records
        if r.kind == "batch"
        and r.result == "complete"
        and (r.start_ms + r.ms <= at_ms if before else r.start_ms >= at_ms)
    ]


def moved_percent(field: str, before: Sequence[CycleRecord], since: Sequence[CycleRecord]) -> float | None:
    """How far the last two batches are from those before the failure."""
    then, now = ([v for r in some if (v := getattr(r, field)) is not None] for some in (before, since[-2:]))
    return 100 * (median(now) / median(then) - 1) if then and now and median(then) else None


def broken(row: Row, name: str, worst: Worst) -> list[str]:
    """Invariants that did not hold and are not excused."""
    presets = station(name).presets
    reaction_ms = presets.contact_debounce_ms + presets.flap_lost_ms + SCANS_MS
    if presets.flap_kind == VACUUM_HELD:
        reaction_ms += presets.flap_pull_in_ms
    found = {
        "flap open": worst.flap_open_ms > reaction_ms and f"the source acted for {worst.flap_open_ms} ms with the flap open",
        "vessel full": worst.vessel_share > 0.999 and "the vessel below filled up to the flap",
        "pulse": worst.pulse_vacuum_pa > presets.release_pa and f"a pulse into {worst.pulse_vacuum_pa:.0f} Pa of vacuum",
        "fault": bool(worst.unsafe) and f"in FAULT energised: {', '.join(worst.unsafe)}",
    }
    return [text for key, text in found.items() if text and row.mode not in EXCUSED.get(key, {})]
