"""A run of the mill that fails in three ways, for what is drawn of it."""

from functools import cache

from controller.campaign.results import Result, result_of
from controller.campaign.run_page import page_of
from controller.campaign.runner import Outcome, Runner
from controller.stations import station_folder

TEXT = """\
title: Nothing </script><b> may end the page early & "so on"
why: An order that is not followed at once, and a horn where none is allowed.
station: buckwheat_mill
timeline:
  - at: 1s
    command: start
    expect:
      - reaches: step == CONVEY
        within: 3s
        because: it takes longer, and this is what is shown
      - reaches: step == WARNING
        within: 100ms
  - at: 6s
    fail: level_probe_stuck_covered
    during: 2s
  - at: 9s
    power_cut: 1s
lasts: 4s
never: [horn and vacuum_pa < 5_000]
acts_only: []
"""


@cache
def failing_run() -> tuple[Outcome, Result]:
    """The run and its result."""
    runner = Runner(name="generated")
    outcome = runner.run(runner.load_text(TEXT, station_folder, "late"))
    assert runner.engine is not None
    assert outcome.broken == ""
    return outcome, result_of(outcome, runner.engine)


@cache
def failing_page() -> str:
    """Its page."""
    return page_of(*failing_run())
