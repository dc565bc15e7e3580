"""The cycle book: reads the trace, segment by segment, and writes one record for each cycle."""

from collections.abc import Mapping, Sequence
from hashlib import sha256
from statistics import fmean
from typing import NamedTuple

from controller.explain import Scene
from controller.records import CycleRecord, StepTaken
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.steps import (
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    FAULT,
    HOUR_MS,
    LEVEL_HOLD,
    PURGE,
    REOPEN,
    REST,
    SEAL,
    SETTLE,
    TO_CLEAN,
    VENT,
    WORKING,
    Step,
)
from controller.simulate.cycle_measures import Gauges, Measures
from controller.simulate.segment import Segment

ON_BOARD = ("no", "yes", "unknown")
AIR_KG_NM3 = 101_325 / (287.05 * 273.15)
"""Dry air at 0 degrees C, 101.325 kPa (DIN 1343), ideal gas [kg/m3]."""
AIR_TOTALS = ("motive_air_kg", "pulse_air_kg", "cylinder_air_kg")
RECIPE_DIGITS = 8
FILLING = (PURGE, DRAW, CONVEY)
FILL_ENDS = {
    "fill over": "time",
    "has vacuum filled": "time",
    "line is empty": "empty",
    "stop feeding": "stop",
    "level ends batch": "level",
    "batch too high": "vacuum",
    "dp ends batch": "filter",
    "air wait": "air",
    "halt": "halt",
}
"""The guard that ended the fill, and the word for it."""


class _Totals(NamedTuple):
    """Of the plant since power-up."""

    delivered_kg: float
    air_kg: float


class _Cycle:
    """A cycle that is running: what has been seen of it."""

    def __init__(
        self, number: int, start_ms: int, start_utc: str, kind: str, start: Mapping[str, int]
    ) -> None:
        self.number, self.start_ms, self.start_utc, self.kind = number, start_ms, start_utc, kind
        self.on_board, self.line_loaded = ON_BOARD[start["on_board"]], bool(start["line_loaded"])
        self.steps: list[StepTaken] = []
        self.fill_ended_by = ""
        self.seen = Measures()
        self.retries = self.resumes = 0
        self.alarms: list[str] = []


