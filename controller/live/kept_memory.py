"""
What the sequence keeps through a loss of power, on disk: whole, or as it was before.

A file of its own in the state folder, replaced in one step. What is only a clock of the sequence is written
with the rest, or once a minute: else the disk would be written in every scan.
"""

import json
import os
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from controller.sequence.logic import Logic
from controller.stations import folder_key

FILE = "kept.json"
FORMAT = 1
CLOCKS_EVERY_MS = 60_000
AGAIN_MS = 1_000
"""Between two tries on a disk that does not take it."""


class KeptError(Exception):
    """The kept memory cannot be read or written; says file and way out."""


def state_folder(station: Path) -> Path:
    """Where the memory of the station in this folder lies unless told otherwise: in the user's own folder."""
    named = os.environ.get("XDG_STATE_HOME", "")
    root = Path(named) if named and Path(named).is_absolute() else Path.home() / ".local" / "state"
    return root / "vacuum-receiver" / folder_key(station)


def read_kept(folder: Path, logic: Logic) -> dict[str, int]:
    """
    What was kept; empty at the first start. What today's logic does not keep is left out.

    Raises:
        KeptError: There is a file, and it is damaged or cannot be read.
    """
    path = folder / FILE
    try:
        text = path.read_text(encoding="ascii")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise _unreadable(path, str(error)) from error
    try:
        found: Any = json.loads(text)
        kept, whole = found["kept"], found["format"] == FORMAT and found["check"] == _check(found["kept"])
    except (ValueError, TypeError, KeyError) as error:
        raise _unreadable(path, "is damaged") from error
    if not whole or not all(isinstance(value, int) for value in kept.values()):
        raise _unreadable(path, "is damaged, or of another format")
    return {name: value for name, value in kept.items() if name in logic.kept}


def write_kept(folder: Path, kept: Mapping[str, int]) -> None:
    """
    Replaces what was kept, in one step.

    Raises:
        KeptError: It cannot be written.
    """
    replace(folder, FILE, {"format": FORMAT, "check": _check(kept), "kept": dict(kept)})


def replace(folder: Path, name: str, document: Mapping[str, Any]) -> None:
    """
    Writes a file of the state folder, in one step: it is the new one or the old one, never a part.

    Raises:
        KeptError: It cannot be written.
    """
    path, fresh = folder / name, folder / (name + ".new")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with fresh.open("w", encoding="ascii") as file:
            file.write(json.dumps(document) + "\n")
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, path)
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as error:
        msg = f"{path}: what is kept through a loss of power cannot be written: {error.strerror or error}"
        raise KeptError(msg) from error


class KeptMemory:
    """Follows the memory of the sequence; says when it is to be written, and what."""

    def __init__(self, logic: Logic) -> None:
        places = {name: place for place, name in enumerate(logic.memory)}
        self._names = {name: places[name] for name in logic.kept}
        self._prompt = [place for name, place in self._names.items() if not name.endswith("_ms")]
        self._seen: list[int] | None = None
        self._given: dict[str, int] = {}
        self._given_ms = 0
        self.failed = False
        """What was given last is not on the disk: set by whoever was to write it, in any thread."""

    def due(self, memory: Any, now_ms: int) -> dict[str, int] | None:
        """What is to be written after this scan; None where it can wait or nothing changed."""
        prompt = [memory[place] for place in self._prompt]
        wait_ms = AGAIN_MS if self.failed else CLOCKS_EVERY_MS
        if prompt == self._seen and now_ms - self._given_ms < wait_ms:
            return None
        self._seen, self._given_ms = prompt, now_ms
        return self.now(memory)

    def now(self, memory: Any) -> dict[str, int] | None:
        """The same, whatever can wait; None where all of it is written."""
        kept = {name: int(memory[place]) for name, place in self._names.items()}
        if kept == self._given and not self.failed:
            return None
        self._given, self.failed = kept, False
        return kept


def _check(kept: Mapping[str, int]) -> int:
    return zlib.crc32(json.dumps(sorted(kept.items())).encode())


def _unreadable(path: Path, why: str) -> KeptError:
    msg = f"{path}: what was kept through the loss of power: {why}; with that file removed the controller "
    msg += "starts as for the first time (batch on board unknown, line loaded)"
    return KeptError(msg)
