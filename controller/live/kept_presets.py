"""
The presets of a station's last run, beside its kept memory, and what is different now.

Presets are read when a run starts and stay as they are until it ends, so a change shows at the next start.
Remembered are those of runs that leave a journal: a change is told in the next journal, whatever ran between.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from controller.live.kept_memory import replace
from controller.sequence.presets import Presets

FILE = "presets.json"
FORMAT = 1


class Changed(NamedTuple):
    """A preset that is not what it was; None: the version of before or of now has none of this name."""

    name: str
    before: int | None
    now: int | None

    @property
    def said(self) -> str:
        """
        In words.

        >>> Changed("fill_ms", 9_000, 8_000).said, Changed("purge_ms", None, 500).said
        ('fill_ms was 9000, is 8000', 'purge_ms was not there, is 500')
        """
        was, now = ("not there" if value is None else value for value in (self.before, self.now))
        return f"{self.name} was {was}, is {now}"


def changed(folder: Path | None, presets: Presets) -> list[Changed] | None:
    """What is different from the last run that left a journal; None: nothing is known of one."""
    before = _read(folder / FILE) if folder else None
    if before is None:
        return None
    now: Mapping[str, int] = presets._asdict()
    found = (Changed(name, before.get(name), now.get(name)) for name in dict.fromkeys((*now, *before)))
    return [preset for preset in found if preset.before != preset.now]


def remember(folder: Path, presets: Presets) -> None:
    """
    These are the presets of the last run from here on.

    Raises:
        KeptError: They cannot be written.
    """
    replace(folder, FILE, {"format": FORMAT, "presets": presets._asdict()})


def _read(path: Path) -> Mapping[str, int] | None:
    """None: there is no such file, or it cannot be read: that keeps no receiver from its work."""
    try:
        found: Any = json.loads(path.read_text(encoding="ascii"))
        known = found["format"] == FORMAT and all(
            isinstance(value, int) for value in found["presets"].values()
        )
        return dict(found["presets"]) if known else None
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return None
