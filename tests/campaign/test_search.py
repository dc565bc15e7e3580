"""Mistakes planted in the logic are found by chance and made small; a search that was stopped ends alike."""

import ast
from collections.abc import Sequence
from concurrent.futures import Executor
from pathlib import Path
from typing import Any

import pytest
from campaign.short_search import HONEST, LOGIC, MILL, bench, without_horn

from controller.campaign.planted import changed
from controller.campaign.scenario import Action, Deed
from controller.campaign.search.command import Ask, Bench, Here, Search, shown, summary
from controller.campaign.search.episode import Episode, written
from controller.campaign.search.invariants import DELIVERS, INVARIANTS, LIVENESS
from controller.campaign.search.state import FILE, Line
from controller.campaign.search.trial import NOTHING_FALLS, Trial
from controller.problems import StationError
from controller.stations import station_folder

STARTED = (Deed(1_000, Action("command", "start", 1)),)
FULL = (("vessel_start_kg", 60.0), ("vessel_demand_kg_h", 0.0))


def search(where: Bench, out: Path, for_ms: int, seed: int = 1) -> Search:
    ask = Ask("buckwheat_mill", MILL, for_ms, seed, 1, out)

    def here(what: str, *given: Any) -> Any:
        return getattr(where, what)(*given)

    pool: Executor = Here()
    return Search(ask, where, pool, here)


def honest_verdict(file: Path) -> str:
    return HONEST.run(HONEST.load(file, station_folder)).verdict


def test_a_start_without_horn_is_found_and_shrunk_to_the_start_alone(tmp_path: Path) -> None:
    going = search(bench(without_horn()), tmp_path, for_ms=1_000)
    finds = [find for line in going.lines() for find in line.finds]
    (find,) = [find for find in finds if find.rule == "moves_without_horn"]
    assert (find.deeds, find.shown) == (1, True)
    file = tmp_path / find.file
    text = file.read_text(encoding="utf-8")
    assert text.count("- at:") == 1
    assert "command: start" in text
    assert honest_verdict(file) == "passed"
    assert f"receiver scenarios {file}" in shown(find, tmp_path)
    assert "moves_without_horn 1" in summary(going.state, 1.0, 0)


@pytest.mark.usefixtures("soon")
def test_a_receiver_that_never_starts_again_is_found(tmp_path: Path) -> None:
    deaf = changed(LOGIC, {"start_refused": ast.Constant(True)})
    going = search(bench(deaf, delivers_ms=3_000), tmp_path, for_ms=1_000)
    finds = [find for line in going.lines() for find in line.finds]
    assert [(f.rule, f.where, f.shown) for f in finds] == [(DELIVERS, "REST", True)]
    file = tmp_path / finds[0].file
    text = file.read_text(encoding="utf-8")
    assert "enters: drain" in text
    assert "delivers_kg: at least 0.77" in text  # a tenth of 14 l at 550 kg/m3
    file.write_text(text.replace(": 3s", ": 45s"), encoding="utf-8")  # two batches of one that hears
    assert honest_verdict(file) == "passed"


def test_an_honest_receiver_breaks_nothing_and_the_same_number_is_the_same_episode() -> None:
    trial = Trial("buckwheat_mill", MILL, HONEST, 8_000, 0)
    first, second, other = trial.drawn(1, 3), trial.drawn(1, 3), trial.drawn(2, 3)
    assert first == second
    assert first.violations == ()
    assert first.episode.deeds != other.episode.deeds
    again = trial.again(first.episode)
    assert (again.violations, again.ran_ms) == (first.violations, first.ran_ms)


def test_a_search_that_was_stopped_goes_on_and_ends_alike(tmp_path: Path) -> None:
    where = bench(without_horn(), longest_ms=2_000)
    whole, parts = tmp_path / "whole", tmp_path / "parts"
    lines: list[Line] = list(search(where, whole, for_ms=7_000).lines())
    assert len(lines) >= 3
    next(search(where, parts, for_ms=7_000).lines())
    with (parts / FILE).open("a", encoding="utf-8") as file:
        file.write('{"number": 1, "ms": 2')  # it was killed while it wrote
    rest = list(search(where, parts, for_ms=7_000).lines())
    assert len(rest) == len(lines) - 1
    told = [{p.name: p.read_text(encoding="utf-8") for p in sorted(f.iterdir())} for f in (whole, parts)]
    assert told[0] == told[1]


def test_another_search_in_the_same_folder_is_refused(tmp_path: Path) -> None:
    where = bench(LOGIC)
    search(where, tmp_path, for_ms=1)
    with pytest.raises(StationError, match=r"another search \(seed 1, not 2\)"):
        search(where, tmp_path, for_ms=1, seed=2)


@pytest.fixture
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """After an episode all is put right at once."""
    for name, ms in (("SETTLES_MS", 500), ("RESETS_MS", 1_000), ("AGAIN_MS", 3_000), ("HAND_MS", 500)):
        monkeypatch.setattr(f"controller.campaign.search.episode.{name}", ms)


