"""Findings of the wire: what the map of a station lets happen between its requests."""

from controller.modbus.map_remarks import SOURCE, remarks
from controller.modbus.point_map import PointMap
from controller.station_check.findings import Finding, remark


def wire_findings(found: PointMap) -> tuple[Finding, ...]:
    """A warning where the outputs may be torn, a remark where the inputs are not of one instant."""
    return tuple(
        remark(said.what, said.follows, SOURCE, verdict="warning" if said.warns else "ok")
        for said in remarks(found)
    )
