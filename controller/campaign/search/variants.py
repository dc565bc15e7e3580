"""
What is fitted or chosen otherwise than at the station, so that a search meets options that nobody there uses.

A variant is written as a scenario file writes it; where a station cannot have it, it is left out.
"""

from pathlib import Path
from typing import Any

import yaml

from controller.campaign.runner import Runner
from controller.campaign.scenario import Scenario
from controller.problems import StationError

AS_SET = ""
VARIANTS: dict[str, dict[str, Any]] = {
    AS_SET: {},
    "waits": {  # for air and for the process below, and is started from afar
        "wired": ["plant_enable"],
        "presets": {
            "supply_air": {"supply_low_effect": "wait"},
            "start": {"plant_enable_fitted": True, "remote_start_allowed": True},
            "convey": {"finish_fill_on_stop": True},
        },
    },
    "holds": {  # its batch over a full vessel, behind a flap that keeps its place
        "wired": ["flap_close_cmd"],
        "presets": {"flap": {"flap_valve": "two_coils"}, "level": {"level_policy": "hold_batch"}},
        "plant": {"flap": {"valve": "two_coils"}},
    },
}


def fitted(variant: str, station: str, folder: Path, runner: Runner) -> Scenario:
    """
    A station in a variant, as a scenario in which nothing happens.

    Raises:
        StationError: The station is wrong, or cannot be so.
    """
    document = {"title": "t", "why": "w", "station": station, "timeline": [{"at": "10ms"}]}
    return runner.load_text(yaml.safe_dump(document | VARIANTS[variant]), lambda _: folder)


def possible(station: str, folder: Path, runner: Runner) -> list[str]:
    """The variants that a station can have, itself first."""
    found = [AS_SET]
    for variant in VARIANTS:
        try:
            fitted(variant, station, folder, runner)
        except StationError:
            continue
        found.append(variant)
    return list(dict.fromkeys(found))
