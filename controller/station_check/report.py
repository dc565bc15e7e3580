"""The report of a check: everything in one document, judged; as JSON, or as tables for a person."""

import json
import math
from collections.abc import Container
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NamedTuple

from controller.problems import together
from controller.rig_files import load_rig_files
from controller.sequence.presets import Presets
from controller.station_check.findings import Finding, Verdict
from controller.station_check.findings_filter import filter_findings
from controller.station_check.findings_line import line_findings
from controller.station_check.findings_motor import motor_findings
from controller.station_check.findings_options import option_findings
from controller.station_check.findings_room import largest_batch_m3, room_findings
from controller.station_check.findings_steps import step_findings
from controller.station_check.findings_supply import supply_findings
from controller.station_check.findings_times import time_findings
from controller.station_check.findings_vacuum import vacuum_findings
from controller.station_check.findings_wire import wire_findings
from controller.station_check.prediction import Prediction, predict
from io_sim.parameters import PlantParameters
from io_sim.settings import load_plant

CAUTIONS = (
    "No sizing guarantee: the published methods for the friction of solids differ by a factor of 20, and the "
    "figures of plant.yaml are estimates until they are measured at the station.",
    "Ordinary software without performance level or SIL. Emergency stop, guards and the release of stored "
    "air are wired outside it.",
    "Local codes and licensed practice come first: pressure equipment, combustible dust, earthing, hygiene.",
)
NO_SALTATION = "Saltation was not compared: the library fluids is not installed (extra `check`)."


class Report(NamedTuple):
    """What the check found at a station."""

    station: str
    description: str
    product: str
    predicted: Prediction
    largest_batch_l: float
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]

    def count(self, verdict: Verdict) -> int:
        """How many findings have this verdict."""
        return sum(finding.verdict == verdict for finding in self.findings)

    @property
    def good(self) -> bool:
        """No finding is an error."""
        return self.count("error") == 0


def judge(
    plant: PlantParameters, presets: Presets, wired: Container[str], *, scatter: bool = True
) -> tuple[Prediction, tuple[Finding, ...]]:
    """
    Predict, and hold every figure against its limit; `wired` are the points that are fitted.

    Without `scatter` saltation is left out, which is never more than a warning.
    """
    predicted = predict(plant, presets)
    return predicted, (
        *line_findings(plant, predicted, wired, scatter=scatter),
        *vacuum_findings(plant, presets, predicted),
        *time_findings(plant, presets, predicted),
        *step_findings(presets, predicted),
        *motor_findings(plant, presets, predicted),
        *filter_findings(plant, presets, predicted),
        *supply_findings(plant, presets, predicted),
        *room_findings(plant, presets, predicted),
        *option_findings(plant, presets, predicted, wired),
    )


def errors(plant: PlantParameters, presets: Presets, wired: Container[str]) -> tuple[Finding, ...]:
    """The errors alone, in a tenth of the time of a whole check."""
    found = judge(plant, presets, wired, scatter=False)[1]
    return tuple(finding for finding in found if finding.verdict == "error")


def errors_at(folder: Path, presets: Presets, wired: Container[str]) -> tuple[Finding, ...]:
    """
    The errors alone, with the plant of a station folder.

    Raises:
        StationError: plant.yaml is wrong.
    """
    return errors(load_plant(folder), presets, wired)


def check_station(folder: Path) -> Report:
    """
    Check a station folder.

    Raises:
        StationError: Its files cannot be used; every reason, with its place.
    """
    (station, point_map, _), plant = together(lambda: load_rig_files(folder), lambda: load_plant(folder))
    receiver = station.receiver
    predicted, found = judge(plant, receiver.presets, station.wired)
    if point_map:
        found += wire_findings(point_map, receiver.presets)
    largest_l = largest_batch_m3(plant, predicted) * 1e3
    cautions = CAUTIONS if find_spec("fluids") else (NO_SALTATION, *CAUTIONS)
    return Report(
        receiver.name, receiver.description, receiver.product, predicted, largest_l, found, cautions
    )


def summary(report: Report) -> str:
    """The whole in one sentence."""
    p = report.predicted
    judged = (
        f"{_counted(report, 'error')} and {_counted(report, 'warning')} in {len(report.findings)} findings."
    )
    if not (p.batch_kg > 0.0 and math.isfinite(p.steps.cycle_ms)):
        ends = [name for name, ms in p.steps._asdict().items() if not math.isfinite(ms)]
        why = f"no end of {', '.join(ends)}" if ends else f"no product carried ({p.conveying.limited_by})"
        return f"Predicted: no batch, {why.replace('_ms', '')}; {judged}"
    return (
        f"Predicted {p.rate_kg_h / 1e3:.2f} t/h with {p.air_nm3_t:.0f} Nm3/t: {p.batch_kg:.1f} kg every "
        f"{p.steps.cycle_ms / 1e3:.1f} s, limited by {p.conveying.limited_by}; {judged}"
    )


def _counted(report: Report, verdict: Verdict) -> str:
    number = report.count(verdict)
    return f"{number} {verdict}" if number == 1 else f"{number} {verdict}s"


def as_json(report: Report) -> str:
    """The whole report as strict JSON; a figure that is not finite is null."""
    document = {
        "station": report.station,
        "good": report.good,
        "errors": report.count("error"),
        "warnings": report.count("warning"),
        "summary": summary(report),
        "prediction": report.predicted,
        "cycle_ms": report.predicted.steps.cycle_ms,
        "largest_batch_l": report.largest_batch_l,
        "findings": report.findings,
        "cautions": report.cautions,
    }
    return json.dumps(_plain(document), indent=2, allow_nan=False)


def _plain(value: Any) -> Any:
    if hasattr(value, "_asdict"):
        return _plain(value._asdict())
    if isinstance(value, dict):
        return {name: _plain(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
