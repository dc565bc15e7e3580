"""
The command line `receiver`.

Every command imports what it needs when it runs, so that `receiver --help` answers at once.
Exit codes: 0 good, 1 a check failed, 2 wrong input.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from controller import cli_coverage, cli_mqtt, cli_panel, cli_records, cli_rig, cli_scenarios
from controller.cli_screen import CHECK_FAILED, WRONG_INPUT, no_run, show_on, stop, stop_without
from controller.problems import StationError, install_with
from controller.stations import station_folder

if TYPE_CHECKING:
    from controller.settings import Station

app = typer.Typer(
    name="receiver",
    help="Sequence controller and soft simulator of a vacuum receiver.",
    epilog="Exit codes: 0 good; 1 a check, a proof or a strict run failed; 2 wrong input.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # plain help: the rich one takes half a second to import
    pretty_exceptions_enable=False,
)


def _need_simulator(command: str) -> None:
    """Wrong input where this package is installed without the simulator."""
    from importlib.util import find_spec

    if find_spec("io_sim") is None:
        said = "the simulator's part of this package, which is not installed"
        stop(f"{command}: needs io_sim, {said}; run: {install_with('fast')}")


def main() -> NoReturn:
    """Entry point: wrong input becomes a message and exit code 2, never a traceback."""
    try:
        app()
    except StationError as error:
        typer.echo(str(error), err=True)
    raise SystemExit(WRONG_INPUT)


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"receiver {version('vacuum-receiver')}")
        raise typer.Exit


@app.callback()
def _receiver(
    _version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Common options."""


