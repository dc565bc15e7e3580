"""`receiver search` at the command line: what it prints, its exit codes, its variants."""

from pathlib import Path

import pytest
from campaign.short_search import HONEST, LOGIC, MILL, bench, without_horn
from typer.testing import CliRunner

from controller.campaign.search import command
from controller.campaign.search.episode import written
from controller.campaign.search.trial import Trial
from controller.campaign.search.variants import possible
from controller.cli import app
from controller.sequence.logic import Logic
from controller.stations import station_folder


def searched(monkeypatch: pytest.MonkeyPatch, logic: Logic, *args: str) -> tuple[int, str]:
    monkeypatch.setattr(command, "_bench", lambda *_: bench(logic))
    done = CliRunner().invoke(app, ["search", "buckwheat_mill", "--jobs", "1", *args])
    return done.exit_code, done.output


def test_a_find_is_printed_with_its_command_and_is_told_again_by_the_next_call(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = ("--for", "1s", "--out", str(tmp_path))
    code, said = searched(monkeypatch, without_horn(), *asked)
    assert code == 1
    assert f"FOUND  moves_without_horn in episode 0: receiver scenarios {tmp_path}" in said
    code, said = searched(monkeypatch, without_horn(), *asked)
    assert code == 1
    assert "before: FOUND  moves_without_horn" in said


def test_nothing_found_is_good(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    code, said = searched(monkeypatch, LOGIC, "--for", "1s", "--out", str(tmp_path))
    assert (code, "nothing found" in said) == (0, True), said
    for part in ("failures, 1 of 73: flap_closed_switch_stuck_off 1; never: flap_sticks_open, ", "start 1",
                 "power cuts, 0 of 1: none; never: power_cut", "WARNING 1", "trips, 1 of 27: FLAP_MOVED 1"):  # fmt: skip
        assert part in said


@pytest.mark.parametrize(
    ("args", "said"),
    [(["buckwheat_mill", "--for", "3x"], "is not a duration"), (["buckwheat_mil"], "did you mean 'buckwheat_mill'")],
)  # fmt: skip
def test_wrong_input_is_refused(args: list[str], said: str) -> None:
    done = CliRunner().invoke(app, ["search", *args])
    assert done.exit_code != 0
    assert said in done.output + str(done.exception)


def test_variants_are_those_that_a_station_can_have() -> None:
    assert possible("buckwheat_mill", MILL, HONEST) == ["", "waits", "holds"]
    assert possible("sugar_kitchen", station_folder("sugar_kitchen"), HONEST) == ["", "waits"]


def test_what_a_variant_fits_stands_in_the_file_of_its_episodes() -> None:
    trial = Trial("buckwheat_mill", MILL, HONEST, 2_000, 0, "holds")
    assert (trial.presets.flap_valve, trial.presets.level_policy, trial.plant.flap_valve) == (1, 1, 1)
    text = written(trial.drawn(1, 2).episode, trial.rules["both_coils"], trial.texts["both_coils"])
    for part in ("flap_valve: two_coils", "level_policy: hold_batch", "- flap_open_cmd and flap_close_cmd"):
        assert part in text
