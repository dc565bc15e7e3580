"""The commands of the command line that run a station in real time."""

from pathlib import Path
from typing import Annotated

import typer

from controller.cli_screen import CHECK_FAILED, WRONG_INPUT, needs_unix, no_run
from controller.stations import station_folder

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
    broker: Annotated[
        str | None, typer.Option(help="embedded: an MQTT broker on this machine that ends with the run.")
    ] = None,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Run although `receiver check` finds errors.")
    ] = False,
) -> None:
    """
    Run a station in real time, as its controller.

    The outputs go to their safe values at the end, on SIGINT and on SIGTERM; a second signal ends at once.
    Exit codes: 0 ended as asked, outputs safe; 1 ended by a fault, outputs not confirmed, or no run as the
    check finds errors; 2 wrong input.
    """
    needs_unix("run")
    from controller.live import run_ask, run_command
    from controller.live.kept_memory import KeptError
    from controller.live.reporter import ReporterError
    from controller.modbus.health import LinkError
    from controller.panel.place import PanelError
    from controller.trace.header import TraceError

    try:
        ask = run_ask.read_ask(
            station_folder(station), lasts=lasts, out=out, state=state, io=io, connect=connect,
            rate=rate, fifo=fifo, start=start, broker=broker,
        )  # fmt: skip
        errors = run_ask.found_errors(ask)
        if errors and not anyway:
            no_run("run", station, errors)
        if errors is None:
            typer.echo("run: not checked: that needs the station's plant.yaml, and io_sim installed")
        elif errors:
            typer.echo(f"errors that the check finds: {len(errors)}; see receiver check {station}")
        good = run_command.run(ask, typer.echo)
    except (
        run_ask.WrongAskError, ReporterError, TraceError, KeptError, LinkError, PanelError,
    ) as no:  # fmt: skip
        typer.echo(f"run: {no}", err=True)
        raise typer.Exit(WRONG_INPUT) from None
    raise typer.Exit(0 if good else CHECK_FAILED)


def plant(
    station: Station,
    listen: Annotated[
        str | None, typer.Option(help="HOST:PORT in place of the address in modbus.yaml.")
    ] = None,
    rate: Annotated[
        float, typer.Option(help="So many times real time; link and watchdog stay in real time.")
    ] = 1.0,
    lasts: Annotated[
        str | None, typer.Option("--for", help="End after this time: 30s, 10m; else never.")
    ] = None,
    start: Annotated[
        bool, typer.Option("--start", help="Somebody presses start 1 s after a controller has come.")
    ] = False,
    fifo: Annotated[bool, typer.Option("--fifo", help="Ask the system for its real-time schedule.")] = False,
) -> None:
    """
    Run the simulated receiver of a station as a Modbus device, for a controller of any make.

    Its outputs drop to their safe values where the controller's life counter stands still for watchdog_ms of
    modbus.yaml, in real time at any --rate: a controller that is dead or cut off is so in real time.
    Exit codes: 0 ended as asked; 2 wrong input, or it cannot listen there.
    """
    from importlib.util import find_spec

    needs_unix("plant")
    if find_spec("io_sim") is None:
        typer.echo(
            "plant: needs io_sim, the simulator's part of this package, which is not installed", err=True
        )
        raise typer.Exit(WRONG_INPUT)
    from controller.live.run_ask import FASTEST, address
    from controller.modbus.health import LinkError
    from controller.panel.place import PanelError
    from controller.simulate import plant_command
    from controller.simulate.times import milliseconds

    try:
        if not 0 < rate <= FASTEST:
            msg = f"--rate {rate:g}: must be over 0 and at most {FASTEST:g}"
            raise ValueError(msg)
        ask = plant_command.read_ask(
            station_folder(station), address=address(listen) if listen else None, rate=rate,
            for_ms=milliseconds(lasts) if lasts else None, start=start, fifo=fifo,
        )  # fmt: skip
        plant_command.run(ask, typer.echo)
    except (ValueError, LinkError, PanelError) as no:
        typer.echo(f"plant: {no}", err=True)
        raise typer.Exit(WRONG_INPUT) from None


COMMANDS = (run, plant)
