"""
All that a rig reads of a station's folder before it connects: settings, points, map and services.

`receiver check` reads the same, so that it tells every mistake for which `receiver run` would refuse.
"""

from pathlib import Path
from typing import NamedTuple

from controller.modbus.point_map import FILE as MAP
from controller.modbus.point_map import PointMap
from controller.problems import together
from controller.reporting.services import Services, load_services
from controller.settings import Station, load_station, load_station_map


class RigFiles(NamedTuple):
    """The files of a station, which agree with each other."""

    station: Station
    map: PointMap | None  # None: there is none, or it was not asked for
    services: Services


def load_rig_files(folder: Path, *, with_map: bool = True) -> RigFiles:
    """
    The files of a station; without modbus.yaml there is no map, without services.yaml nobody is told.

    Raises:
        StationError: Every problem of all of them.
    """

    def settings() -> tuple[Station, PointMap | None]:
        if with_map and (folder / MAP).exists():
            return load_station_map(folder)
        return load_station(folder), None

    (station, found), services = together(settings, lambda: load_services(folder))
    return RigFiles(station, found, services)
