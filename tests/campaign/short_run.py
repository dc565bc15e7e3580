"""One short scenario of the mill, run once for all tests that look at a recording."""

from functools import cache
from pathlib import Path

from controller.campaign.runner import Outcome, Runner
from controller.campaign.scenario import Scenario
from controller.stations import station_folder

TEXT = """\
title: an unknown batch is emptied, the next one begins
why: w
station: buckwheat_mill
timeline:
  - at: 5s
    command: start
    expect:
      - reaches: step == VENT
        within: 4s
        not_before: 1s
      - lasts: step == WARNING
        range: 2s to 4s
  - enters: convey
lasts: 2s
acts_only: []
"""
RUNNER = Runner(name="generated")


@cache
def scenario(folder: Path) -> Scenario:
    file = folder / "short.yaml"
    file.write_text(TEXT, encoding="utf-8")
    return RUNNER.load(file, station_folder)


@cache
def outcome(folder: Path) -> Outcome:
    return RUNNER.run(scenario(folder))
