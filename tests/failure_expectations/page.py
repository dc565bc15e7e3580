"""Writes docs/failure_modes.md and failure_runs.md: what follows each failure, and how to see it again."""

from collections.abc import Iterator, Sequence
from math import ceil
from pathlib import Path

from failure_runs import Run, cases, row_of, seen, station
from failure_verdicts import EXCUSED, batches, moved_percent

from controller.simulate.parts_fitted import chosen
from failure_expectations.table import STATIONS, B, Row, Then
from io_sim.failures import CATALOGUE

DOCS = Path(__file__).parents[2] / "docs"
HEAD = """# Failure modes: what a person sees, and what the receiver says

Written by `make failures` from runs of the three stations on the plant model: one failure a run, and beside it only what
brings it to light, which is named; the expectations stand in `tests/failure_expectations/`. Simulated: an invented plant whose figures are estimates. What a real receiver does
must be tried on it. This is ordinary software without a performance level or SIL; emergency stop and guards are wired
and designed outside it, and local codes and licensed practice come first.

Times run from the beginning of the failure, most of them in the middle of a fill (48 s, 52 s and 180 s after power-up).
"At 0.5" is its amount, where that is not 1. **Trip** is the first-out. "Not seen" says why no interlock acts, and the figure
of the cycle records that moves instead, if one does. A dash: the station has no such part. Where no station has it, it was
tried on the first one with the options that are named. The command of each run stands in [failure_runs.md](failure_runs.md).

In every run, whatever fails: the source acts on no open flap for longer than debounce, delay and three scans (a flap held
by vacuum: and its pull-in time); no pulse into a vacuum over the release threshold; in FAULT no output that moves or feeds
anything; the vessel below never fills up to the flap, but for: """

COMMANDS = """# The runs of the failure modes

Written by `make failures`, with [failure_modes.md](failure_modes.md). Each run again, with the same figures: paste its line."""
FITTED = """Copy the folder `configs/buckwheat_mill` to `my_mill`, set in its `receiver.yaml` what stands behind the `#`, and wire or
take out in its `points.yaml` the points that the command then names."""


def pages() -> dict[str, str]:
    """Both pages by file name, from the runs of today."""
    return {"failure_modes.md": text(), "failure_runs.md": "\n".join([COMMANDS, *commands(cases())]) + "\n"}


def text() -> str:
    """What follows each failure."""
    ran = cases()
    excused = "; ".join(f"{mode} ({why})" for mode, why in EXCUSED["vessel full"].items())
    lines = [f"{HEAD}{excused}.\n", f"{len(CATALOGUE)} failure modes, {len(ran)} runs.\n"]
    lines += ["| failure | part | a person sees | " + " | ".join(STATIONS) + " |", "| --- | --- | --- " + "| --- " * len(STATIONS) + "|"]
    for mode in CATALOGUE:
        row, on = row_of(mode.id), [name for row, name in ran if row.mode == mode.id]
        cells = [said(row, name) if name in on else "-" for name in STATIONS]
        lines.append(f"| {mode.id} | {mode.part} | {mode.seen} | {' | '.join(cells)} |")
    for title, field in (("Wrong in the sequence", "defect"), ("Expected otherwise before it was run", "changed")):
        notes: dict[str, list[str]] = {}
        for row, name in ran:
            if note := getattr(row.at(name).then, field):
                notes.setdefault(note, []).append(f"{row.mode} ({name})")
        if notes:
            lines += ["", f"## {title}", "", *(f"- {', '.join(where)}: {note}." for note, where in notes.items())]
    return "\n".join(lines) + "\n"


def commands(ran: Sequence[tuple[Row, str]]) -> Iterator[str]:
    """The command of each run, station by station; those with options that no station has come last."""
    for name in STATIONS:
        yield from ("", f"### {name}", "", "```bash")
        yield from (command(row, name) for row, on in ran if on == name and not row.fitted)
        yield "```"
    yield from ("", "### my_mill, a copy of buckwheat_mill with other options", "", FITTED, "", "```bash")
    yield from (command(row, name) for row, name in ran if row.fitted)
    yield "```"


def command(row: Row, name: str) -> str:
    """What to type to see a run again; as a comment what must be done besides."""
    asked, ran = row.at(name), seen(row.mode, name)
    amount = "" if asked.amount == 1 else f"={asked.amount:g}"
    fails = " ".join(f"--fail {said}" for said in (f"{row.mode}{amount}@{asked.begins}", *asked.beside))
    besides = [f"with {options(row)}"] if row.fitted else []
    besides += [f"and stop pressed at {row.stop_s:g} s, for which there is no option"] if row.stop_s else []
    line = f"receiver simulate {'my_mill' if row.fitted else name} --for {ceil(ran.begun_s + ran.lasted_s)}s {fails}"
    return f"{line}  # {', '.join(besides)}" if besides else line


def options(row: Row) -> str:
    """The presets that a row sets, as a station file says them."""
    presets = station(B).presets._replace(**row.fitted or {})
    return ", ".join(chosen(name, presets) for name in row.fitted or {})


def said(row: Row, name: str) -> str:
    """What one station said of one failure."""
    asked, ran = row.at(name), seen(row.mode, name)
    parts = [] if asked.amount == 1 else [f"at {asked.amount:g}:"]
    parts += [f"beside {', '.join(asked.beside)}:"] if asked.beside else []
    parts += [f"stop pressed at {row.stop_s:g} s:"] if row.stop_s else []
    parts += [f"with {options(row)}:"] if row.fitted else []
    parts.append("; ".join(outcome(asked.then, ran)))
    return " ".join(parts)


def outcome(then: Then, ran: Run) -> list[str]:
    """Trip, what acted before it, hold; or why nothing was seen."""
    found = [f"{name} {after(s)}" for name, s in ran.acted.items() if (name, s) != (ran.trip, ran.trip_s) and name in dict(then.acts)]
    if ran.trip:
        found.append(f"**trip {ran.trip}** {after(ran.trip_s)}")
    if then.hold in ran.holds:
        found.append(f"holds, {then.hold}, {after(ran.holds[then.hold])}")
    if then.unseen:
        found.append(f"not seen: {then.unseen}")
    if then.shows:
        moved = moved_percent(then.shows.field, batches(ran, before=True), batches(ran, before=False))
        found.append(f"`{then.shows.field}` {moved:+.0f} %" if moved is not None else f"`{then.shows.field}`")
    return found or ["goes on"]


def after(seconds: float) -> str:
    """Two digits: what a person needs."""
    return "at once" if seconds < 0.05 else f"after {float(f'{seconds:.2g}'):g} s"


if __name__ == "__main__":
    for name, page in pages().items():
        (DOCS / name).write_text(page, encoding="utf-8")
        print(f"docs/{name} written")
