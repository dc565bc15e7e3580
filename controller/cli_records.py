"""The commands of the command line that read what a run has left."""

from pathlib import Path
from typing import Annotated

import typer

from controller.cli_screen import CHECK_FAILED, show_on, stop, stop_without

Run = Annotated[Path, typer.Argument(help="Run folder that a run left.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]


def cycles(
    run: Run,
    last: Annotated[int, typer.Option(help="How many of the last cycles to list.", min=0)] = 10,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print every cycle as CSV.")] = False,
    as_json: AsJson = False,
) -> None:
    """List the cycles of a run, what they came to, and what drifts."""
    from controller import cycles as told
    from controller.reporting.journal import JournalError

    if as_csv and as_json:
        stop("cycles: --csv and --json ask for two different things; choose one")
    try:
        found = told.read(run)
    except JournalError as no:
        stop(str(no))
    if as_csv:
        typer.echo(told.as_csv(found), nl=False)
    elif as_json:
        typer.echo(told.as_json(found))
    else:
        show_on(lambda console: told.show(found, last, console), width=120)


def history(
    run: Run,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print every event as CSV.")] = False,
    as_json: AsJson = False,
    parquet: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write every event into this new Parquet file.")
    ] = None,
) -> None:
    """Say how the alarms of a run served its operator: rate, floods, what chatters or stands, the top ten."""
    from controller.history import events_file, figures, screen
    from controller.reporting.journal import JournalError

    if as_csv + as_json + (parquet is not None) > 1:
        stop("history: --csv, --json and --parquet ask for different things; choose one")
    try:
        if as_csv:
            for line in events_file.csv_lines(run):
                typer.echo(line, nl=False)
        elif parquet is not None:
            _write_parquet(run, parquet)
        elif as_json:
            typer.echo(figures.as_json(figures.read(run)))
        else:
            found = figures.read(run)
            show_on(lambda console: screen.show(found, console), width=120)
    except JournalError as no:
        stop(str(no))


def _write_parquet(run: Path, path: Path) -> None:
    from controller.history.events_file import write_parquet

    try:
        typer.echo(f"{path}: {write_parquet(run, path)} events")
    except ModuleNotFoundError as error:
        stop_without(error, "history --parquet", "parquet")
    except OSError as error:
        stop(f"--parquet {path}: cannot be written: {error.strerror or error}")


def audit(
    run: Run,
    lines: Annotated[bool, typer.Option("--lines", help="Print who did what, where and when.")] = False,
    as_json: AsJson = False,
) -> None:
    """
    Look whether the audit log of a run is as it was written, and with --lines print it: who did what (UTC).

    Exit codes: 0 as written, also where a kill tore its last line; 1 it was changed; 2 there is none.
    """
    from controller.audit import check as audit_log
    from controller.audit.line import Anchor
    from controller.audit.log import FILE, AuditError
    from controller.reporting.journal import JournalError, read_marks
    from controller.reporting.journal_file import AUDIT

    try:
        marks, said = read_marks(run), ""
    except JournalError as no:
        marks, said = {}, str(no)
    anchor = Anchor(marks[AUDIT, "head"], marks[AUDIT, "count"]) if (AUDIT, "head") in marks else None
    try:
        found = audit_log.check(run, anchor)
    except AuditError as no:
        stop(str(no))
    if as_json:
        import json

        document = {"run": str(run), "good": found.good, **found._asdict(), "journal": said or "read"}
        typer.echo(json.dumps(document, indent=1))
        raise typer.Exit(0 if found.good else CHECK_FAILED)
    for line in audit_log.lines(run, found.lines) if lines and found.lines else ():
        typer.echo(line)
    if not found.good:
        typer.echo(f"{run / FILE}: NOT as it was written: {found.problem}; good up to line {found.lines}")
        raise typer.Exit(CHECK_FAILED)
    typer.echo(f"{run / FILE}: good, {found.lines} lines")
    if found.torn_bytes:
        typer.echo(
            f"last line torn: {found.torn_bytes} bytes behind line {found.lines}, as a kill leaves them"
        )
    if anchor is None:
        why = said or "the journal knows nothing of it"
        typer.echo(f"its end cannot be judged: {why}; lines cut off there would not show")
    elif found.lines > found.anchored:
        typer.echo(f"the journal knows {found.anchored} of them; lines cut off behind these would not show")


COMMANDS = (cycles, history, audit)
