"""Small pieces of HTML, everything in them escaped."""

from collections.abc import Iterable
from html import escape

Attributes = str | int


class Raw(str):
    """Text that is HTML already."""

    __slots__ = ()


def tag(name: str, *inside: object, **attributes: Attributes) -> Raw:
    """An element; `class_` is class. What is not `Raw` is escaped, and None is left out."""
    more = "".join(f' {key.rstrip("_")}="{escape(str(value))}"' for key, value in attributes.items() if value)
    return Raw(f"<{name}{more}>{joined(inside)}</{name}>")


BREAK = Raw("<br>")


def joined(inside: Iterable[object], between: str = "") -> Raw:
    """Pieces in a row."""
    pieces = (
        piece if isinstance(piece, Raw) else escape(str(piece)) for piece in inside if piece is not None
    )
    return Raw(between.join(pieces))


def table(head: Iterable[object], rows: Iterable[Iterable[object]], class_: str = "") -> Raw:
    """A table; a cell that is no element yet becomes one."""
    top = tag("thead", tag("tr", *(_cell("th", cell) for cell in head)))
    return tag(
        "table",
        top,
        tag("tbody", *(tag("tr", *(_cell("td", c) for c in row)) for row in rows)),
        class_=class_,
    )


def _cell(kind: str, inside: object) -> Raw:
    return inside if isinstance(inside, Raw) and inside.startswith(("<td", "<th")) else tag(kind, inside)


def told(pairs: Iterable[tuple[str, object]]) -> Raw:
    """Names and values, a line each."""
    return tag("dl", *(tag("div", tag("dt", name), tag("dd", value)) for name, value in pairs))


def number(value: object) -> Raw:
    """A cell that stands to the right."""
    return Raw(tag("td", value, class_="n"))


def cell(inside: object, class_: str) -> Raw:
    """A cell of a class."""
    return Raw(tag("td", inside, class_=class_))
