"""The README shows real runs: its console blocks are what the commands print, and its picture is the tables'."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from controller.cli import app
from controller.engines.diagram import svg
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SHOWN = re.findall(r"<!-- runs: (.*?) -->\n```console\n\$ [^\n]*\n(.*?)```", README, re.DOTALL)
TIMING = re.compile(r".* of plant time in .* s, .* x real time")


def printed(arguments: str) -> list[str]:
    """What a command prints, but the line that says how long it took."""
    done = CliRunner().invoke(app, arguments.split())
    assert done.exit_code == 0, done.output
    return [line.rstrip() for line in done.output.splitlines() if not TIMING.match(line)]


def test_the_readme_shows_runs():
    assert len(SHOWN) == 2


@pytest.mark.parametrize(("arguments", "shown"), SHOWN, ids=[a for a, _ in SHOWN])
def test_what_the_readme_shows_is_what_is_printed(arguments, shown):
    assert [line for line in shown.splitlines() if not TIMING.match(line)] == printed(arguments)


def test_the_picture_is_drawn_from_the_tables_of_today(tmp_path):
    svg(Logic(RECEIVER), tmp_path / "sequence.svg")
    assert (tmp_path / "sequence.svg").read_bytes() == (ROOT / "docs" / "sequence.svg").read_bytes(), (
        "run: receiver diagram buckwheat_mill --out docs/sequence.svg"
    )
