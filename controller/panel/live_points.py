"""The points of a running rig on a terminal: quality, raw and engineering value, age, refreshed."""

from collections.abc import Callable, Iterable, Sequence

from rich.box import SIMPLE_HEAD
from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from controller.panel.messages import Answer
from controller.panel.rig import PointNow, Status
from controller.panel.said import marks, where

REFRESH_S = 0.25
COLUMNS = ("tag", "name", "description", "quality", "raw", "value", "age")
STYLE = {"good": "", "doubtful": "yellow", "failed": "red", "old": "red", "unknown": "red"}


def raw_text(point: PointNow) -> str:
    """
    What the wire carries.

    >>> from controller.panel.rig import PointNow
    >>> raw_text(PointNow(tag="PT-1", name="vacuum_ua", description="", kind="4-20 mA", quality="good",
    ...                   raw=12_050, value=50.3, unit="kPa vacuum", age_ms=5))
    '12.05 mA'
    """
    return f"{point.raw / 1_000:.2f} mA" if point.kind == "4-20 mA" else ("on" if point.raw else "off")


def value_text(point: PointNow) -> str:
    """The engineering value with its unit; a dash where no value can be trusted."""
    if point.kind != "4-20 mA":
        return ""
    return "-" if point.value is None else f"{point.value:z.1f} {point.unit}"


def age_text(point: PointNow) -> str:
    """How old it is; none where there is no image."""
    return "none" if point.age_ms is None else f"{point.age_ms} ms"


def table(points: Iterable[PointNow]) -> Table:
    """One row a point; a forced one says so, with what its wire carries."""
    made = Table(*COLUMNS, box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    for p in points:
        raw = raw_text(p)
        if p.forced:
            wire = "" if p.wire is None else f", wire {raw_text(p.model_copy(update={'raw': p.wire}))}"
            raw += f" FORCED{wire}"
        cells = (p.tag, p.name, p.description, p.quality, raw, value_text(p), age_text(p))
        made.add_row(*map(Text, cells), style="bold red" if p.forced else STYLE[p.quality])
    return made


def shown(points: Sequence[PointNow], status: Status, beside: Iterable[str] = ()) -> Group:
    """The table under what must be known beside it: where the rig stands, and what is not as it should be."""
    warnings = [Text(line, style="bold red") for line in (*marks(status), *beside)]
    return Group(Text(where(status)), *warnings, table(points))


def refreshed(
    ask: Callable[[], Answer],
    beside: Callable[[], Iterable[str]],
    console: Console,
    wait: Callable[[float], object],
) -> Answer:
    """
    The table, refreshed until `wait` raises; returns only an answer that has no points.

    Args:
        ask: For the points as they are now.
        beside: Further warnings.
        console: A terminal.
        wait: Takes seconds until the next look.
    """
    with Live(console=console, auto_refresh=False) as live:
        while True:
            answer = ask()
            if answer.points is None or answer.status is None:
                return answer
            live.update(shown(answer.points, answer.status, beside()), refresh=True)
            wait(REFRESH_S)
