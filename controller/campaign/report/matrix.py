"""Cause and effect at the stations of a run, with what shows each cell: scenarios and claims."""

import ast
import re
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from controller.campaign.report.proofs import numbers, reads
from controller.engines.claims import CLAIMS
from controller.engines.proof import Rule
from controller.sequence.expressions import written
from controller.sequence.logic import Logic
from controller.settings import load_station
from controller.sheets.cause_effect import Effect, cause_effect, wired_outputs

Document = dict[str, Any]
COMMON = {"step", "step_ms", "dt_ms", "run", "manual", "jogged"}
"""What so much reads that it ties nothing together."""
IN_FAULT = r"(?<![\w.])s\.step (== FAULT|in \([^)]*\bFAULT\b)"


class Cell(NamedTuple):
    """What happens, and what shows it: numbers of scenarios and of claims."""

    mark: str
    scenarios: tuple[int, ...]
    claims: tuple[int, ...]

    @property
    def shown(self) -> bool:
        """Anything shows it."""
        return bool(self.scenarios or self.claims)


class Row(NamedTuple):
    """An interlock: its effect, and the outputs that change."""

    interlock: str
    words: str
    effect: Cell
    outputs: Mapping[str, Cell]


class Matrix(NamedTuple):
    """All interlocks that can act at the stations, and the names of those that never can."""

    outputs: tuple[str, ...]
    rows: tuple[Row, ...]
    never: tuple[str, ...]

    @property
    def cells(self) -> list[Cell]:
        """Those that say something."""
        return [cell for row in self.rows for cell in (row.effect, *row.outputs.values())]


def matrix(run: Path, record: Document, logic: Logic) -> Matrix:
    """Of a run folder, from the station files that it keeps."""
    stations = [load_station(run / "stations" / s["folder"]) for s in record["stations"]]
    outputs = tuple(dict.fromkeys(name for station in stations for name in wired_outputs(station)))
    lines: dict[str, list[Effect]] = {name: [] for name in logic.interlock_names}
    for station in stations:
        for line in cause_effect(logic, station):
            lines[line.interlock] += [line] if line.acts else []
    evidence = list(enumerate(record["scenarios"], 1))
    rows = [_row(logic, name, found, outputs, evidence) for name, found in lines.items() if found]
    return Matrix(outputs, tuple(rows), tuple(name for name, found in lines.items() if not found))


def _row(
    logic: Logic, name: str, lines: list[Effect], outputs: Iterable[str], evidence: list[tuple[int, Document]]
) -> Row:
    acted = [(n, s) for n, s in evidence if _shows(s, name)]
    facts = {f"{name.lower()}_acts", *(line.cause for line in lines)}
    effects = list(dict.fromkeys(line.effect.replace("_", " ") for line in lines))
    behind = {read.name for line in lines for read in logic.reads(line.cause)} - COMMON
    claims = _trips(facts | behind) if "trip" in effects else _claims(facts)
    effect = Cell(", ".join(effects), tuple(n for n, _ in acted), claims)
    cells = {}
    for output in outputs:
        marks = list(dict.fromkeys(line.outputs[output] for line in lines if output in line.outputs))
        if marks:
            trips = any(line.effect == "trip" and output in line.outputs for line in lines)
            named = tuple(n for n, s in acted if _names(s, output))
            cells[output] = Cell(" / ".join(marks), named, _claims(facts, _fact_of(output), trips))
    return Row(name, lines[0].words, effect, cells)


def _shows(scenario: Document, interlock: str) -> bool:
    """It passed, the interlock acted in it, and a fulfilled check or a guard names it."""
    acted = interlock in (name for name, _ in scenario["acts"])
    return scenario["verdict"] == "passed" and acted and _names(scenario, interlock)


def _names(scenario: Document, name: str) -> bool:
    checks = [c for step in scenario["steps"] for c in step["checks"]] + scenario["rules"]
    said = [check["wanted"] for check in checks if check["good"]] + scenario["guards"]
    return any(re.search(rf"\b{name}\b", text) for text in said)


def _claims(facts: set[str], output: str = "", trips: bool = False) -> tuple[int, ...]:
    """
    Numbers of the claims that read one of these facts, and the output; of a trip also those of a fault.

    A trip is a fault in the same scan: what a claim says of the output in a fault holds of it too.
    """
    found = []
    for claim in CLAIMS:
        names = reads()[claim.name]
        direct = facts & names and (not output or output in names)
        if direct or (trips and _in_fault(claim.when) and _word(output, claim.then)):
            found.append(numbers()[claim.name])
    return tuple(found)


def _trips(facts: set[str]) -> tuple[int, ...]:
    """Numbers of the claims that end in the fault and read one of these facts."""
    return tuple(
        numbers()[claim.name] for claim in CLAIMS if facts & reads()[claim.name] and _in_fault(claim.then)
    )


def _in_fault(rule: Rule | None) -> bool:
    """Whether a side of a claim speaks of the step of this scan as the fault."""
    return rule is not None and re.search(IN_FAULT, _text(rule)) is not None


def _word(name: str, rule: Rule) -> bool:
    return re.search(rf"\b{name}\b", _text(rule)) is not None


@cache
def _text(rule: Rule) -> str:
    return ast.unparse(written(rule).tree)


def _fact_of(output: str) -> str:
    """What claims call an output: of the pulse valves they speak together."""
    return re.sub(r"_\d_cmd$", "_cmd", output)