class CycleBook:
    """
    Feed it every segment of a run, in order, with the scene of the last scan where the step changed.

    A cycle begins when the machine leaves rest, hold or the cycle before for a working step, and ends when
    the next begins or the machine stands. One that never drew, opened or tripped leaves no record.
    """

    def __init__(self, logic: Logic, presets: Presets, *, software: str, simulated: bool) -> None:
        self._places = {name: k for k, name in enumerate(logic.memory)}
        self._software, self._simulated = software, simulated
        self._recipe = sha256(repr([int(value) for value in presets]).encode()).hexdigest()[:RECIPE_DIGITS]
        self._line_empty_pa = presets.line_empty_pa
        self._gauges = Gauges(presets)
        self._between = Measures()  # while no cycle runs
        self._cycle: _Cycle | None = None
        self._number = 0
        self._step_since_ms = 0
        self._at_start: _Totals | None = None

    def take(
        self, segment: Segment, scene: Scene | None, utc: str, raised: Sequence[str]
    ) -> CycleRecord | None:
        """
        Takes note of a segment; returns the record of the cycle that ended in it.

        Args:
            segment: The next scans of the run.
            scene: Its last scan laid open, if that changed the step.
            utc: The date of its last scan, ISO 8601.
            raised: Interlocks that began to act in its last scan.
        """
        before = segment.memory_before[self._places["step"]]
        if self._cycle:
            self._gauges.read(segment, before, self._cycle.seen)
            self._cycle.alarms += raised
        self._gauges.follow(segment, self._cycle.seen if self._cycle else self._between)
        if scene is None:
            return None
        return self._step_changed(segment, scene, Step(before), Step(scene.facts["step"]), utc)

    def unfinished(self, segment: Segment) -> CycleRecord | None:
        """The record of the cycle that the end of the run broke off."""
        if self._cycle is None:
            return None
        step = segment.column("step")[-1]
        self._step_ended(self._cycle, Step(step), segment.last_ms, "")
        return self._close(segment, "unfinished")

    # ---- beginning and ending --------------------------------------------------------------------------
    def _step_changed(
        self, segment: Segment, scene: Scene, before: Step, after: Step, utc: str
    ) -> CycleRecord | None:
        cycle, done = self._cycle, None
        held = {before, after} == {VENT, LEVEL_HOLD}  # the batch stands in the receiver meanwhile
        goes_on = held or bool(scene.facts["broken_off"])
        if cycle:
            self._step_ended(cycle, before, segment.last_ms, scene.reason())
            if before == CONVEY and cycle.fill_ended_by == "time" and scene.facts["receiver_full"]:
                cycle.fill_ended_by = "full"
            cycle.retries += after == REOPEN
            cycle.resumes += before == LEVEL_HOLD and after in WORKING and not held
            if result := self._result(before, after, scene, goes_on):
                done = self._close(segment, result)
        if after in WORKING and self._cycle is None:
            self._open(segment, scene, after, utc)
        self._step_since_ms = segment.last_ms
        return done

    def _result(self, before: Step, after: Step, scene: Scene, goes_on: bool) -> str:
        """How the cycle ended with this change of step; empty if it goes on."""
        if after == FAULT:
            return f"trip {scene.first_out()}"
        if after == REST and scene.facts["halted"]:
            return "halt"
        if before in (DRAIN, SETTLE) and after in (REST, LEVEL_HOLD, SEAL):
            return "complete"
        if after == REST or (after == LEVEL_HOLD and not goes_on):
            return "stop"
        return "complete" if before == LEVEL_HOLD and not goes_on else ""

    def _step_ended(self, cycle: _Cycle, step: Step, now_ms: int, reason: str) -> None:
        cycle.steps.append(StepTaken(step.name, now_ms - self._step_since_ms, reason))
        if step in FILLING and reason:
            by = FILL_ENDS.get(reason, "trip" if reason.isupper() else "")
            cycle.fill_ended_by = by or cycle.fill_ended_by
        if step == CLEAR and reason != "line empty" and not self._is_empty(cycle.seen.air_only):
            cycle.seen.air_only = None

    def _is_empty(self, vacuum_pa: int | None) -> bool:
        """Whether a clear that ended by its time left the line empty, with only the delay not over."""
        return vacuum_pa is not None and vacuum_pa < self._line_empty_pa

    def _open(self, segment: Segment, scene: Scene, step: Step, utc: str) -> None:
        kind = "batch" if step == SEAL else "clean" if scene.facts["order"] == TO_CLEAN else "emptying"
        self._number += 1
        self._cycle = _Cycle(self._number, segment.last_ms, utc, kind, scene.facts)
        self._cycle.seen.closing_ms = self._between.closing_ms  # before a hold the flap closes between cycles
        self._between = Measures()
        self._at_start = self._totals(segment)

    def _close(self, segment: Segment, result: str) -> CycleRecord | None:
        cycle, self._cycle = self._cycle, None
        assert cycle is not None
        moved = any(Step[taken.step] not in (SEAL, LEVEL_HOLD) for taken in cycle.steps)
        if not moved and not result.startswith("trip"):
            self._number -= 1
            self._between = cycle.seen
            return None
        return self._record(cycle, result, self._totals(segment))

    def _record(self, cycle: _Cycle, result: str, now: _Totals | None) -> CycleRecord:
        seen, (kg, air_nm3) = cycle.seen, self._since_start(now)
        convey_ms = sum(taken.ms for taken in cycle.steps if taken.step == CONVEY.name)
        dropped = cycle.kind == "batch" and result == "complete" and convey_ms
        return CycleRecord(
            number=cycle.number,
            kind=cycle.kind,
            start_utc=cycle.start_utc,
            start_ms=cycle.start_ms,
            steps=tuple(cycle.steps),
            result=result,
            fill_ended_by=cycle.fill_ended_by,
            vacuum_peak_pa=max(seen.drawing_peak, default=None),
            vacuum_mean_pa=seen.vacuum_mean,
            vacuum_air_only_pa=seen.air_only,
            draw_ms=seen.draw_ms,
            release_ms=seen.release_ms,
            filter_dp_cleaned_pa=round(fmean(seen.dp_cleaned)) if seen.dp_cleaned else None,
            filter_dp_laden_pa=round(fmean(seen.dp_laden)) if seen.dp_laden else None,
            flap_opening_ms=seen.opening_ms,
            flap_closing_ms=seen.closing_ms,
            pulses=seen.pulses,
            supply_lowest_pa_g=min(seen.supply_lowest, default=None),
            supply_resting_pa_g=seen.supply_resting,
            delivered_kg=kg,
            fill_rate_kg_h=round(kg * HOUR_MS / convey_ms, 1) if dropped and kg is not None else None,
            air_nm3=air_nm3,
            flap_retries=cycle.retries,
            resumes=cycle.resumes,
            on_board=cycle.on_board,
            line_loaded=cycle.line_loaded,
            alarms=tuple(dict.fromkeys(cycle.alarms)),
            recipe=self._recipe,
            software=self._software,
            simulated=self._simulated,
        )

    def _since_start(self, now: _Totals | None) -> tuple[float | None, float | None]:
        """Product [kg] and air [Nm3] of the cycle that ends now; None where no plant tells them."""
        if now is None or self._at_start is None:
            return None, None
        kg, air_kg = now.delivered_kg - self._at_start.delivered_kg, now.air_kg - self._at_start.air_kg
        return round(kg, 6), round(air_kg / AIR_KG_NM3, 6)

    def _totals(self, segment: Segment) -> _Totals | None:
        if not (delivered_kg := segment.reading("delivered_kg")):
            return None
        air_kg = sum(segment.reading(name)[-1] for name in AIR_TOTALS)
        return _Totals(delivered_kg[-1], air_kg)
