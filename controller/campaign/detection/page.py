"""The matrix as a page: a single HTML file that asks nothing of any network and opens from a disk."""

from collections.abc import Iterator
from html import escape
from importlib.resources import files
from itertools import groupby

from controller.campaign.detection.expectations import HAZARDS, Mode
from controller.campaign.detection.matrix import LIMITS, PARTS, Matrix
from controller.campaign.detection.verdicts import BLIND, WORDS, Cell
from controller.campaign.detection.words import (
    SYMBOLS,
    WORSE,
    dangerous,
    figures,
    gaps,
    ran_with,
    row,
    symbol,
)
from controller.sequence.steps import Step


def page_of(done: Matrix) -> str:
    """The page of a matrix."""
    style = (files("controller.campaign.detection") / "page.css").read_text(encoding="utf-8")
    title = f"Detection matrix of {escape(done.station)}"
    return "\n".join(
        [
            "<!doctype html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
            "style-src 'unsafe-inline'; img-src data:\">",
            f'<link rel="icon" href="data:,"><title>{title}</title><style>{style}</style></head><body>',
            f"<header><h1>{title}</h1><p>Which alarm tells a failure that begins in a step, and in how long. "
            "Times run from the beginning of the failure.</p>",
            f'<p class="limits">{escape(LIMITS)}</p>',
            "<ul>", *(f"<li>{escape(line)}</li>" for line in figures(done)), "</ul></header>",
            '<main><section class="legend">', *_legend(), "</section>",
            '<div class="wide" tabindex="0" role="region" aria-label="The matrix"><table>',
            *_head(done), *_body(done), "</table></div>",
            *_list("Gaps: what is written and what runs do not agree", gaps(done), "None."),
            *_list("Dangerous and not detected in time", dangerous(done), "None."),
            *_list("Expected otherwise before it was run", changed(done), "Nothing."),
            *_list("Not on this station", [f"{mode}: {why}" for mode, why in done.absent], "Nothing."),
            "</main></body></html>\n",
        ]
    )  # fmt: skip


def changed(done: Matrix) -> list[str]:
    """Expectations that runs have corrected."""
    said = [
        (mode.id, line.changed, line.begins) for mode in done.modes for line in mode.lines if line.changed
    ]
    return [f"{mode}, begun in {begins}: {why}" for mode, why, begins in said]


def _legend() -> Iterator[str]:
    for word, sign in SYMBOLS.items():
        yield f'<span><b class="{_class(word)}">{escape(sign)}</b> {escape(WORDS[word])}</span>'
    for word, sign in WORSE.items():
        said = f"{WORDS[word]}, and it is dangerous"
        yield f'<span><b class="{_class(word)} worse">{sign}</b> {escape(said)}</span>'


def _head(done: Matrix) -> Iterator[str]:
    yield '<thead><tr><th scope="col">Failure mode</th><th scope="col">Class</th><th scope="col">Told by</th>'
    yield from (f'<th scope="col" class="step"><i>{Step(step).name}</i></th>' for step in done.steps)
    yield "</tr></thead>"


def _body(done: Matrix) -> Iterator[str]:
    for part, modes in groupby(done.modes, lambda mode: PARTS[mode.id].part):
        name = part.replace("_", " ")
        yield f'<tbody><tr class="part"><th colspan="{len(done.steps) + 3}" scope="rowgroup">{name}</th></tr>'
        yield from (_line(done, mode) for mode in modes)
        yield "</tbody>"


def _line(done: Matrix, mode: Mode) -> str:
    kind = mode.hazard or "safe"
    because = f"{HAZARDS[mode.hazard]}: {mode.because}" if mode.hazard else mode.because
    cells = "".join(_cell(cell, mode) for cell in row(done, mode))
    how = f"<small>{escape(ran_with(mode))}</small>" if ran_with(mode) else ""
    name = f'<th scope="row" title="{escape(PARTS[mode.id].effect)}">{mode.id}{how}</th>'
    told = "<br>".join(dict.fromkeys(cell.seen for cell in row(done, mode) if cell.seen)) or "nothing"
    kinds = f'<td class="kind" title="{escape(because)}">{kind}</td><td class="told">{told}</td>'
    return f"<tr>{name}{kinds}{cells}</tr>"


def _cell(cell: Cell, mode: Mode) -> str:
    wanted = f"expected {' or '.join(cell.ids)} within {cell.within_ms / 1_000:g} s" if cell.ids else cell.why
    came = f"{cell.seen} after {cell.seen_ms / 1_000:g} s" if cell.seen else "no alarm"
    words = [f"{mode.id} in {Step(cell.step).name}: {cell.verdict}", wanted, came]
    words += [cell.why] if cell.ids and cell.why else []
    words += [] if cell.written else ["expectation generated, unproven"]
    worse = " worse" if mode.dangerous and cell.verdict in WORSE else ""
    unproven = "" if cell.written else " unproven"
    time = f"<small>{_short(cell.seen_ms)}</small>" if cell.seen and cell.verdict != BLIND else ""
    sign = f"<b>{escape(symbol(cell, mode))}</b>{time}"
    return (
        f'<td class="{_class(cell.verdict)}{worse}{unproven}" title="{escape("; ".join(words))}">{sign}</td>'
    )


def _short(ms: int) -> str:
    """Two digits, in seconds."""
    return f"{float(f'{ms / 1_000:.2g}'):g} s"


def _class(word: str) -> str:
    return word.replace(" ", "_")


def _list(title: str, lines: list[str], none: str) -> Iterator[str]:
    yield f"<section><h2>{escape(title)}</h2>"
    yield from (
        ("<ul>", *(f"<li>{escape(line)}</li>" for line in lines), "</ul>") if lines else (f"<p>{none}</p>",)
    )
    yield "</section>"
