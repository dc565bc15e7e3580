"""
Cause and effect at one station: what each interlock line does in which step, and to which outputs.

All of it is read from the tables and the station's presets. A line that can never act at the station, for
want of a wire or by choice, is marked, not left out: who compares two stations sees the same lines.
"""

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from controller.engines.fixed import fixed_at
from controller.events import EVENTS
from controller.sequence.definition import EFFECTS, Interlock, Row
from controller.sequence.logic import Logic
from controller.sequence.made_facts import Line, lines_of
from controller.sequence.phrases import phrase
from controller.settings import Station
from controller.sheets.conditions import Sentences
from controller.sheets.io_list import NOBODY_BY_HAND, can_act, fixed_here, not_wired, station_values
from controller.sheets.limits import limits

MARKS = {"trip": "T", "hold": "H", "wait": "W", "end_batch": "E", "warn": "A"}
"""The letter of each effect in the column of a step."""


@dataclass(frozen=True)
class Effect:
    """One line of the sheet."""

    interlock: str
    words: str  # what is the case, for a person
    cause: str  # the fact
    cause_words: str  # the same for a person
    delay: str  # "at once", the preset with the station's value, or "when" and the times within the cause
    limits: tuple[str, ...]  # the other comparisons with a preset within the cause, with the station's values
    effect: str  # at this station
    acts: bool  # whether it ever can, at this station
    steps: Mapping[str, str]  # a letter of MARKS where it is looked at and acts
    outputs: Mapping[str, str]  # those that change: "on", "off", or "may be on" by a condition


def cause_effect(logic: Logic, station: Station) -> list[Effect]:
    """The lines in the order of the table: of two in one scan the upper is named as the first out."""
    sheet = _Sheet(logic, station)
    return [sheet.effect(line) for line in lines_of(logic.definition.interlocks)]


def outputs_by_step(logic: Logic, station: Station) -> dict[str, dict[str, str]]:
    """Of each wired output: "on" or "may be on" by step, where it is not off."""
    sheet = _Sheet(logic, station)
    return {
        name: {k.name: said for k in logic.steps if (said := sheet.energised(name, k)) != "off"}
        for name in wired_outputs(station)
    }


def wired_outputs(station: Station) -> tuple[str, ...]:
    """The outputs that the station has, in the order of the process image."""
    return tuple(point.name for point in station.points.points if point.kind == "output")


def as_csv(logic: Logic, lines: Iterable[Effect], outputs: Iterable[str]) -> str:
    """The sheet as comma-separated values: a column for each step and each of the `outputs`."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    head = ["interlock", "what is the case", "cause", "fact", "limits", "delay", "effect", "acts here"]
    columns = tuple(outputs)
    writer.writerow([*head, *logic.step_names, *columns])
    for line in lines:
        here = "yes" if line.acts else "never"
        told = [line.interlock, line.words, line.cause_words, line.cause]
        told += ["; ".join(line.limits), line.delay, line.effect, here]
        steps = [line.steps.get(name, "") for name in logic.step_names]
        writer.writerow([*told, *steps, *(line.outputs.get(name, "") for name in columns)])
    return text.getvalue()


class _Sheet:
    """The tables under the presets and the wires of one station."""

    def __init__(self, logic: Logic, station: Station) -> None:
        self.logic = logic
        self.station_presets = station.receiver.presets
        self.presets: Mapping[str, int] = self.station_presets._asdict()
        self.fixed = fixed_here(logic, station)
        self.automatic = fixed_at(logic, self.presets, not_wired(station) | NOBODY_BY_HAND)  # for outputs
        self.values = station_values(station)
        self.sentences = Sentences(logic, self.values, self.presets, self.fixed)

    def effect(self, line: Line) -> Effect:
        i = line.interlock
        effect = i.allowed[self.presets[i.effect]] if i.allowed else i.effect
        acts = can_act(i, self.fixed, self.station_presets)
        times, others = limits(self.sentences, i.cause.name) if acts else ((), ())
        steps = [k for k in i.steps if acts and k in self.fixed.steps]
        return Effect(
            i.name,
            EVENTS[i.name].text,
            i.cause.name,
            phrase(i.cause.name),
            f"when {'; '.join(times)}" if times and i.delay is None else self._delay(i),
            others if i.delay is None else (*times, *others),
            effect,
            acts,
            {self.logic.steps(k).name: MARKS[effect] for k in steps},
            {} if effect == "warn" else self._changes(line, effect, steps),
        )

    def _delay(self, i: Interlock) -> str:
        if i.delay is None:
            return "at once"
        if i.delay in self.values:
            return self.values[i.delay]
        name = i.delay.removeprefix("s.")
        value = f"{self.fixed.facts[name]} ms" if name in self.fixed.facts else "worked out"
        return f"{value} ({phrase(name)})"

    def _changes(self, line: Line, effect: str, steps: list[int]) -> dict[str, str]:
        """What changes at the outputs, from the steps of the line to those that its rows go to."""
        rows = [(k, row) for k in steps if (row := self._row(line, effect, k))]
        found = {}
        for name in self.logic.definition.outputs._fields:
            before = {self.energised(name, k) for k, _ in rows}
            after = {self.energised(name, row.to) for _, row in rows}
            if before != after:
                found[name] = after.pop() if len(after) == 1 else "may be on"
        return found

    def _row(self, line: Line, effect: str, step: int) -> Row | None:
        """The row by which the line moves the machine on from `step`, no stop pending; None if it stays."""
        acts = {f"{name.lower()}_acts" for name in self.logic.interlock_names}
        own = {line.fact, f"{line.interlock.name.lower()}_acts"}
        own |= {line.interlock.cause.name} if effect == "end_batch" else set()
        found = []
        for row in self.logic.rows_from(step):
            reads = self._reads(row.guard.name)
            effects = reads & set(EFFECTS)
            by_effect = effect in effects and not acts & reads - own
            by_itself = own & reads and not effects - {effect}
            if by_effect or by_itself:
                found.append(row)
        return min(found, key=lambda row: row.to == 0, default=None)  # to rest it goes with a stop

    def _reads(self, name: str) -> set[str]:
        """What decides a guard in its scan: itself, the facts it reads, and those that they read."""
        near = {r.name for r in self.logic.reads(name) if r.group == "this"} - {"run", "step"}
        behind = (r for n in (near & self.logic.facts.keys()) - {*EFFECTS} for r in self.logic.reads(n))
        return {name, *near, *(r.name for r in behind if r.group == "this")}

    def energised(self, name: str, step: int) -> str:
        """Whether an output is "on", "off" or "may be on" in a step."""
        lines = [
            o
            for o in self.logic.definition.output_lines
            if o.name == name
            and step in o.steps
            and not (o.when and self.automatic.facts.get(o.when.name) == 0)
        ]
        if any(line.when is None and line.unless is None for line in lines):
            return "on"
        return "may be on" if lines else "off"