@app.command()
def check(
    station: Annotated[str, typer.Argument(help="Folder of a station, or the name of one that comes along.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """Work out from physics what a station should do, and hold its settings against it."""
    _need_simulator("check")
    from controller.station_check import report, tables

    found = report.check_station(station_folder(station))
    if as_json:
        typer.echo(report.as_json(found))
    else:
        show_on(lambda console: tables.show(found, console))
    raise typer.Exit(0 if found.good else CHECK_FAILED)


@app.command()
def simulate(
    station: Annotated[str, typer.Argument(help="Folder of a station, or the name of one that comes along.")],
    lasts: Annotated[str, typer.Option("--for", help="Plant time: 1h, 12m30s, 90s, 1.5h, 1d.")] = "1h",
    fail: Annotated[
        list[str] | None,
        typer.Option(
            help="MODE@TIME, MODE@STEP, MODE@drain#3, MODE=0.5@10m+30s (half of it, for 30 s) or "
            "MODE=0.4/2h@10m (grows to 0.4 in 2 h); may be given again."
        ),
    ] = None,
    seed: Annotated[int, typer.Option(help="For noise and feed variation.", min=0)] = 1,
    out: Annotated[
        Path | None, typer.Option(help="Run folder to leave: journal, trace, picture, run.json.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
    explain: Annotated[
        str | None, typer.Option(help="What the sequence waits for at this time (90s), or at the `end`.")
    ] = None,
    reset_after: Annotated[
        str | None, typer.Option(help="The operator resets a trip after this time, and starts again.")
    ] = None,
    executor: Annotated[str | None, typer.Option(help="compiled, generated or transitions.")] = None,
    until: Annotated[
        str | None,
        typer.Option(
            help="End sooner: at the first `trip`, or at a STEP, state or EVENT_ID; drain#3: the third."
        ),
    ] = None,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Run although `receiver check` finds errors.")
    ] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit 1 after a trip, or if what was asked for never came due.")
    ] = False,
) -> None:
    """
    Run a station in a simulated plant, far quicker than real time.

    Exit codes: 0 the run was made; 1 no run, the check finds errors; with --strict 1 too if it tripped or
    what was asked for never came due; 2 wrong input.
    """
    _need_simulator("simulate")
    from controller.reporting.journal import JournalError
    from controller.simulate import command, tables
    from controller.trace.header import TraceError

    try:
        ask = command.read_ask(
            station_folder(station), lasts=lasts, fail=fail or [], seed=seed, out=out, explain=explain,
            reset_after=reset_after, executor=executor, until=until,
        )  # fmt: skip
        if not anyway and (errors := command.found_errors(ask)):
            no_run("simulate", station, errors)
        with tables.progress(ask.for_ms, shown=not as_json) as told:
            outcome = command.simulate(ask, told)
    except (command.WrongAsk, JournalError, TraceError) as no:
        stop(str(no))
    if as_json:
        typer.echo(command.as_json(outcome))
    else:
        show_on(lambda console: tables.show(outcome, console), width=120)
    raise typer.Exit(CHECK_FAILED if strict and not outcome.good else 0)


@app.command()
def prove(
    station: Annotated[str, typer.Argument(help="Folder of a station, or the name of one that comes along.")],
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON document, as `receiver report --proofs` reads it.")
    ] = False,
) -> None:
    """Prove every promise of the sequence, for all inputs, histories and presets within their limits."""
    from controller.settings import load_station

    name = load_station(station_folder(station)).receiver.name
    try:
        import z3  # noqa: F401
    except ModuleNotFoundError as error:
        stop_without(error, "prove", "prove")
    from controller.engines.proving import proofs, prove_all

    if as_json:
        import json
        from importlib.metadata import version

        from controller.sequence.logic import Logic
        from controller.sequence.receiver import RECEIVER
        from controller.trace.header import logic_hash

        found = proofs(name, version("vacuum-receiver"), logic_hash(Logic(RECEIVER)))
        typer.echo(json.dumps(found, indent=1))
        raise typer.Exit(0 if all(c["proved"] and c["possible"] for c in found["claims"]) else CHECK_FAILED)
    raise typer.Exit(0 if prove_all(name, typer.echo) else CHECK_FAILED)


@app.command()
def points(
    station: Annotated[str, typer.Argument(help="Folder of a station, or the name of one that comes along.")],
    as_csv: Annotated[bool, typer.Option("--csv", help="Print comma-separated values.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
    live: Annotated[bool, typer.Option("--live", help="Of the running rig, as they are now.")] = False,
    once: Annotated[bool, typer.Option("--once", help="With --live: one table, not refreshed.")] = False,
    check_out: Annotated[
        Path | None,
        typer.Option(
            metavar="SHEET", help="With --live: check the points out one by one, into this CSV file."
        ),
    ] = None,
    area_is_clear: cli_panel.AreaIsClear = None,
    registers: Annotated[
        bool, typer.Option("--registers", help="Instead: the register map for the plant's control system.")
    ] = False,
) -> None:
    """
    List the inputs and outputs of a station, and what the sequence makes of each.

    Exit codes with --live: 0 shown, or each point checked out as good, and seen to move; 1 not each; 2 no rig
    runs.
    """
    if registers and (live or once or check_out):
        stop("points: --registers is a list by itself: leave out --live, --once and --check-out")
    if live:
        if as_csv:
            stop("points: --live has --json, not --csv")
        cli_panel.live_points(
            station, once=once, as_json=as_json, check_out=check_out, area_clear_by=area_is_clear
        )
    if once or check_out:
        stop("points: --once and --check-out need --live and a running rig")
    from controller.sequence.logic import Logic
    from controller.sequence.receiver import RECEIVER
    from controller.settings import load_station
    from controller.sheets import io_list, tables

    if as_csv and as_json:
        stop("points: --csv or --json, not both")
    found = load_station(station_folder(station))
    if registers:
        _registers(found, station_folder(station), as_csv=as_csv, as_json=as_json)
        return
    entries = io_list.io_list(Logic(RECEIVER), found)
    if as_csv:
        typer.echo(io_list.as_csv(entries), nl=False)
    elif as_json:
        typer.echo(io_list.as_json(found, entries))
    else:
        show_on(lambda console: tables.show(found, entries, console), width=150)


def _registers(found: "Station", folder: Path, *, as_csv: bool, as_json: bool) -> None:
    from controller.reporting.services import load_services
    from controller.sequence.logic import Logic
    from controller.sequence.receiver import RECEIVER
    from controller.sheets import register_list

    name, served = found.receiver.name, load_services(folder).registers.said
    entries = register_list.register_list()
    if as_csv:
        typer.echo(register_list.as_csv(entries), nl=False)
    elif as_json:
        typer.echo(register_list.as_json(name, served, entries, Logic(RECEIVER)))
    else:
        show_on(
            lambda console: register_list.show(name, served, entries, Logic(RECEIVER), console), width=120
        )


@app.command()
def alarms(
    station: Annotated[str, typer.Argument(help="Folder of a station, or the name of one that comes along.")],
    as_csv: Annotated[bool, typer.Option("--csv", help="Print comma-separated values.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """List the alarms of a station: where, when and how each acts, its usual causes, what to do."""
    from controller.sequence.logic import Logic
    from controller.sequence.receiver import RECEIVER
    from controller.settings import load_station
    from controller.sheets import alarm_sheet, tables

    if as_csv and as_json:
        stop("alarms: --csv or --json, not both")
    found = load_station(station_folder(station))
    sheet = alarm_sheet.alarm_sheet(Logic(RECEIVER), found)
    if as_csv:
        typer.echo(alarm_sheet.as_csv(sheet), nl=False)
    elif as_json:
        typer.echo(alarm_sheet.as_json(found, sheet))
    else:
        show_on(lambda console: tables.show_alarms(found, sheet, console), width=150)


@app.command()
def diagram(
    station: Annotated[str, typer.Argument(help="Folder of a station, or the name of one that comes along.")],
    out: Annotated[
        Path | None,
        typer.Option(help="Write a file: .svg the diagram, .csv cause and effect, .html both, to print."),
    ] = None,
    causes: Annotated[
        bool, typer.Option("--causes", help="Print cause and effect of every interlock instead, as Markdown.")
    ] = False,
) -> None:
    """Print the state diagram as Mermaid text or cause and effect as Markdown; or write a sheet to a file."""
    from controller.engines import diagram as drawn
    from controller.engines import matrix
    from controller.sequence.logic import Logic
    from controller.sequence.receiver import RECEIVER
    from controller.settings import load_station

    found = load_station(station_folder(station))
    logic = Logic(RECEIVER)
    if causes:
        typer.echo(matrix.as_markdown(logic), nl=False)
    elif out is None:
        typer.echo(drawn.mermaid(logic), nl=False)
    else:
        from controller.sheets.files import SHEETS

        if out.suffix.lower() not in SHEETS:
            stop(f"--out {out}: give the file one of the endings {', '.join(SHEETS)}")
        try:
            out.write_bytes(SHEETS[out.suffix.lower()](logic, found))
        except ModuleNotFoundError as error:
            stop_without(error, "diagram", "plot")
        except OSError as error:
            stop(f"--out {out}: cannot be written: {error.strerror}")


_JOINED = (cli_records, cli_scenarios, cli_coverage, cli_rig, cli_panel, cli_mqtt)
for _command in (command for joined in _JOINED for command in joined.COMMANDS):
    app.command()(_command)
