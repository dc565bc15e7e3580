"""
Diagram, rows, outputs and cause and effect of a station on one page: self-contained HTML for the printer.

Plain tables in black on white; nothing is said by colour alone, nothing is fetched, nothing runs.
"""

import re
from collections.abc import Iterable, Sequence
from html import escape
from io import BytesIO

from controller.engines.diagram import svg
from controller.engines.matrix import steps_text
from controller.sequence.definition import Named
from controller.sequence.logic import Logic
from controller.settings import Station
from controller.sheets.cause_effect import Effect, cause_effect, outputs_by_step, wired_outputs

STYLE = """
@page { size: A3 landscape; margin: 12mm }
body { font: 13px/1.35 sans-serif; color: #000; background: #fff; margin: 16px }
h1 { font-size: 20px; margin: 0 } h2 { font-size: 15px; margin: 28px 0 6px; break-after: avoid }
p { margin: 4px 0; max-width: 60em } svg { max-width: 100%; height: auto }
table { border-collapse: collapse } thead { display: table-header-group } tr { break-inside: avoid }
th, td { border: 1px solid #888; padding: 2px 5px; text-align: left; vertical-align: top }
th { font-weight: 600 } th.up { writing-mode: vertical-rl; transform: rotate(180deg); padding: 5px 2px }
td.mark { text-align: center; vertical-align: middle } td.name { white-space: nowrap }
tr.never td { color: #777; font-style: italic } .group { border-left: 2px solid #000 }
"""

CAUTION = (
    "Ordinary software on an ordinary computer: no performance level, no SIL. Emergency stop, guards, safe "
    "exhaust and dust-explosion protection are wired and designed outside it and must work with it switched "
    "off. Local codes and licensed practice come first."
)
LEGEND = (
    "T trip: FAULT, safe outputs, reset needed · H hold: waits in LEVEL_HOLD · W waits for supply air · "
    "E ends the batch · A alarm only. Under an output: what changes there when the line acts; blank is no "
    "change. Lines in italics can never act at this station, by its choices or for want of a wire. Of two "
    "lines in one scan the upper is first out."
)


def page(logic: Logic, station: Station) -> str:
    """The page as HTML. Needs the extra `plot`."""
    receiver = station.receiver
    title = escape(f"{receiver.name}: sequence, cause and effect")
    parts = [
        f"<h1>{title}</h1>",
        f"<p>{escape(receiver.description)} ({escape(receiver.product)}). Made from the tables of the "
        "sequence and the settings of the station.</p>",
        f"<p><strong>{escape(CAUTION)}</strong></p>",
        "<h2>Steps and rows</h2>",
        _drawn(logic),
        "<h2>Cause and effect</h2>",
        f"<p>{escape(LEGEND)}</p>",
        _effects(logic, cause_effect(logic, station), wired_outputs(station)),
        "<h2>Outputs by step</h2>",
        "<p>● on · ○ on by a condition (below) · blank: off. Manual mode apart.</p>",
        _outputs(logic, station),
        "<h2>Last word on the outputs</h2>",
        _last_word(logic, station),
    ]
    body = "\n".join(parts)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{title}</title>\n'
        f"<style>{STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _drawn(logic: Logic) -> str:
    """The diagram as an element of the page."""
    drawn = BytesIO()
    svg(logic, drawn)
    text = drawn.getvalue().decode()
    return text[text.index("<svg") :]


def _table(head: Iterable[str], rows: Iterable[str]) -> str:
    top, lines = "".join(head), "\n".join(rows)
    return f"<table>\n<thead><tr>{top}</tr></thead>\n<tbody>\n{lines}\n</tbody>\n</table>"


def _cell(text: str, name: str = "") -> str:
    return f'<td class="{name}">{escape(text)}</td>' if name else f"<td>{escape(text)}</td>"


def _upright(names: Iterable[str], groups: Iterable[str] = ()) -> list[str]:
    begins = set(groups)
    return [f'<th class="up{" group" if n in begins else ""}">{escape(n)}</th>' for n in names]


def _begins(logic: Logic) -> list[str]:
    """The first step of each state: there a rule is drawn."""
    return [logic.steps(steps[0]).name for steps in logic.definition.states.values()]


def _effects(logic: Logic, lines: Sequence[Effect], outputs: Sequence[str]) -> str:
    told = [f"<th>{n}</th>" for n in ("interlock", "what is the case", "cause", "after", "effect")]
    head = [*told, *_upright(logic.step_names, _begins(logic)), *_upright(outputs, outputs[:1])]
    rows = []
    for line in lines:
        effect = line.effect.replace("_", " ") if line.acts else "never here"
        words = [_cell(text) for text in (line.words, _in_words(line.cause), line.delay, effect)]
        marks = [_cell(line.steps.get(n, ""), _mark(n in _begins(logic))) for n in logic.step_names]
        ends = [_cell(line.outputs.get(n, ""), _mark(n == outputs[0])) for n in outputs]
        never = "" if line.acts else ' class="never"'
        rows.append(f"<tr{never}>{''.join([_cell(line.interlock, 'name'), *words, *marks, *ends])}</tr>")
    return _table(head, rows)


def _mark(begins: bool) -> str:
    return "mark group" if begins else "mark"


def _outputs(logic: Logic, station: Station) -> str:
    signs = {"on": "●", "may be on": "○"}
    head = ["<th>output</th>", *_upright(logic.step_names, _begins(logic))]
    rows = []
    for name, steps in outputs_by_step(logic, station).items():
        marks = [_cell(signs.get(steps.get(n, ""), ""), _mark(n in _begins(logic))) for n in logic.step_names]
        rows.append(f"<tr>{_cell(name, 'name')}{''.join(marks)}</tr>")
    return _table(head, rows)


def _last_word(logic: Logic, station: Station) -> str:
    """Every line of an output that asks for more than its step."""
    head = [f"<th>{n}</th>" for n in ("output", "in", "when", "never while")]
    rows = [
        f"<tr>{_cell(o.name, 'name')}{_cell(steps_text(logic, o.steps))}"
        f"{_cell(_rule(logic, o.when))}{_cell(_rule(logic, o.unless))}</tr>"
        for o in logic.definition.output_lines
        if o.name in wired_outputs(station) and (o.when or o.unless)
    ]
    return _table(head, rows)


def _rule(logic: Logic, named: Named | None) -> str:
    if named is None:
        return ""
    rule = re.sub(r"\bs\.", "", logic.source_of(named.name))
    return f"{_in_words(named.name)}: {rule}"


def _in_words(name: str) -> str:
    return name.replace("_", " ")
