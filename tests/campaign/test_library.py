"""The scenarios that come along pass, each on the station that it names, looked at by all engines."""

from pathlib import Path

from controller.campaign import command
from controller.stations import station_folder

FOLDER = Path(__file__).parents[2] / "configs" / "scenarios"


def test_every_scenario_of_the_library_passes() -> None:
    ask = command.Ask(command.found([FOLDER], None), None, command.processors())
    command.check(ask, station_folder)
    results = list(command.results(ask, station_folder))
    assert len(results) == len(list(FOLDER.glob("*.yaml"))) >= 80
    told = [
        f"{r.name}: {r.broken or r.disagreements or [v[:3] for v in r.bad]}"
        for r in results
        if r.verdict != "passed"
    ]
    assert not told, "\n".join(told)
