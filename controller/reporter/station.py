"""What the reporter knows of the station at this moment, put together from the lines that came last."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from controller.clock import Clock
from controller.image import Inputs, Outputs
from controller.panel.point_readings import readings
from controller.points import PointList, load_points
from controller.reporter.lines import Opening
from controller.reporting.station_now import Reading, StationNow
from controller.reporting.views.prometheus import Figures

NOTHING_YET = StationNow("IDLE", "IDLE", ready=False)
_CONTACTS = {name: isinstance(value, bool) for name, value in Inputs._field_defaults.items()}


class StationTold:
    """The newest of everything. `take` it line by line."""

    def __init__(self, opening: Opening, clock: Clock) -> None:
        """
        Nothing known yet.

        Raises:
            StationError: The list of points cannot be read.
        """
        self._points: PointList = load_points(Path(opening.station))
        self._opening, self._clock = opening, clock
        self._date, self._at_ms, self._here_ms = clock.date(), 0, clock.now_ms()
        self.now = NOTHING_YET
        self.readings: Sequence[Reading] = ()
        self.figures = Figures(0, 0, 0, 0, {}, None, {})
        self.is_known = False
        """Both the state and the points have come."""

    def when(self) -> tuple[str, int]:
        """The date (ISO 8601) and the ms since power-up, both as the rig counts them."""
        passed_ms = self._clock.now_ms() - self._here_ms
        date = self._date + timedelta(milliseconds=passed_ms)
        return date.isoformat(timespec="milliseconds"), self._at_ms + passed_ms

    def silent(self) -> None:
        """Nothing comes any more: of all that is known nothing can be trusted until it is told again."""
        self.readings = [reading._replace(signal="old") for reading in self.readings]
        self.figures = self.figures._replace(heard=False)

    def take(self, kind: str, values: Sequence[Any]) -> None:
        """A line of the kinds now, points and figures."""
        if kind == "now":
            self._take_now(values[0])
        elif kind == "points":
            self._take_points(*values)
        elif kind == "figures":
            self.figures = Figures(**values[0])
        self.is_known = bool(self.readings) and self.now is not NOTHING_YET

    def _take_now(self, document: dict[str, Any]) -> None:
        plain: dict[str, Any] = {
            name: tuple(value) if isinstance(value, list) else value for name, value in document.items()
        }
        self.now = StationNow(**plain)

    def _take_points(
        self, at_ms: int, utc: str, raw: Sequence[int], commanded: Sequence[int], wire: dict[str, int]
    ) -> None:
        self._date, self._at_ms, self._here_ms = datetime.fromisoformat(utc), at_ms, self._clock.now_ms()
        inputs = Inputs._make(
            bool(value) if is_contact else value
            for value, is_contact in zip(raw, _CONTACTS.values(), strict=True)
        )
        outputs = Outputs._make(map(bool, commanded))
        self.readings = [
            Reading(
                point.tag, point.name, point.description, point.kind, point.quality, point.raw, point.value,
                point.unit, point.forced,
            )
            for point in readings(self._points, inputs, outputs, wire, self._opening.old_ms)
        ]  # fmt: skip
