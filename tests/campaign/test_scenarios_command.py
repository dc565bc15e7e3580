"""`receiver scenarios` where something crashes, and what it prints of what it does."""

import os
import shlex
from pathlib import Path

import pytest
from rich.console import Console

from controller.campaign import command
from controller.campaign.runner import Outcome, Runner
from controller.campaign.scenario import Scenario
from controller.campaign.where import read_on
from controller.stations import station_folder

TEXT = """\
title: Nothing happens
why: It is not asked to.
station: buckwheat_mill
timeline: [{at: 10ms}]
lasts: 100ms
"""
NAMES = ("one", "dies", "three", "dies_too", "five")


@pytest.fixture
def files(tmp_path: Path) -> list[Path]:
    for name in NAMES:
        (tmp_path / f"{name}.yaml").write_text(TEXT, encoding="utf-8")
    return [tmp_path / f"{name}.yaml" for name in NAMES]


def test_a_process_that_dies_breaks_its_scenario_and_no_other(
    files: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    runs, here = Runner.run, os.getpid()

    def dying(self: Runner, scenario: Scenario) -> Outcome:
        if scenario.name.startswith("dies") and os.getpid() != here:
            os._exit(9)
        return runs(self, scenario)

    monkeypatch.setattr(Runner, "run", dying)
    done = list(command.results(command.Ask(files, None, 2), station_folder))
    assert [(r.name, r.verdict) for r in done] == [
        ("one", "passed"), ("dies", "broken"), ("three", "passed"), ("dies_too", "broken"), ("five", "passed"),
    ]  # fmt: skip
    assert done[1].broken == command.DIED
    assert "3 passed, 2 broken" in command.summary(done, 1.0)


def test_a_page_that_cannot_be_drawn_breaks_its_scenario_and_no_other(
    files: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def page_of(outcome: Outcome, _: object) -> str:
        if outcome.scenario.name == "dies":
            msg = "no such colour"
            raise KeyError(msg)
        return "<p>"

    monkeypatch.setattr(command, "page_of", page_of)
    ask = command.Ask(files[:3], None, 1, tmp_path / "out", "all")
    done = list(command.results(ask, station_folder))
    assert [r.verdict for r in done] == ["passed", "broken", "passed"]
    console = Console(record=True, width=200)
    command.show(console, done[1], ask)
    assert "could not be run: KeyError: 'no such colour'" in console.export_text()


@pytest.mark.parametrize(
    "options",
    ["", " --station 'my mill'", " --on modbus:127.0.0.1:1502", " --station sugar_kitchen --on realtime --rate 2.5"],
)
def test_what_failed_is_run_again_where_it_ran(options: str) -> None:
    words = iter(shlex.split(options))
    given = dict(zip(words, words, strict=True))
    on = read_on(given.get("--on", "virtual"), float(given.get("--rate", 1)), None)
    ask = command.Ask([], given.get("--station"), 1, on=on)
    assert ask.again("a.yaml") == f"receiver scenarios a.yaml{options}"
