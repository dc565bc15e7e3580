"""What `receiver diagram` writes, by the ending of the file."""

from collections.abc import Callable
from io import BytesIO

from controller.engines.diagram import svg
from controller.sequence.logic import Logic
from controller.settings import Station
from controller.sheets.cause_effect import as_csv, cause_effect, wired_outputs
from controller.sheets.page import page


def _svg(logic: Logic, _station: Station) -> bytes:
    drawn = BytesIO()
    svg(logic, drawn)
    return drawn.getvalue()


def _html(logic: Logic, station: Station) -> bytes:
    return page(logic, station).encode()


def _csv(logic: Logic, station: Station) -> bytes:
    return as_csv(logic, cause_effect(logic, station), wired_outputs(station)).encode()


SHEETS: dict[str, Callable[[Logic, Station], bytes]] = {".svg": _svg, ".html": _html, ".csv": _csv}
"""The content of the file; .svg and .html need the extra `plot`."""
