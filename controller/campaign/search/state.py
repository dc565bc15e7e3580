"""
What a search has done, in a file that outlives it: a line an episode, in order.

A line is written when its episode is done with all that it found; a search that was killed goes on after the
last whole line, and comes to the same end as one that was not.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from controller.problems import Problem, StationError

FILE = "search.jsonl"


class Find(NamedTuple):
    """A rule that an episode broke."""

    rule: str
    where: str  # of a rule that says that it goes on: where it stands still
    number: int  # of the episode
    file: str = ""  # the smallest scenario that shows it; empty: the rule was shown before
    deeds: int = 0  # in that file
    tries: int = 0
    shown: bool = False  # `receiver scenarios` fails on it


class Line(NamedTuple):
    """An episode that is done."""

    number: int
    ms: int  # of plant time
    finds: tuple[Find, ...]
    tried: Mapping[str, int]  # what was done, how often
    reached: tuple[str, ...]  # steps, and interlocks that tripped


class State:
    """
    The file of one search.

    Raises:
        StationError: The folder holds another search, or the file cannot be written.
    """

    def __init__(self, folder: Path, search: dict[str, Any]) -> None:
        self._path, self.lines = folder / FILE, list[Line]()
        head = json.dumps(search, sort_keys=True)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            found = self._path.read_text(encoding="utf-8").split("\n")[:-1] if self._path.exists() else []
            if found and found[0] != head:
                self._refuse(found[0], head)
            self.lines = [_line(text) for text in found[1:]]
            self._path.write_text("".join(f"{text}\n" for text in found or [head]), encoding="utf-8")
        except OSError as error:
            raise StationError([Problem(str(self._path), 0, 0, "", f"{error.strerror}")]) from None

    def add(self, line: Line) -> None:
        """One more episode."""
        self.lines.append(line)
        document = {**line._asdict(), "finds": [find._asdict() for find in line.finds]}
        with self._path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(document) + "\n")

    @property
    def ms(self) -> int:
        """Plant time of all that is done."""
        return sum(line.ms for line in self.lines)

    @property
    def finds(self) -> list[Find]:
        """All that was found."""
        return [find for line in self.lines for find in line.finds]

    def _refuse(self, there: str, asked: str) -> None:
        old, new = json.loads(there), json.loads(asked)
        differ = [f"{key} {old.get(key)}, not {new[key]}" for key in new if old.get(key) != new[key]]
        said = f"is of another search ({'; '.join(differ)}): choose another --out, or remove it"
        raise StationError([Problem(str(self._path), 0, 0, "", said)])


def _line(text: str) -> Line:
    document = json.loads(text)
    finds = tuple(Find(**find) for find in document.pop("finds"))
    return Line(**document, finds=finds)
