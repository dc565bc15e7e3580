"""What the command line does with what it has to say."""

import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NoReturn

import typer

from controller.problems import install_with

if TYPE_CHECKING:
    from rich.console import Console

    from controller.station_check.findings import Finding

CHECK_FAILED, WRONG_INPUT = 1, 2
NEEDS_UNIX = (
    "a station is run on Linux or macOS only: on Windows there are no such file locks, sockets and signals; "
    "check, simulate, prove and scenarios need none of them"
)


def show_on(show: "Callable[[Console], None]", width: int | None = None, *, err: bool = False) -> None:
    """What `show` puts on a console; `width` where that is no terminal; no line with blanks at its end."""
    from rich.console import Console

    terminal = Console(stderr=err).is_terminal
    console = Console(highlight=False, width=None if terminal else width, stderr=err)
    with console.capture() as printed:
        show(console)
    typer.echo("\n".join(line.rstrip() for line in printed.get().splitlines()), err=err)


def stop(said: str) -> NoReturn:
    """Wrong input: says why, and ends."""
    typer.echo(said, err=True)
    raise typer.Exit(WRONG_INPUT)


def no_run(command: str, station: str, errors: "Sequence[Finding]") -> NoReturn:
    """No run: the errors that the check finds, and the ways out."""
    from controller.station_check import tables

    show_on(lambda console: tables.show_findings(errors, console), width=120, err=True)
    counted = "an error" if len(errors) == 1 else f"{len(errors)} errors"
    typer.echo(
        f"{command}: no run, the check finds {counted}: correct the station's files (receiver check "
        f"{station} shows the whole), or add --anyway to run it as it is",
        err=True,
    )
    raise typer.Exit(CHECK_FAILED)


def needs_unix(command: str) -> None:
    """Of what runs a station or speaks to one that runs: says so where the system lacks what that takes."""
    if sys.platform == "win32":
        stop(f"{command}: {NEEDS_UNIX}")


def stop_without(error: ModuleNotFoundError, command: str, extra: str) -> NoReturn:
    """Something is not installed: says how to."""
    stop(f"{command}: needs {error.name}, which is not installed; run: {install_with(extra)}")
