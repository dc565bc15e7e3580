"""Where stations lie: folders, and the stations that come with the program by name."""

import os
import re
from hashlib import sha256
from pathlib import Path

from controller.problems import Problem, StationError, did_you_mean


def station_folder(name_or_path: str) -> Path:
    """
    The folder of a station: a folder by its path, or one of the stations that come with the program by name.

    Raises:
        StationError: there is no such station; says which there are.
    """
    path = Path(name_or_path)
    known = {folder.name: folder for folder in sorted(_stations())}
    if not name_or_path.strip():
        said = f"the name is empty: name a folder, or one of {', '.join(known)}"
        raise StationError([Problem("station", 0, 0, "", said)])
    if path.is_dir():
        return path
    if name_or_path in known:
        return known[name_or_path]
    if path.exists():
        said = f"is a file: name its folder, {path.parent}"
    else:
        said = f"is neither a folder nor one of {', '.join(known)}{did_you_mean(name_or_path, known)}"
    raise StationError([Problem(name_or_path, 0, 0, "", said)])


def folder_key(folder: Path) -> str:
    """
    What a station's socket and memory are named after: its folder's name and a hash of where it lies.

    Two folders of one name are two machines. Of up to 33 characters; the folder need not be readable.

    >>> folder_key(Path("/mills/halle 3"))
    'halle_3-1e83e405'
    """
    path = folder.resolve()
    plain = re.sub(r"[^A-Za-z0-9_.-]", "_", path.name)[:24]
    return f"{plain}-{sha256(os.fsencode(path)).hexdigest()[:8]}"


def _stations() -> list[Path]:
    """Stations in the installed package, or in the checkout that an editable install runs from."""
    from importlib.resources import files

    packaged = Path(str(files("controller"))) / "_configs"
    configs = packaged if packaged.is_dir() else Path(__file__).parents[1] / "configs"
    return [receiver.parent for receiver in configs.glob("*/receiver.yaml")]
