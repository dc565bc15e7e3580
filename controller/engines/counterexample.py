"""A claim that fails, shown as a table of scans: what the solver found, run again on the rules as written."""

import ast
from dataclasses import dataclass

from controller.engines.as_written import Laid
from controller.engines.ways import Way
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


def replayed(logic: Logic, way: Way, claim: ast.expr, start: str) -> Counterexample:
    """A way in whose last scan `claim` fails, as a counterexample."""
    run = [_values(logic, scan) for scan in way]
    doubt = ""
    if reason(claim, run[-1], logic.constants).value:
        doubt = "run as written it holds: the solver takes percent for any value within its bounds"
    said = {Read("this", r.name) if r.group == "was" else r for r in reads_of(claim)}
    return Counterexample(start, _table(logic, run, _cone(logic, run, claim), said), doubt)


def _values(logic: Logic, scan: Laid) -> dict[Read, int]:
    return (
        {Read("this", "dt_ms"): scan.dt_ms}
        | {Read("now", k): v for k, v in scan.now._asdict().items()}
        | {Read("set", k): v for k, v in scan.set._asdict().items()}
        | {Read("was", k): v for k, v in scan.was._asdict().items()}
        | {Read("this", k): scan.__dict__[k] for k in logic.facts}
    )


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
