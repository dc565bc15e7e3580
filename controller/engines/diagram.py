"""
The state diagram from the rows: Mermaid text, and a picture with the steps of each state in a column.

In the picture only short ways are arrows, inside a state or on to the state right of it; other ways are
named in the box that they leave, and ways from nearly everywhere stand in the list of rows alone.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from controller.engines.matrix import steps_text
from controller.sequence.definition import Row
from controller.sequence.logic import Logic
from controller.sequence.phrases import phrase

NO_METADATA = {"Date": None, "Creator": None, "Format": None, "Type": None}
"""For matplotlib: leave its own address, a date and Dublin Core out of an SVG file."""

COLUMN, LINE, WIDE, HIGH = 3.2, 1.45, 2.0, 0.8  # spacing of columns and lines, size of a step
COLOURS = ("#3b6ea5", "#2e8b57", "#b8860b", "#7b5ea7", "#4f8f8f", "#b03a2e")


def mermaid(logic: Logic) -> str:
    """The diagram as a Mermaid `stateDiagram-v2`; a row from all steps of a state leaves the state itself."""
    lines = ["stateDiagram-v2", f"    [*] --> {logic.step_names[0]}"]
    for state, steps in logic.definition.states.items():
        if len(steps) > 1:
            names = [f"        {logic.steps(k).name}" for k in steps]
            lines += [f"    state {_state_id(logic, state)} {{", *names, "    }"]
    for number, row in enumerate(logic.rows, 1):
        for source in _sources(logic, row):
            name = _state_id(logic, source) if source in _shared(logic) else source
            lines.append(f"    {name} --> {logic.steps(row.to).name}: {number} {phrase(row.guard.name)}")
    return "\n".join([*lines, ""])


def _shared(logic: Logic) -> list[str]:
    """The states of more than one step."""
    return [state for state, steps in logic.definition.states.items() if len(steps) > 1]


def _state_id(logic: Logic, state: str) -> str:
    return f"{state}_" if state in logic.step_names else state


def _sources(logic: Logic, row: Row) -> list[str]:
    """Where the arrows of a row begin: states that leave with all their steps, and single steps."""
    left, found = list(row.steps), []
    for state in _shared(logic):
        steps = logic.definition.states[state]
        if set(steps) <= set(left):
            found.append(state)
            left = [k for k in left if k not in steps]
    return [*found, *(logic.steps(k).name for k in left)]


@dataclass(frozen=True)
class _Box:
    x: float
    y: float
    wide: float
    high: float


def svg(logic: Logic, to: Path | BinaryIO) -> None:
    """Draw the diagram as SVG to a file. Needs the extra `plot`. Numbers at the arrows are rows."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    boxes = _boxes(logic)
    wide = len(logic.definition.states) * COLUMN + 0.2
    deep = max(map(len, logic.definition.states.values())) * LINE + 0.6
    listed = -(-len(logic.rows) // 3) * 0.27 + 0.6
    with rc_context({"svg.hashsalt": "receiver", "svg.fonttype": "none", "font.family": "sans-serif"}):
        figure = Figure(figsize=(wide, deep + listed))
        FigureCanvasSVG(figure)
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_xlim(-0.1, wide - 0.1)
        axes.set_ylim(-deep - listed + 0.5, 0.5)
        axes.axis("off")
        _draw_boxes(axes, logic, boxes)
        for source, target, label in _ways(logic):
            if _is_short(logic, source, target):
                _draw_arrow(axes, boxes[source], boxes[target], label)
        _draw_list(axes, logic, wide, 0.3 - deep)
        figure.savefig(to, format="svg", metadata=NO_METADATA)


def _boxes(logic: Logic) -> dict[str, _Box]:
    """Where each step and each state is drawn: the middle of its box, in inches."""
    boxes = {}
    deepest = max(map(len, logic.definition.states.values()))
    for column, (state, steps) in enumerate(logic.definition.states.items()):
        x = column * COLUMN + COLUMN / 2 - 0.2
        top = (deepest - len(steps)) / 2
        for line, k in enumerate(steps):
            boxes[logic.steps(k).name] = _Box(x, -(top + line + 0.5) * LINE, WIDE, HIGH)
        high = (len(steps) - 1) * LINE + HIGH + 0.7
        boxes[f"state {state}"] = _Box(x, -deepest / 2 * LINE + 0.12, WIDE + 0.4, high)
    return boxes


def _draw_boxes(axes: Any, logic: Logic, boxes: dict[str, _Box]) -> None:
    tags: dict[str, list[str]] = {}
    for source, target, label in _ways(logic):
        if not _is_short(logic, source, target):
            tags.setdefault(source, []).append(f"{label} → {target}")
    for (state, steps), colour in zip(logic.definition.states.items(), COLOURS * 9, strict=False):
        frame = boxes[f"state {state}"]
        _draw_box(axes, frame, colour, colour)
        title = "   ".join([state, *tags.get(f"state {state}", [])])
        top = frame.y + frame.high / 2 - 0.18
        axes.text(frame.x, top, title, ha="center", va="center", color=colour, weight="bold", fontsize=9)
        for k in steps:
            name = logic.steps(k).name
            box, tag = boxes[name], "\n".join(tags.get(name, []))
            _draw_box(axes, box, "white", colour)
            axes.text(box.x, box.y + (0.2 if tag else 0), name, ha="center", va="center", fontsize=10)
            axes.text(box.x, box.y - 0.13, tag, ha="center", va="center", fontsize=7, color="#444444")


def _draw_box(axes: Any, box: _Box, face: str, edge: str) -> None:
    from matplotlib.patches import FancyBboxPatch

    corner = (box.x - box.wide / 2, box.y - box.high / 2)
    style = "round,pad=0,rounding_size=0.1"
    axes.add_patch(
        FancyBboxPatch(
            corner, box.wide, box.high, boxstyle=style, facecolor=face, edgecolor=edge, lw=1.2,
            alpha=0.12 if face == edge else None,
        )
    )  # fmt: skip


def _ways(logic: Logic) -> Iterator[tuple[str, str, str]]:
    """From, to, and the numbers of the rows; rows that leave from nearly everywhere are left out."""
    ways: dict[tuple[str, str], list[str]] = {}
    for number, row in enumerate(logic.rows, 1):
        if len(row.steps) <= len(logic.steps) // 2:
            for source in _sources(logic, row):
                key = f"state {source}" if source in _shared(logic) else source
                ways.setdefault((key, logic.steps(row.to).name), []).append(str(number))
    return ((a, b, ", ".join(numbers)) for (a, b), numbers in ways.items())


def _is_short(logic: Logic, source: str, target: str) -> bool:
    """Whether a way is drawn as an arrow."""
    column = {
        name: n
        for n, (state, steps) in enumerate(logic.definition.states.items())
        for name in (f"state {state}", *(logic.steps(k).name for k in steps))
    }
    return column[target] - column[source] in (0, 1) and not source.startswith("state ")


def _draw_arrow(axes: Any, a: _Box, b: _Box, label: str) -> None:
    from matplotlib.patches import FancyArrowPatch

    start, end, bend = _path(a, b)
    patch = FancyArrowPatch(
        start, end, connectionstyle=f"arc3,rad={bend}", arrowstyle="-|>", mutation_scale=11, lw=0.9,
        color="#444444", shrinkA=0, shrinkB=1,
    )  # fmt: skip
    axes.add_patch(patch)
    at = 0.5 if a.x == b.x else 0.35  # how far along the label sits: apart from others that end in one place
    middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    knee = middle[0] + bend * (end[1] - start[1]), middle[1] - bend * (end[0] - start[0])  # as arc3 bends
    x, y = (
        (1 - at) ** 2 * p + 2 * at * (1 - at) * q + at**2 * r
        for p, q, r in zip(start, knee, end, strict=True)
    )
    box = {"boxstyle": "round,pad=0.12", "facecolor": "white", "edgecolor": "none", "alpha": 0.9}
    axes.text(x, y, label, ha="center", va="center", fontsize=8, bbox=box, zorder=5)


def _path(a: _Box, b: _Box) -> tuple[tuple[float, float], tuple[float, float], float]:
    """Start, end and bend of an arrow: down and up inside a column on different sides, else side to side."""
    if abs(a.x - b.x) < 0.1:
        down, far = b.y < a.y, abs(a.y - b.y) > 1.1 * LINE
        if down and not far:
            return (a.x - 0.2, a.y - a.high / 2), (b.x - 0.2, b.y + b.high / 2), 0.0
        if not far:
            return (a.x + 0.2, a.y + a.high / 2), (b.x + 0.2, b.y - b.high / 2), 0.0
        side = -1 if down else 1
        edge = side * a.wide / 2
        return (a.x + edge, a.y), (b.x + side * b.wide / 2, b.y), 0.35
    side = 1 if b.x > a.x else -1
    lift = 0.12 * side  # there and back again on two lines
    return (a.x + side * a.wide / 2, a.y + lift), (b.x - side * b.wide / 2, b.y + lift), 0.08


def _draw_list(axes: Any, logic: Logic, wide: float, top: float) -> None:
    """The rows in three columns under the picture."""
    deep = -(-len(logic.rows) // 3)
    for n, text in enumerate(_listed(logic)):
        x, y = 0.1 + n // deep * wide / 3, top - n % deep * 0.27
        axes.text(x, y, text, fontsize=8, ha="left", va="top")


def _listed(logic: Logic) -> Iterable[str]:
    for number, row in enumerate(logic.rows, 1):
        source = steps_text(logic, row.steps)
        yield f"{number}  {source} → {logic.steps(row.to).name}: {phrase(row.guard.name)}"
