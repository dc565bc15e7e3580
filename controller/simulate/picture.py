"""The picture of one cycle, as SVG: steps, outputs, switches and physical values over time."""

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

from controller.engines.diagram import NO_METADATA
from controller.problems import install_with
from controller.records import CycleRecord
from controller.sequence.steps import STATES, Step
from controller.simulate.segment import Segment

FILE = "cycle.svg"
OUTPUTS = ("source_cmd", "feed_cmd", "purge_cmd", "vent_close_cmd", "flap_open_cmd", "pulse_1_cmd")
SWITCHES = ("flap_closed_fb", "flap_open_fb", "level_free")
LANES = (*OUTPUTS, *SWITCHES)
READINGS = ("body_pa", "header_pa", "tank_pa", "line_kg", "body_kg", "vessel_kg")
COLUMNS = ("step", *LANES)
TINTS = {
    "IDLE": "#e6e6e6",
    "SUCTION": "#cfe3f5",
    "EMPTYING": "#fbe3c2",
    "FILTER_CLEAN": "#d8efd3",
    "LEVEL_HOLD": "#ece2f5",
    "FAULT": "#f6c7c4",
}
LEAD_MS = 500
"""What is shown before the cycle begins."""

THIN = 2
"""Of the physical values each second scan is drawn: 20 ms, half of the quickest time constant."""


