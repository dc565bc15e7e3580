"""The foreign controller in process, in virtual time: it passes, and each of its mistakes has a scenario that names it."""

import ast
from functools import cache
from pathlib import Path

import pytest
from foreign.box import MISTAKES
from foreign.in_process import InProcessEnd

from controller.campaign.results import Result, result_of
from controller.campaign.runner import Runner
from controller.campaign.wire_runner import WireRunner
from controller.sequence.steps import Step
from controller.stations import station_folder

FOLDER = Path(__file__).parents[2] / "configs" / "scenarios_wire"
FILES = sorted(FOLDER.glob("*.yaml"))
OWN = Runner(name="generated")
NAMED_BY = {
    "draws_unproven": "hanging_flap_is_never_drawn_on",
    "opens_under_vacuum": "standing_vacuum_keeps_the_flap_shut",
    "ignores_level": "full_vessel_holds_the_next_batch",
}
LONGEST_MS = 25_000
OF_THE_STEPS = {
    "WARNING": "horn_before_anything_moves", "SEAL": "hanging_flap_is_never_drawn_on", "DRAW": "no_vacuum_is_a_fault",
    "CONVEY": "feed_is_called_for_under_vacuum_only", "CLEAR": "line_is_drawn_empty_after_the_feed",
    "VENT": "standing_vacuum_keeps_the_flap_shut", "OPEN": "flap_that_does_not_open",
    "DRAIN": "flap_stays_open_until_the_batch_is_out", "PULSE": "filter_is_pulsed_over_the_open_flap",
    "SETTLE": "dust_settles_before_the_next_draw", "LEVEL_HOLD": "full_vessel_holds_the_next_batch",
    "FAULT": "safety_chain_stops_all_and_nothing_restarts",
}  # fmt: skip
OF_THE_LINK = ("link_goes_silent_while_drawing", "link_drops_while_drawing", "life_of_the_io_stands_still")


@cache
def boxed(mistake: str) -> WireRunner:
    """What runs scenarios on a box with this mistake, a new box for each."""
    return WireRunner(lambda _: InProcessEnd(mistake), "the box")


def on_box(file: Path, mistake: str = "") -> Result:
    runner = boxed(mistake)
    assert runner.engine
    return result_of(runner.run(runner.load(file, station_folder)), runner.engine)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_the_foreign_controller_passes_whole(file: Path) -> None:
    result = on_box(file)
    assert result.verdict == "passed", (result.broken, result.bad, result.not_judged)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_our_own_controller_passes_in_virtual_time_and_soon(file: Path) -> None:
    outcome = OWN.run(OWN.load(file, station_folder))
    assert outcome.verdict == "passed", (outcome.broken, outcome.judged)
    assert outcome.driven
    assert outcome.driven.end_ms < LONGEST_MS


@pytest.mark.parametrize("mistake", MISTAKES)
def test_each_mistake_is_named_by_one_scenario_and_by_no_other(mistake: str) -> None:
    verdicts = {file.stem: on_box(file, mistake).verdict for file in FILES}
    assert {name for name, verdict in verdicts.items() if verdict != "passed"} == {NAMED_BY[mistake]}
    assert verdicts[NAMED_BY[mistake]] == "failed"


def test_each_mistake_has_a_scenario_of_its_own() -> None:
    assert set(NAMED_BY) == set(MISTAKES)
    assert len(set(NAMED_BY.values())) == len(MISTAKES)


def test_each_step_and_each_failure_of_the_link_has_a_scenario() -> None:
    assert {*OF_THE_STEPS.values(), *OF_THE_LINK} <= {file.stem for file in FILES}
    not_said_at_the_io = {"REST", "REOPEN", "PURGE", "RECOVER"}
    assert {step.name for step in Step} - set(OF_THE_STEPS) == not_said_at_the_io


def test_the_foreign_controller_knows_nothing_of_this_project() -> None:
    for name in ("box.py", "io_list.py"):
        tree = ast.parse((Path(__file__).parent / name).read_text(encoding="utf-8"))
        modules = [a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names]
        modules += [str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
        assert not [module for module in modules if module.split(".")[0] in ("controller", "io_sim", "tests")]
