"""The commands that judge the scenarios themselves: what they exercise, which mistakes they notice."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from controller.problems import install_with
from controller.stations import station_folder

if TYPE_CHECKING:
    from types import ModuleType

WRONG_INPUT = 2

Paths = Annotated[list[Path], typer.Argument(help="Scenario files, or folders of them.")]
Jobs = Annotated[int | None, typer.Option(min=1, help="Side by side; all processors unless told.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]


def coverage(paths: Paths, jobs: Jobs = None, as_json: AsJson = False) -> None:
    """Say what scenarios exercise of steps, rows, interlocks, outputs, conditions, and what not."""
    from rich.console import Console

    command, files, side_by_side = _ready("coverage", paths, jobs)
    found = command.exercised(files, side_by_side, station_folder)
    if as_json:
        typer.echo(command.shares_as_json(found))
    else:
        command.show_shares(Console(highlight=False, soft_wrap=True, markup=False), found)


def mutants(
    paths: Paths,
    every: Annotated[int, typer.Option(min=1, help="Plant only every so many-th mistake: a sample.")] = 1,
    tries: Annotated[
        int,
        typer.Option(
            min=1, help="In so many scenarios a mistake may show and pass before it counts as unnoticed."
        ),
    ] = 40,
    proofs: Annotated[bool, typer.Option(help="Let the claims judge what scenarios do not notice.")] = True,
    jobs: Jobs = None,
    as_json: AsJson = False,
) -> None:
    """Plant small mistakes in the logic, one at a time, and say which of them scenarios and claims notice."""
    from rich.console import Console

    command, files, side_by_side = _ready("mutants", paths, jobs)
    found = list(command.results(files, command.Planting(every, tries, side_by_side, proofs), station_folder))
    if as_json:
        typer.echo(command.fates_as_json(found))
    else:
        command.show_fates(Console(highlight=False, soft_wrap=True, markup=False), found)


def _ready(name: str, paths: list[Path], jobs: int | None) -> "tuple[ModuleType, list[Path], int]":
    try:
        from controller.campaign import command as scenarios
        from controller.campaign import coverage_command
    except ModuleNotFoundError as error:
        typer.echo(f"{name}: needs {error.name}; run: {install_with('fast')}", err=True)
        raise typer.Exit(WRONG_INPUT) from error
    files = scenarios.found(paths, None)
    ask = scenarios.Ask(files, None, jobs or scenarios.processors())
    scenarios.check(ask, station_folder)
    return coverage_command, files, ask.jobs


COMMANDS = (coverage, mutants)