class CyclePicture:
    """
    Keeps the trace of the cycle that will be drawn: the first that tripped, else the last whole batch.

    Feed it every segment, then the record of a cycle that ended in it.
    """

    def __init__(self, air_pa: float) -> None:
        self._air_pa = air_pa
        self._now: dict[str, list[Any]] = {name: [] for name in ("ms", *COLUMNS, *READINGS)}
        self._chosen: dict[str, list[Any]] = {}
        self._record: CycleRecord | None = None

    def take(self, segment: Segment) -> None:
        """Takes the trace of a segment."""
        now = self._now
        now["ms"] += range(segment.first_ms, segment.last_ms + 1, segment.scan_ms)
        for name in COLUMNS:
            now[name] += segment.column(name)
        for name in READINGS:
            now[name] += segment.reading(name)

    def cycle_ended(self, record: CycleRecord) -> None:
        """Decides whether this cycle is a better one to draw than what was kept."""
        if self._record and self._record.result.startswith("trip"):
            return
        if record.result.startswith("trip") or (record.result == "complete" and record.kind == "batch"):
            first = self._now["ms"].index(max(record.start_ms - LEAD_MS, self._now["ms"][0]))
            self._chosen, self._record = {k: v[first:] for k, v in self._now.items()}, record
        self._now = {name: values[-LEAD_MS // 10 :] for name, values in self._now.items()}

    def draw(self, out: Path, station: str) -> list[str]:
        """Writes the picture into the run folder; says why it could not."""
        if self._record is None:
            return ["No picture: no batch ended in this run."]
        try:
            import matplotlib as mpl
        except ModuleNotFoundError:
            return [f"No picture: matplotlib is not installed; run: {install_with('plot')}"]
        mpl.use("Agg")
        figure = self._figure(station, self._record)
        with mpl.rc_context(
            {"svg.hashsalt": "cycle", "svg.fonttype": "none", "path.simplify_threshold": 0.5}
        ):
            figure.savefig(out / FILE, metadata=NO_METADATA)
        return []

    def _figure(self, station: str, record: CycleRecord) -> Any:
        from matplotlib.figure import Figure

        figure = Figure(figsize=(11, 9), layout="constrained")
        lanes, vacuum, air, mass = figure.subplots(
            4, 1, sharex=True, gridspec_kw={"height_ratios": [3.2, 1.8, 1.3, 1.6]}
        )
        figure.suptitle(
            f"{station}, cycle {record.number}, {_why(record)}: simulated, {record.kind}, {record.result}, "
            f"{record.delivered_kg:.2f} kg, {record.air_nm3:.3f} Nm\N{SUPERSCRIPT THREE} of air",
            fontsize=11,
        )
        t = [ms / 1_000 for ms in self._chosen["ms"]]
        thin = slice(None, None, THIN)
        self._draw_steps(lanes, (vacuum, air, mass), t)
        self._draw_lanes(lanes, t)
        chosen, air_pa = self._chosen, self._air_pa
        vacuum.plot(
            t[thin], [(air_pa - pa) / 1_000 for pa in chosen["body_pa"][thin]], color="#1f4e79", lw=1.2
        )
        vacuum.set_ylabel("body vacuum\n[kPa]")
        for name, label, colour in (
            ("header_pa", "supply", "#1f4e79"),
            ("tank_pa", "pulse tanks", "#b5541c"),
        ):
            air.plot(
                t[thin], [(pa - air_pa) / 1e5 for pa in chosen[name][thin]], label=label, color=colour, lw=1.2
            )
        air.set_ylabel("air\n[bar gauge]")
        for name, label, colour in (
            ("line_kg", "in the line", "#7a7a7a"),
            ("body_kg", "in the receiver", "#1f4e79"),
            ("vessel_kg", "in the vessel below", "#b5541c"),
        ):
            mass.plot(t[thin], chosen[name][thin], label=label, color=colour, lw=1.2)
        mass.set_ylabel("product\n[kg]")
        mass.set_xlabel("time since power-up [s]")
        for axes in (vacuum, air, mass):
            axes.grid(color="#dddddd", lw=0.5)
            axes.spines[["top", "right"]].set_visible(False)
        for axes in (air, mass):
            axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False, fontsize=8)
        lanes.set_xlim(t[0], t[-1])
        return figure

    def _draw_steps(self, lanes: Any, others: tuple[Any, ...], t: list[float]) -> None:
        """The lane of the steps, tinted by state; the tints run through all panels."""
        state_of = {Step(step): state for state, steps in STATES.items() for step in steps}
        for begins, ends, step in _runs(self._chosen["step"]):
            left, right = t[begins], t[ends]
            tint = TINTS[state_of[Step(step)]]
            lanes.broken_barh([(left, right - left)], (len(LANES), 0.9), color=tint, ec="#888888", lw=0.4)
            for axes in others:
                axes.axvspan(left, right, color=tint, alpha=0.45, lw=0)
            name = Step(step).name.lower().replace("_", " ")
            wide = right - left > 0.045 * (t[-1] - t[0])
            lanes.text(
                (left + right) / 2, len(LANES) + (0.42 if wide else 1.05), name, fontsize=7,
                rotation=0 if wide else 90, ha="center", va="center" if wide else "bottom",
            )  # fmt: skip

    def _draw_lanes(self, lanes: Any, t: list[float]) -> None:
        """One bar a lane, drawn while the point is on."""
        for place, name in enumerate(reversed(LANES)):
            colour = "#1f4e79" if name in OUTPUTS else "#6b8e4e"
            bars = [(t[a], t[b] - t[a]) for a, b, on in _runs(self._chosen[name]) if on]
            lanes.broken_barh(bars, (place, 0.75), color=colour, lw=0)
            lanes.axhline(place, color="#bbbbbb", lw=0.4, zorder=0)
        lanes.set_yticks(
            [k + 0.37 for k in range(len(LANES) + 1)],
            [*(name.replace("_", " ") for name in reversed(LANES)), "step"], fontsize=8,
        )  # fmt: skip
        lanes.set_ylim(-0.3, len(LANES) + 2.2)
        lanes.tick_params(axis="y", length=0)
        lanes.spines[["top", "right", "left"]].set_visible(False)


def _why(record: CycleRecord) -> str:
    """Why this cycle was chosen to be drawn."""
    return "the first that tripped" if record.result.startswith("trip") else "the last whole batch"


def _runs(values: Sequence[int]) -> list[tuple[int, int, int]]:
    """Stretches of equal value: first place, place after it (at most the last), value."""
    ends = [k for k in range(1, len(values)) if values[k] != values[k - 1]]
    return [(a, min(b, len(values) - 1), values[a]) for a, b in pairwise((0, *ends, len(values)))]
