"""The commands of the command line that test a receiver: scenarios and what belongs to them."""

import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from controller.problems import install_with
from controller.stations import station_folder

CHECK_FAILED, WRONG_INPUT = 1, 2


def scenarios(
    paths: Annotated[list[Path], typer.Argument(help="Scenario files, or folders of them.")],
    station: Annotated[
        str | None, typer.Option(help="Run them on this station instead of the one they name.")
    ] = None,
    match: Annotated[str | None, typer.Option(help="Only files with this in their name.")] = None,
    jobs: Annotated[int | None, typer.Option(min=1, help="Side by side; all processors unless told.")] = None,
    on: Annotated[
        str, typer.Option(help="virtual; realtime; or modbus:HOST:PORT, any controller over the wire.")
    ] = "virtual",
    rate: Annotated[float, typer.Option(help="Of real time: so many times as fast.")] = 1.0,
    out: Annotated[
        Path | None, typer.Option(help="Run folder to leave, new or empty: results, their files, pages.")
    ] = None,
    pages: Annotated[
        Literal["failed", "all"], typer.Option(help="Which scenarios leave a page in --out.")
    ] = "failed",
    junit: Annotated[Path | None, typer.Option(help="Write the results as JUnit XML.")] = None,
    tap: Annotated[Path | None, typer.Option(help="Write the results as TAP version 14.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Run fault scenarios on the simulated station and judge each: what must follow, what never may.

    Over the wire only what shows at the I/O is judged; the rest is "not judged", and never passed.

    Exit codes: 0 nothing failed, and something passed; 1 something failed or broke, or nothing passed;
    2 wrong input.
    """
    from rich.console import Console
    from rich.progress import Progress

    from controller.clock import WallClock

    try:
        from controller.campaign import command, machine_results
        from controller.campaign.record import utc
        from controller.campaign.where import read_on
    except ModuleNotFoundError as error:
        typer.echo(f"scenarios: needs {error.name}; run: {install_with('fast')}", err=True)
        raise typer.Exit(WRONG_INPUT) from error
    clock, console = WallClock(), Console(highlight=False, soft_wrap=True, markup=False)
    where = read_on(on, rate, jobs)
    jobs = jobs or where.jobs_most or command.processors()
    ask = command.Ask(command.found(paths, match), station, jobs, out, pages, where)
    places = command.check(ask, station_folder)
    started = clock.date()
    record = command.recorded(ask, out, places, started) if out else None
    done = []
    with Progress(console=console, transient=True, disable=as_json or not console.is_terminal) as bar:
        for result in bar.track(command.results(ask, station_folder), len(places), description="scenarios"):
            done.append(result)
            if not as_json:
                command.show(console, result, ask)
    typer.echo(command.as_json(done) if as_json else command.summary(done, clock.now_ms() / 1_000))
    if record:
        record.finish(done, clock.date(), ["receiver", *sys.argv[1:]])
        if not as_json:
            typer.echo(f"left in {out}; note it down: sha256 of scenarios.json {record.sha256}")
    if junit:
        command.write(junit, machine_results.junit(done, utc(started)))
    if tap:
        command.write(tap, machine_results.tap(done))
    found = {result.verdict for result in done}
    if found & {"failed", "broken"} or "passed" not in found:
        raise typer.Exit(CHECK_FAILED)


def replay(
    run: Annotated[Path, typer.Argument(help="Run folder with a trace, or the trace itself.")],
    vcd: Annotated[
        Path | None, typer.Option(help="Write the trace as waveforms too (VCD of IEEE 1364).")
    ] = None,
    interpreted: Annotated[
        bool, typer.Option("--interpreted", help="Without compiling: sooner there for a short trace.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Run a recorded trace through today's logic: identical, or the first difference and the facts behind it.

    Exit codes: 0 identical; 1 different; 2 no trace, or a damaged one.
    """
    from rich.console import Console

    from controller.trace.header import TraceError

    try:
        from controller.campaign import replay_command as command

        path = command.trace_of(run)
        if vcd:
            command.draw(path, vcd)
        done = command.replayed(path, interpreted)
    except ModuleNotFoundError as error:
        typer.echo(f"replay: needs {error.name}; run: {install_with('fast')}", err=True)
        raise typer.Exit(WRONG_INPUT) from error
    except TraceError as no:
        typer.echo(str(no), err=True)
        raise typer.Exit(WRONG_INPUT) from no
    if as_json:
        typer.echo(command.as_json(path, done))
    else:
        command.show(Console(highlight=False, soft_wrap=True, markup=False), path, done)
    raise typer.Exit(CHECK_FAILED if done.difference else 0)


def search(
    station: Annotated[str, typer.Argument(help="Folder of a station, or one of the stations by name.")],
    for_: Annotated[
        str, typer.Option("--for", help="How long, in plant time: 10h, 30m.", show_default=True)
    ] = "1h",
    seed: Annotated[int, typer.Option(min=0, help="Another seed, other episodes.")] = 1,
    jobs: Annotated[int | None, typer.Option(min=1, help="Side by side; all processors unless told.")] = None,
    out: Annotated[
        Path, typer.Option(help="Folder for what is found; a search goes on there where it was stopped.")
    ] = Path("runs/search"),
    variants: Annotated[
        bool, typer.Option("--variants", help="Also with options that the station does not use.")
    ] = False,
) -> None:
    """
    Try failures, commands and disturbances by chance, and watch what must always hold.

    What breaks a rule is made small and written as a scenario. Exit codes: 0 nothing found; 1 something was;
    2 wrong input.
    """
    from controller.clock import WallClock
    from controller.simulate.times import milliseconds

    try:
        from controller.campaign.command import processors
        from controller.campaign.search import command
    except ModuleNotFoundError as error:
        typer.echo(f"search: needs {error.name}; run: {install_with('fast')}", err=True)
        raise typer.Exit(WRONG_INPUT) from error
    try:
        for_ms = milliseconds(for_)
    except ValueError as no:
        typer.echo(f"--for {no}", err=True)
        raise typer.Exit(WRONG_INPUT) from no
    clock = WallClock()
    ask = command.Ask(station, station_folder(station), for_ms, seed, jobs or processors(), out, variants)
    going, pool = command.search(ask)
    before_ms = going.state.ms
    try:
        command.show(going, ask)
    finally:
        pool.shutdown(cancel_futures=True)
    for said in command.coverage(going.state, going.known):
        typer.echo(said)
    typer.echo(command.summary(going.state, clock.now_ms() / 1_000, before_ms))
    if going.state.finds:
        raise typer.Exit(CHECK_FAILED)


def report(
    run: Annotated[Path, typer.Argument(help="Run folder that `receiver scenarios --out` left.")],
    proofs: Annotated[
        Path | None, typer.Option(help="What `receiver prove STATION --json` printed, saved to a file.")
    ] = None,
) -> None:
    """
    Write the test report of a run of scenarios: one HTML file in its folder, to print, sign and file.

    It never overwrites one: report.html, then report_2.html. On paper: print it from the browser on A4.
    """
    from controller.clock import WallClock

    try:
        from controller.campaign.report import command
    except ModuleNotFoundError as error:
        typer.echo(f"report: needs {error.name}; run: {install_with('fast')}", err=True)
        raise typer.Exit(WRONG_INPUT) from error
    typer.echo(str(command.report(run, proofs, WallClock().date())))


def detection(
    station: Annotated[str, typer.Argument(help="Folder of a station, or the name of one that comes along.")],
    match: Annotated[str, typer.Option(help="Only failure modes with this in their name.")] = "",
    jobs: Annotated[int | None, typer.Option(min=1, help="Side by side; all processors unless told.")] = None,
    hours: Annotated[
        float, typer.Option(min=0, max=10_000, help="Plant hours without a failure, for false alarms.")
    ] = 1.0,
    out: Annotated[
        Path | None, typer.Option(help="Write a page (.html) or a table (.csv); never over an earlier one.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Begin each failure in each step on the simulated station: which alarm tells it, in how long, or why none.

    Exit codes: 0 as written; 1 written and run do not agree somewhere; 2 wrong input.
    """
    try:
        from controller.campaign.detection import command
    except ModuleNotFoundError as error:
        typer.echo(f"detection: needs {error.name}; run: {install_with('fast')}", err=True)
        raise typer.Exit(WRONG_INPUT) from error
    from rich.console import Console
    from rich.progress import Progress

    ask = command.read_ask(station_folder(station), match, jobs, hours, out)
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("failure modes", total=None)
        done = command.run(ask, lambda modes, of: bar.update(task, completed=modes, total=of))
    typer.echo(command.as_json(done) if as_json else command.as_text(done))
    if done.gaps:
        raise typer.Exit(CHECK_FAILED)


COMMANDS = (scenarios, replay, search, report, detection)
