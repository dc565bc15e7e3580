"""The commands of the command line that run a station in real time."""

from pathlib import Path
from typing import Annotated

import typer

from controller.stations import station_folder

CHECK_FAILED, WRONG_INPUT = 1, 2
Station = Annotated[str, typer.Argument(help="Folder of a station, or the name of one that comes along.")]


def run(
    station: Station,
    io: Annotated[
        str | None, typer.Option("--io", help="simulated: the plant in this process; else modbus.yaml.")
    ] = None,
    connect: Annotated[
        str | None, typer.Option(help="HOST:PORT in place of the address in modbus.yaml.")
    ] = None,
    lasts: Annotated[
        str | None, typer.Option("--for", help="End after this time: 30s, 10m; else never.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Run folder to leave: journal, trace, run.json.")] = None,
    state: Annotated[
        Path | None, typer.Option(help="Folder of the memory that is kept through a loss of power.")
    ] = None,
    rate: Annotated[float, typer.Option(help="So many times real time; simulated I/O only.")] = 1.0,
    start: Annotated[
        bool, typer.Option("--start", help="Somebody presses start after 1 s; simulated I/O only.")
    ] = False,
    fifo: Annotated[bool, typer.Option("--fifo", help="Ask the system for its real-time schedule.")] = False,
) -> None:
    """
    Run a station in real time, as its controller.

    The outputs go to their safe values at the end, on SIGINT and on SIGTERM; a second signal ends at once.
    Exit codes: 0 ended as asked, outputs safe; 1 ended by a fault, or outputs not confirmed; 2 wrong input.
    """
    from controller.live import run_ask, run_command
    from controller.live.kept_memory import KeptError
    from controller.modbus.health import LinkError
    from controller.panel.place import PanelError
    from controller.reporting.journal import JournalError
    from controller.trace.header import TraceError

    try:
        ask = run_ask.read_ask(
            station_folder(station), lasts=lasts, out=out, state=state, io=io, connect=connect,
            rate=rate, fifo=fifo, start=start,
        )  # fmt: skip
        good = run_command.run(ask, typer.echo)
    except (run_ask.WrongAskError, JournalError, TraceError, KeptError, LinkError, PanelError) as no:
        typer.echo(f"run: {no}", err=True)
        raise typer.Exit(WRONG_INPUT) from None
    raise typer.Exit(0 if good else CHECK_FAILED)


COMMANDS = (run,)
