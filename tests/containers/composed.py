"""docker-compose.yml as the tests read it: values filled in, and what a container sees laid out in a folder."""

import ipaddress
import re
import shutil
from functools import cache
from pathlib import Path
from typing import Any

import yaml

ROOT = Path(__file__).parents[2]
FILE = ROOT / "docker-compose.yml"
HERE = ROOT / "configs" / "containers"
MADE = "runs/containers/"
"""What prepare.py makes; not in the tree."""


@cache
def composed() -> dict[str, Any]:
    """The file with its anchors resolved, nothing filled in."""
    return yaml.safe_load(FILE.read_text(encoding="utf-8"))


def services() -> dict[str, dict[str, Any]]:
    return composed()["services"]


def filled(text: str, **values: str) -> str:
    """Variables and `$$`, as the Compose Specification fills them in; a variable that is not given is an error."""

    def value(found: re.Match[str]) -> str:
        return "$" if found[0] == "$$" else values[found[1]]

    return re.sub(r"\$\$|\$\{(\w+)(?::\?[^}]*)?\}", value, text)


def binds(service: str) -> list[tuple[str, str, bool]]:
    """What is bound into a container: where it lies here, where there, and whether for reading alone."""
    found = []
    for one in services()[service]["volumes"]:
        if isinstance(one, str):
            source, target, *mode = one.split(":")
            found.append((source, target, mode == ["ro"]))
        else:
            found.append((one["source"], one["target"], one.get("read_only", False)))
    return [(source.removeprefix("./"), target, read_only) for source, target, read_only in found]


def laid_out(service: str, folder: Path) -> Path:
    """The station of a container, one bind laid over the other; its folder."""
    for source, target, _ in binds(service):
        if target.startswith("/station/"):
            here = ROOT / source
            (shutil.copytree if here.is_dir() else shutil.copy)(here, folder / target[1:])
    return folder / "station" / "buckwheat_mill"


def address(service: str) -> ipaddress.IPv4Address:
    """Of a service on the network of Modbus."""
    return ipaddress.IPv4Address(services()[service]["networks"]["wire"]["ipv4_address"])


def seconds(text: str) -> int:
    assert re.fullmatch(r"\d+s", text), text
    return int(text[:-1])
