"""A claim that fails, shown as a table of scans: what the solver found, run again on the rules as written."""

import ast
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from controller.engines.as_written import AsWritten, on_rows
from controller.engines.terms import Scans
from controller.sequence.expressions import Read, reads_of
from controller.sequence.logic import Logic
from controller.sequence.reasons import reason


@dataclass(frozen=True)
class Counterexample:
    """Scans that end in one where the claim does not hold."""

    start: str  # where the first scan stands
    table: list[list[str]]  # rows of: name, before, scan 1, scan 2 ...; the first row is the heading
    doubt: str  # why it may be no counterexample, or ""

    def __str__(self) -> str:
        if not self.table:
            return self.start
        widths = [max(map(len, column)) for column in zip(*self.table, strict=True)]
        lines = [
            "    " + "  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip()
            for row in self.table
        ]
        return "\n".join([self.start + (f" ({self.doubt})" if self.doubt else ""), *lines])


Run = list[dict[Read, int]]
"""The values of everything that can be read, scan by scan."""


def replayed(
    logic: Logic, scans: Scans, model: Any, length: int, claim: ast.expr, start: str
) -> Counterexample:
    """The model of the last of `length` scans in which `claim` fails, as a counterexample."""
    run = _run(logic, scans, model, length)
    doubt = ""
    if reason(claim, run[-1], logic.constants).value:
        doubt = "run as written it holds: the solver takes percent for any value within its bounds"
    said = {Read("this", r.name) if r.group == "was" else r for r in reads_of(claim)}
    return Counterexample(start, _table(logic, run, _cone(logic, run, claim), said), doubt)


def _run(logic: Logic, scans: Scans, model: Any, length: int) -> Run:
    d = logic.definition

    def found(scan: int, group: str, defaults: Mapping[str, int]) -> dict[str, int]:
        return {n: _value(scans, model, scan, Read(group, n), v) for n, v in defaults.items()}

    presets = d.presets(**found(0, "set", _defaults(d.presets, d.limits, logic)))
    memory = logic.Memory(**found(0, "was", logic.memory))
    engine, run = AsWritten(logic, on_rows), []
    for n in range(length):
        inputs = d.inputs(**found(n, "now", _defaults(d.inputs, d.ranges, logic)))
        dt_ms = _value(scans, model, n, Read("this", "dt_ms"), 10)
        facts = engine.all_facts(memory, inputs, presets, dt_ms)
        run.append(
            {Read("this", "dt_ms"): dt_ms}
            | {Read("now", k): v for k, v in inputs._asdict().items()}
            | {Read("set", k): v for k, v in presets._asdict().items()}
            | {Read("was", k): v for k, v in memory._asdict().items()}
            | {Read("this", k): v for k, v in facts.items()}
        )
        memory = logic.Memory(**{k: facts[k] for k in logic.memory})
    return run


def _value(scans: Scans, model: Any, scan: int, read: Read, default: int) -> int:
    import z3

    term = scans.unknowns.get((scan, read))
    found = None if term is None else model[term]
    if found is None:
        return default
    return z3.is_true(found) if z3.is_bool(found) else int(found.as_long())


def _defaults(record: Any, limits: Mapping[str, tuple[int, int]], logic: Logic) -> dict[str, int]:
    """A value for what the model leaves open."""
    return {n: record._field_defaults.get(n, limits.get(n, (0, 0))[0]) for n in record._fields}


def _cone(logic: Logic, run: Run, claim: ast.expr) -> set[tuple[int, Read]]:
    """What decided the value of the claim in the last scan, back to inputs, presets and first memory."""
    cone: set[tuple[int, Read]] = set()
    waiting = [(len(run) - 1, r) for r in reason(claim, run[-1], logic.constants).reads]
    while waiting:
        scan, read = waiting.pop()
        if read.group == "was" and scan > 0:
            scan, read = scan - 1, Read("this", read.name)
        if (scan, read) in cone:
            continue
        cone.add((scan, read))
        if read == Read("this", "step"):
            was = run[scan][Read("was", "step")]
            waiting.append((scan, Read("was", "step")))
            for row in logic.rows_from(was):
                if run[scan][Read("this", row.guard.name)]:
                    waiting.append((scan, Read("this", row.guard.name)))
                    break
        elif read.group == "this" and read.name in logic.facts:
            reads = reason(logic.facts[read.name].tree, run[scan], logic.constants).reads
            waiting += [(scan, r) for r in reads]
    return cone


def _table(logic: Logic, run: Run, cone: set[tuple[int, Read]], said: set[Read]) -> list[list[str]]:
    """
    One row a name: presets, inputs, facts; a cell is left empty where nothing changed.

    Of the facts that never change, only memory and those that the claim speaks of (`said`) are shown.
    """
    shown = {Read("this", r.name) if r.group == "was" else r for _, r in cone}
    for read in [r for r in shown - said if r.group == "this" and Read("was", r.name) not in run[0]]:
        if len({values[read] for values in run}) == 1 and read.name in logic.facts and len(run) > 1:
            shown.remove(read)
    order = {n: k for k, n in enumerate(logic.facts)}
    groups = ("set", "now", "this")
    rows = [["", "before", *(f"scan {n + 1}" for n in range(len(run)))]]
    for read in sorted(shown, key=lambda r: (groups.index(r.group), order.get(r.name, -1))):
        cells, last = [str(read).removeprefix("s."), ""], ""
        if read.group == "set":
            cells[1] = last = _shown(logic, read, run[0][read])
        elif (was := Read("was", read.name)) in run[0] and read.group == "this":
            cells[1] = last = _shown(logic, read, run[0][was])
        for values in run:
            text = _shown(logic, read, values[read])
            cells.append("" if text == last else text)
            last = text
        rows.append(cells)
    return rows


def _shown(logic: Logic, read: Read, value: int) -> str:
    if logic.kinds[read] is bool:
        return "on" if value else "off"
    return logic.steps(value).name if read.name == "step" and value in list(logic.steps) else f"{value:,}"
