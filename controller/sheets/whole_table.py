"""A table on a console of any width: no figure is cut and no column left out."""

from textwrap import wrap

from rich.console import Console
from rich.table import Table
from rich.text import Text

ENDLESS = 100_000
"""Characters; more than any line of a table."""


def print_whole(table: Table, console: Console) -> None:
    """Print a table of figures and short words at its full width, on a narrower console too."""
    needed = console.measure(table, options=console.options.update(width=ENDLESS)).maximum
    table.width = needed if needed > console.width else None
    console.print(table, crop=False)


def print_or_stack(table: Table, console: Console, reads_from: int) -> None:
    """Print a table of texts; on a console under `reads_from` characters the cells under each other."""
    if console.width >= reads_from:
        console.print(table)
        return
    if table.title:
        console.print(f"[italic]{table.title}[/]")
    heads = [f"{column.header}" for column in table.columns][1:]
    for first, *others in zip(*(column.cells for column in table.columns), strict=True):
        name, *under = _lines(first)
        console.print(f"[bold]{name}[/]", soft_wrap=True)
        for line in under:
            _wrapped(line, "  ", console)
        for head, cell in zip(heads, others, strict=True):
            begin = f"  {head:<{max(map(len, heads)) + 2}}"
            for line in _lines(cell):
                _wrapped(line, begin, console)
                begin = " " * len(begin)
        console.print()


def _lines(cell: object) -> list[str]:
    assert isinstance(cell, str), cell
    return Text.from_markup(cell).plain.splitlines()


def _wrapped(text: str, begin: str, console: Console) -> None:
    indent = " " * len(begin)
    lines = wrap(
        text, console.width, initial_indent=begin, subsequent_indent=indent,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
    console.print("\n".join(lines), soft_wrap=True, markup=False)
