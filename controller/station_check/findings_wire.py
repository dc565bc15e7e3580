"""Findings of the wire: what the map of a station lets happen between its requests, and after the last."""

from controller.modbus.map_remarks import SOURCE, remarks
from controller.modbus.point_map import PointMap
from controller.sequence.presets import Presets
from controller.station_check.findings import Finding, finding, place, remark

TOGETHER_MS = 1_000
"""Loss of I/O and watchdog, one after the other; common practice, no source."""


def wire_findings(found: PointMap, presets: Presets) -> tuple[Finding, ...]:
    """Of outputs that may be torn or stay on for too long, and of inputs not of one instant."""
    said = (
        remark(said.what, said.follows, SOURCE, verdict="warning" if said.warns else "ok")
        for said in remarks(found)
    )
    high_ms = TOGETHER_MS - presets.io_lost_ms
    watchdog = finding(
        "watchdog_ms", found.watchdog_ms, "ms",
        f"set it to {high_ms} ms at most in {found.file} and in the module: for so long valves stay "
        "energised after the controller died",
        f"common practice, no source: with {place('io_lost_ms')}, {presets.io_lost_ms} ms, under a second",
        low=presets.io_lost_ms + 1, high=high_ms, fails="warning", needs=f"a shorter {place('io_lost_ms')}",
    )  # fmt: skip
    return (*said, watchdog)
