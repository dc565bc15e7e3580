"""The matrix in words: a table for the terminal, the gaps in sentences, and a table for a spreadsheet."""

import csv
import io
from collections.abc import Iterator, Sequence

from controller.campaign.detection.expectations import HAZARDS, Mode
from controller.campaign.detection.matrix import LIMITS, PARTS, Matrix
from controller.campaign.detection.verdicts import (
    BLIND,
    IN_TIME,
    LATE,
    MISSED,
    OTHER,
    SEEN_ANYWAY,
    TOO_LATE,
    UNWRITTEN,
    WORDS,
    Cell,
    Coverage,
)
from controller.sequence.steps import Step

NAMES = "rst wrn sea reo pur drw cnv clr vnt opn drn pls rec stl hld flt"
SHORT = dict(zip(Step, NAMES.split(" "), strict=True))
SYMBOLS = {
    IN_TIME: "+", LATE: ">", OTHER: "o", MISSED: "-", BLIND: ".", SEEN_ANYWAY: "^", TOO_LATE: "t",
    UNWRITTEN: "?",
}  # fmt: skip
WORSE = {MISSED: "!", BLIND: "x"}
"""Of a dangerous failure."""


def symbol(cell: Cell, mode: Mode) -> str:
    """One character; what is dangerous and unseen has its own."""
    return WORSE.get(cell.verdict, SYMBOLS[cell.verdict]) if mode.dangerous else SYMBOLS[cell.verdict]


def legend() -> list[str]:
    """What the characters mean."""
    lines = [f"{sign}  {WORDS[word]}" for word, sign in SYMBOLS.items()]
    lines += [f"{sign}  the same of a dangerous failure: {WORDS[word]}" for word, sign in WORSE.items()]
    return [*lines, "D  dangerous: " + "; or ".join(HAZARDS.values())]


def ran_with(mode: Mode) -> str:
    """How it is run, where that is not the failure alone at its full amount."""
    parts = [f"at {mode.amount:g}"] if mode.amount != 1 else []
    parts += [f"beside {', '.join(mode.beside)}"] if mode.beside else []
    parts += ["stop pressed later"] if mode.stopped else []
    parts += [f"with {name} {value:,}" for name, value in (mode.shortened or {}).items()]
    return ", ".join(parts)


def table(done: Matrix) -> Iterator[str]:
    """Failure modes down, steps across."""
    yield f"{'begins in':31}  " + " ".join(SHORT[Step(step)] for step in done.steps)
    for mode in done.modes:
        signs = "   ".join(symbol(cell, mode) for cell in row(done, mode))
        yield f"{'D' if mode.dangerous else ' '} {mode.id:29}   {signs}"


def row(done: Matrix, mode: Mode) -> list[Cell]:
    """The cells of a mode, in the order of the steps."""
    return [cell for cell in done.cells if cell.mode == mode.id]


def lines_of(done: Matrix) -> Iterator[str]:
    """All that the terminal shows."""
    yield from table(done)
    yield ""
    yield ", ".join(f"{short} {step.name}" for step, short in SHORT.items() if step in done.steps)
    yield from legend()
    yield ""
    yield from figures(done)
    specially = [f"{mode.id}: {how}" for mode in done.modes if (how := ran_with(mode))]
    lists = (
        ("Run otherwise than alone and at its full amount", specially),
        ("Gaps", gaps(done)),
        ("Dangerous and not detected in time", dangerous(done)),
    )
    for title, said in lists:
        if said:
            yield from ("", f"{title}:", *(f"  {line}" for line in said))
    yield ""
    yield LIMITS


def figures(done: Matrix) -> Iterator[str]:
    """Counts, coverage, false alarms."""
    counts = {word: sum(cell.verdict == word for cell in done.cells) for word in WORDS}
    said = ", ".join(f"{n} {word}" for word, n in counts.items() if n)
    yield f"{len(done.modes)} failure modes x {len(done.steps)} steps = {len(done.cells)}: {said}"
    unproven = sum(not cell.written for cell in done.cells)
    if unproven:
        yield f"{unproven} expectations are generated from the interlock table, so unproven"
    said = "diagnostic coverage of the simulation (no performance level, no SIL)"
    yield f"{said}, each cell counted as one: {_share(done.coverage)}"
    yield f"{said}, a mode counted where every step tells it: {_share(done.coverage_of_modes)}"
    if done.healthy_h:
        alarms = ", ".join(f"{name} {n} times" for name, n in done.false_alarms) or "none"
        yield f"false alarms in {done.healthy_h:g} healthy plant hours: {alarms}"
    if done.unreached:
        yield f"not reached on this station: {', '.join(done.unreached)}"
    if done.absent:
        yield f"{len(done.absent)} failure modes of parts that this station has not"


def _share(c: Coverage) -> str:
    dangerous = c.dangerous_detected + c.dangerous_undetected
    if not dangerous:
        return "none to tell: no failure here is dangerous"
    return f"{c.percent:.0f} % ({c.dangerous_detected} of {dangerous} dangerous)"


def gaps(done: Matrix) -> list[str]:
    """Where what is written and what runs do not agree, steps with the same story together."""
    said: dict[str, list[str]] = {}
    for cell in done.gaps:
        wanted = (
            f"{'|'.join(cell.ids)} expected within {_s(cell.within_ms)}" if cell.ids else "nothing expected"
        )
        came = f"{cell.seen} after {_s(cell.seen_ms)}" if cell.seen else "nothing came"
        said.setdefault(f"{cell.mode}: {cell.verdict}; ", []).append(
            f"{Step(cell.step).name}: {wanted}, {came}"
        )
    return [mode + "; ".join(stories) for mode, stories in said.items()]


def dangerous(done: Matrix) -> list[str]:
    """Dangerous failures that are not told, or too late, and why."""
    said = []
    for mode in done.modes:
        unseen = [cell for cell in row(done, mode) if cell.verdict in (BLIND, TOO_LATE, MISSED, LATE)]
        if not mode.dangerous or not unseen:
            continue
        whole = len(unseen) == len(done.steps)
        where = "in every step" if whole else f"in {', '.join(Step(cell.step).name for cell in unseen)}"
        whys = "; ".join(dict.fromkeys(filter(None, (cell.why for cell in unseen)))) or "no reason is written"
        said.append(f"{mode.id} ({HAZARDS[mode.hazard]}) {where}: {whys}")
    return said


def _s(ms: int) -> str:
    return f"{ms / 1_000:.3g} s"


COLUMNS = (
    "station", "failure mode", "run with", "part", "class", "hazard or why it is safe", "begins in",
    "expected", "within s", "expectation", "verdict", "alarm", "after s", "why it cannot be told",
    "acted besides",
)  # fmt: skip


def as_csv(done: Matrix) -> str:
    """A row a cell, for a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for mode in done.modes:
        writer.writerows(_fields(done, mode, cell) for cell in row(done, mode))
    return out.getvalue()


def _fields(done: Matrix, mode: Mode, cell: Cell) -> Sequence[str]:
    kind = "dangerous" if mode.dangerous else "safe"
    because = f"{HAZARDS[mode.hazard]}: {mode.because}" if mode.dangerous else mode.because
    return (
        done.station, mode.id, ran_with(mode), PARTS[mode.id].part, kind, because, Step(cell.step).name,
        "|".join(cell.ids), f"{cell.within_ms / 1_000:g}" if cell.ids else "",
        "written" if cell.written else "generated, unproven", cell.verdict, cell.seen,
        f"{cell.seen_ms / 1_000:g}" if cell.seen else "", cell.why, " ".join(cell.others),
    )  # fmt: skip