@pytest.mark.usefixtures("soon")
def test_drains_that_bring_nothing_are_no_delivery(tmp_path: Path) -> None:
    empty = bench(changed(LOGIC, {"fill_over": ast.Constant(True)})).trial(0)
    episode = Episode("buckwheat_mill", 1, (), (), 1_000, 45_000, delivers_kg=0.77)
    (found,) = empty.again(episode).violations
    assert (found.rule, found.where) == (DELIVERS, NOTHING_FALLS)
    assert bench(LOGIC).trial(0).again(episode).violations == ()
    file = tmp_path / "found.yaml"
    file.write_text(written(episode, LIVENESS, ""), encoding="utf-8")
    assert empty.runner.run(empty.runner.load(file, station_folder)).verdict == "failed"
    assert honest_verdict(file) == "passed"


def test_a_rule_is_excused_from_the_onset_on_and_not_before() -> None:
    deaf = bench(changed(LOGIC, {"vessel_full": ast.Constant(False)})).trial(0)

    def broken(lump_at_ms: int) -> set[str]:
        deeds = (*STARTED, Deed(lump_at_ms, Action("fail", "level_probe_delayed", 1)))
        return {v.rule for v in deaf.again(Episode("buckwheat_mill", 1, FULL, deeds, 36_000, 0)).violations}

    assert "vessel_overfull" in broken(35_500)
    assert "vessel_overfull" not in broken(2_000)


OUTPUTS = LOGIC.definition.outputs._fields
ALL_ON = {name: ast.Constant(True) for name in OUTPUTS if name not in ("horn", "run_lamp", "fault_lamp")}
PRESSED = [
    Deed(500, Action("command", "manual", 1, source="socket")),
    Deed(700, Action("command", "automatic", 1, source="socket")),
    Deed(800, Action("set", "image_age_ms", 900)),
]
HELD = [
    Deed(10, Action("set", "start_pb", 1)),
    Deed(50, Action("power_cut", "", 100)),
    Deed(4_500, Action("set", "image_age_ms", 900)),
    Deed(4_600, Action("set", "image_age_ms", 0)),
    Deed(4_700, Action("command", "reset", 1)),
]
NEVER = ast.Constant(False)
NO_EDGE = {
    "start_edge": ast.parse("s.start_wanted", mode="eval").body,
    "start_was_held": ast.Constant(False),
    "warned": ast.Constant(True),
    "warned_with_batch": ast.Constant(False),
}


MISTAKES: list[tuple[dict[str, ast.expr], Sequence[Deed], int, set[str]]] = [
    (
        ALL_ON, PRESSED, 1_500,
        {"draw_off_seat", "flap_opens_on_the_source", "both_coils", "fault_moves", "rest_moves",
         "moves_without_horn", "flap_opens_without_horn", "flap_closes_without_horn",
         "feeds_outside_convey",
         "pulses_on_the_source", "two_groups_at_once", "pulse_too_long", "opens_with_vent_shut",
         "draws_through_the_gap"},
    ),
    (
        NO_EDGE, HELD, 9_000,
        {"starts_on_a_button_held_through_power_up", "starts_on_a_button_held_through_reset"},
    ),
    ({"asked": ast.Constant(True)}, [], 200, {"starts_unasked"}),
    ({"step_over_bound": ast.Constant(True)}, STARTED, 5_000, {"step_too_long"}),
    ({"vessel_full": NEVER}, STARTED, 40_000, {"vessel_overfull"}),
    ({"step_over_bound": NEVER, "fill_over": NEVER}, STARTED, 40_000, {"body_overfull"}),
    ({"step_over_bound": NEVER, "warned": NEVER, "warned_with_batch": NEVER}, STARTED, 196_000,
     {"stuck_in_work"}),
]  # fmt: skip


def test_every_rule_has_a_mistake_that_breaks_it() -> None:
    assert set().union(*(rules for *_, rules in MISTAKES)) == {row.name for row in INVARIANTS}


@pytest.mark.parametrize(("mistake", "deeds", "ends_ms", "rules"), MISTAKES)
def test_each_rule_is_broken_by_a_mistake(
    mistake: dict[str, ast.expr], deeds: Sequence[Deed], ends_ms: int, rules: set[str]
) -> None:
    plant = FULL if rules == {"vessel_overfull"} else ()
    episode = Episode("buckwheat_mill", 1, plant, tuple(deeds), ends_ms, 0)
    done = bench(changed(LOGIC, mistake)).trial(0).again(episode)
    assert rules <= {v.rule for v in done.violations}
    if ends_ms > 60_000:
        return  # too long for the honest receiver too: every search runs it
    assert rules.isdisjoint(v.rule for v in bench(LOGIC).trial(0).again(episode).violations)
