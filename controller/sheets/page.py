"""
Diagram, rows, outputs and cause and effect of a station on one page: self-contained HTML for the printer.

Plain tables in black on white; nothing is said by colour alone, nothing is fetched, nothing runs.
"""

from collections.abc import Iterable, Sequence
from html import escape
from io import BytesIO

from controller.engines.diagram import svg
from controller.engines.matrix import steps_text
from controller.sequence.definition import Named
from controller.sequence.logic import Logic
from controller.sequence.phrases import phrase
from controller.settings import Station
from controller.sheets.cause_effect import Effect, cause_effect, outputs_by_step, wired_outputs
from controller.sheets.conditions import Sentences
from controller.sheets.io_list import fixed_here, station_values

STYLE = """
@page { size: A3 landscape; margin: 12mm }
body { font: 13px/1.35 sans-serif; color: #000; background: #fff; margin: 16px }
h1 { font-size: 20px; margin: 0 } h2 { font-size: 15px; margin: 28px 0 6px; break-after: avoid }
p { margin: 4px 0; max-width: 60em } svg { max-width: 100%; max-height: 218mm; height: auto }
table { border-collapse: collapse } thead { display: table-header-group } tr { break-inside: avoid }
th, td { border: 1px solid #888; padding: 2px 5px; text-align: left; vertical-align: top }
th { font-weight: 600 } th.up { writing-mode: vertical-rl; transform: rotate(180deg); padding: 5px 2px }
td.mark { text-align: center; vertical-align: middle } td.name { white-space: nowrap }
td.words { min-width: 11em }
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
        words = [
            _cell(line.words, "words"),
            _cell(": ".join(filter(None, (line.cause_words, "; ".join(line.limits)))), "words"),
            _cell(line.delay),
            _cell(effect),
        ]
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
    """Every line of an output that asks for more than its step, as far as it counts at the station."""
    presets = station.receiver.presets._asdict()
    sentences = Sentences(logic, station_values(station), presets, fixed_here(logic, station))
    fixed = sentences.fixed.facts
    head = [f"<th>{n}</th>" for n in ("output", "in", "when", "never while")]
    lines = [
        o
        for o in logic.definition.output_lines
        if o.name in wired_outputs(station)
        and not (o.when and fixed.get(o.when.name) == 0)
        and any(named and named.name not in fixed for named in (o.when, o.unless))
    ]
    rows, told = [], set()
    for o in lines:
        never = _cell("as above") if (o.name, o.unless) in told and o.unless else _rule(sentences, o.unless)
        told.add((o.name, o.unless))
        cells = _cell(o.name, "name"), _cell(steps_text(logic, o.steps)), _rule(sentences, o.when), never
        rows.append(f"<tr>{''.join(cells)}</tr>")
    return _table(head, rows)


def _rule(sentences: Sentences, named: Named | None) -> str:
    """A cell: the condition by its phrase, then its alternatives, a line each."""
    if named is None or named.name in sentences.fixed.facts:
        return _cell("")
    said, logic = phrase(named.name), sentences.logic
    by_hand = {read.name for read in logic.reads(named.name)} == {"jogged"}
    lines = (
        [] if by_hand else [line for line in sentences.lines(logic.facts[named.name].tree) if line != said]
    )
    what = "<br>or ".join(map(escape, lines))
    return f"<td>{escape(said)}{': <br>' if lines else ''}{what}</td>"
