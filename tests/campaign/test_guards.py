"""
Each scenario of the library fails without any one of the table lines that it guards.

A scenario that stays green without its line shows nothing of it. That it passes as it stands is shown in
`test_library`. Interpreted: a logic with a line less would have to be compiled for each line. All of them take
ten minutes, so `make test` takes one in forty, always the same, and `make soak` all (ALL_GUARDS=1).
"""

import os
import zlib
from pathlib import Path

import pytest

from controller.campaign.planted import without
from controller.campaign.runner import Runner
from controller.campaign.scenario_file import read
from controller.campaign.words import guarded
from controller.problems import StationError
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER

CONFIGS = Path(__file__).parents[2] / "configs"
FILES = sorted((CONFIGS / "scenarios").glob("*.yaml"))
LOGIC = Logic(RECEIVER)


def guards(path: Path) -> list[str]:
    """The lines that a file guards; of a file that cannot be read one, so that its own test tells why."""
    try:
        return read(path).value.guards
    except StationError:
        return ["a file that cannot be read"]


SHARE = 1 if os.environ.get("ALL_GUARDS") else 40
GUARDED = [
    (path, text)
    for path in FILES
    for text in guards(path)
    if zlib.crc32(f"{path.stem}: {text}".encode()) % SHARE == 0
]


@pytest.mark.parametrize(("path", "text"), GUARDED, ids=[f"{path.stem}: {text}" for path, text in GUARDED])
def test_it_fails_without_the_line_that_it_guards(path: Path, text: str) -> None:
    read(path)
    runner = Runner(without(LOGIC, guarded(LOGIC, text)), name="generated", check=False)
    outcome = runner.run(runner.load(path, CONFIGS.joinpath))
    assert outcome.verdict == "failed", outcome.broken or f"passes without {text}"


@pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
def test_it_names_what_it_guards_and_what_it_shows(path: Path) -> None:
    head = read(path).value
    assert head.guards
    assert head.shows
