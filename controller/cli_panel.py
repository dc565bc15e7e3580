"""The commands of the command line that speak to a running rig, over its local socket."""

import sys
from collections.abc import Iterable, Iterator
from contextlib import suppress
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from controller.cli_screen import needs_unix
from controller.problems import did_you_mean
from controller.stations import station_folder

if TYPE_CHECKING:
    from controller.panel.client import Client, Which
    from controller.panel.messages import Answer, Asked
    from controller.panel.rig import Status

REFUSED, WRONG_INPUT = 1, 2
SHORT = {"ack": "acknowledge"}
LOOPBACK = ("127.", "localhost", "::1", "[::1]")
STATION = "Folder of a station, or the name of one that comes along."
OnBehalfOf = Annotated[
    str | None,
    typer.Option(metavar="NAME", help="For whom you do it; written down beside your login name."),
]
AreaIsClear = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="The word of this person that people, hands and tools are clear of the machine; written down. "
        "Without it a person at the terminal is asked.",
    ),
]


def command(
    station: Annotated[str, typer.Argument(help=STATION)],
    word: Annotated[
        str,
        typer.Argument(
            metavar="COMMAND",
            help="start, stop, halt, reset, acknowledge (ack), clean, empty, manual, automatic, vessel-seen, "
            "recipe, relearn; remote or local: who has control, where no selector is fitted.",
        ),
    ],
    on_behalf_of: OnBehalfOf = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Give a command to a running rig, as at its panel: accepted, or refused with the reason.

    It is no emergency stop. Exit codes: 0 accepted; 1 refused; 2 wrong input, or no rig of this station runs.
    """
    from controller.panel.looked_at import looked_at
    from controller.panel.messages import CommandAsked, StatusAsked
    from controller.panel.rig import COMMANDS

    known = {name.replace("_", "-"): name for name in COMMANDS}
    name = known.get(SHORT.get(word, word))
    if name is None:
        _stop(f"command: no {word!r}{did_you_mean(word, known)}; there are: {', '.join(known)}")
    with _client(station) as client:
        before = _ask(client, StatusAsked(ask="status")).status if name == "reset" else None
        answer = _ask(client, CommandAsked(ask="command", command=name, on_behalf_of=_person(on_behalf_of)))
    beside = _plant_marks(station, answer.status) if answer.status else []
    if before and before.told and answer.answer == "accepted":
        beside = [*looked_at(before.told), *beside]
    _end(word, answer, as_json=as_json, beside=beside)


def why(
    station: Annotated[str, typer.Argument(help=STATION)],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Ask a running rig why it stands where it does: the trip with its facts, where it usually comes from and
    what to do; what the step waits for; what bars a reset or a start.

    Nothing moves by it. Exit codes: 0 said; 2 wrong input, or no rig of this station runs.
    """
    from rich.console import Console

    from controller.panel.looked_at import looked_at
    from controller.panel.messages import WhyAsked
    from controller.panel.said import marks, where
    from controller.panel.why import said
    from controller.simulate.station_watch import Explained
    from controller.simulate.tables import explained

    with _client(station) as client:
        answer = _ask(client, WhyAsked(ask="why"))
    found = answer.why
    if as_json or found is None or answer.status is None:
        _end("why", answer, as_json=as_json)
    console = Console(highlight=False, width=None if sys.stdout.isatty() else 150)
    scan = Explained(found.at_ms, found.step, found.in_step_ms, "", found.told, found.waits, found.acting)
    with console.capture() as waits:
        explained(scan, console)
    later = looked_at(found.trip.id) if found.trip else ()
    told = (where(answer.status), *marks(answer.status), *said(found), *later, *waits.get().splitlines())
    for line in told:
        typer.echo(line.rstrip())


def fail(
    station: Annotated[str, typer.Argument(help=STATION)],
    mode: Annotated[str, typer.Argument(help="A failure mode of `receiver simulate --fail`.")],
    lasts: Annotated[str | None, typer.Option("--for", help="How long: 5s, 10m; else until ended.")] = None,
    amount: Annotated[
        float, typer.Option(min=0, max=1, help="0 to 1; 0 ends the failure, 1 is the whole of it.")
    ] = 1.0,
    mend: Annotated[bool, typer.Option("--mend", help="End the failure, as --amount 0.")] = False,
    on_behalf_of: OnBehalfOf = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Put a failure into the simulated plant of a running rig, or of a running `receiver plant`.

    Refused on real I/O. Exit codes: 0 done; 1 refused; 2 wrong input, or nothing of this station runs.
    """
    from controller.panel.messages import FailAsked
    from controller.simulate.times import milliseconds

    for_ms = None
    if mend and lasts is not None:
        _stop("fail: --mend ends a failure now: leave out --for")
    amount = 0.0 if mend else amount
    if lasts is not None:
        try:
            for_ms = milliseconds(lasts)
        except ValueError as no:
            _stop(f"fail: --for {lasts}: {no}")
    asked = FailAsked(ask="fail", mode=mode, amount=amount, for_ms=for_ms, on_behalf_of=_person(on_behalf_of))
    with _plant_or_rig(station) as client:
        answer = _ask(client, asked)
    if answer.answer == "refused":
        reasons = (*answer.reasons, *_where_else(station, mode, answer.status))
        answer = answer.model_copy(update={"reasons": reasons})
    _end(f"{'fail' if amount else 'mend'} {mode}", answer, as_json=as_json)


def hold(
    station: Annotated[str, typer.Argument(help=STATION)],
    output: Annotated[str, typer.Argument(help="The output, as `receiver points` names it: flap_open_cmd.")],
    area_is_clear: AreaIsClear = None,
    on_behalf_of: OnBehalfOf = None,
) -> None:
    """
    Hold one output in manual mode, for as long as this command runs; Ctrl-C lets go.

    The horn sounds before each hold. On I/O that may be real you are asked whether the area is clear.
    The last word stays: what it holds back is said. See the machine while you hold.
    Exit codes: 0 let go; 1 refused, or it fell, and why; 2 wrong input, or no rig of this station runs.
    """
    from threading import Event

    from controller.panel.hold_command import held
    from controller.panel.messages import HoldAsked, ReleaseAsked
    from controller.panel.place import PanelError

    behalf = _person(on_behalf_of)
    with _client(station) as client:
        clear_by = _area_clear_by(client, output, area_is_clear)
        asked = HoldAsked(ask="hold", output=output, area_clear_by=clear_by, on_behalf_of=behalf)
        try:
            answer = held(client, asked, typer.echo, Event().wait)
        except KeyboardInterrupt:
            with suppress(PanelError):  # the end of the connection lets go too
                client.ask(ReleaseAsked(ask="release"))
            typer.echo(f"{output}: let go")
            return
        except PanelError as no:
            typer.echo(f"{output} fell: {no}", err=True)
            raise typer.Exit(REFUSED) from None
    _end(f"hold {output}", answer)


def live_points(
    station: str, *, once: bool, as_json: bool, check_out: Path | None, area_clear_by: str | None
) -> NoReturn:
    """`receiver points STATION --live`: the points of a running rig; with a sheet, their check-out."""
    from threading import Event

    from rich.console import Console

    from controller.panel import live_points as live
    from controller.panel.messages import PointsAsked

    console = Console(highlight=False, width=None if sys.stdout.isatty() else 150)
    with _client(station) as client:
        answer = _ask(client, PointsAsked(ask="points"))
        if answer.points is None or answer.status is None:
            _end("points", answer)
        if check_out is not None:
            _check_out(client, check_out, answer, area_clear_by)
        if as_json:
            typer.echo(answer.model_dump_json(indent=2))
        elif once or not console.is_terminal:
            with console.capture() as printed:
                console.print(live.shown(answer.points, answer.status, _plant_marks(station, answer.status)))
            typer.echo("\n".join(line.rstrip() for line in printed.get().splitlines()))
        else:
            status = answer.status
            with suppress(KeyboardInterrupt):
                _end("points", live.refreshed(
                    lambda: _ask(client, PointsAsked(ask="points")),
                    lambda: _plant_marks(station, status), console, Event().wait,
                ))  # fmt: skip
    raise typer.Exit


def _area_clear_by(client: "Client", output: str, given: str | None) -> str | None:
    """Who gives the area as clear; None where nobody has to: the plant is in the rig's own process."""
    from controller.panel.area import Area
    from controller.panel.messages import StatusAsked

    status = _ask(client, StatusAsked(ask="status")).status
    if status is None or (not status.real and given is None):
        return None
    area = Area(input, typer.echo, _at_hand(), given)
    try:
        name = area.clear_by(status.station, output, real=status.real)
    except EOFError:
        name = ""
    if not name:
        typer.echo(f"hold {output}: refused: nobody gave the area as clear")
        raise typer.Exit(REFUSED)
    return name


def _check_out(client: "Client", path: Path, answer: "Answer", clear_by: str | None) -> NoReturn:
    """Walks over the points with who sits at the terminal; exit code 0 when each is good."""
    from controller.clock import WallClock
    from controller.panel.area import Area, is_a_name
    from controller.panel.check_out import CheckOut, People
    from controller.panel.check_out_sheet import Sheet, SheetError
    from controller.panel.place import PanelError
    from controller.panel.watch import beating

    assert answer.status is not None
    try:
        sheet = Sheet(path, answer.status.station, answer.status.io)
        by = input("Who does this check-out? ").strip()
        if not is_a_name(by):
            _stop("points: the name of who does the check-out stands in the sheet; start again with one")
        people = People(by, WallClock().date, Area(input, typer.echo, _at_hand(), clear_by))
        good = CheckOut(client, sheet, people, beating).walk(answer.points or [])
    except (SheetError, PanelError) as no:
        _stop(str(no))
    except (EOFError, KeyboardInterrupt):
        _stop(f"points: ended; {sheet.saved}")
    raise typer.Exit(0 if good else REFUSED)


def _plant_marks(station: str, status: "Status") -> list[str]:
    """A simulated plant of the same station that runs on this machine, and what it has wrong."""
    from controller.panel.client import Client
    from controller.panel.messages import StatusAsked
    from controller.panel.place import PanelError
    from controller.panel.said import marks, where

    with suppress(PanelError):
        if status.real:
            with Client(station_folder(station), "plant") as plant:
                found = plant.ask(StatusAsked(ask="status")).status
                return [where(found), *marks(found)] if found else []
    return []


def _end(what: str, answer: "Answer", *, as_json: bool = False, beside: Iterable[str] = ()) -> NoReturn:
    """Says an answer, and ends with its exit code."""
    from controller.panel.said import marks, outcome, where

    if as_json:
        typer.echo(answer.model_dump_json(indent=2))
    else:
        typer.echo(outcome(what, answer), err=answer.answer == "error")
        if answer.status:
            for line in (where(answer.status), *marks(answer.status), *beside):
                typer.echo(f"  {line}")
    raise typer.Exit({"accepted": 0, "refused": REFUSED, "error": WRONG_INPUT}[answer.answer])


def _ask(client: "Client", asked: "Asked") -> "Answer":
    from controller.panel.place import PanelError

    try:
        return client.ask(asked)
    except PanelError as no:
        _stop(str(no))


def _client(station: str, which: "Which" = "rig") -> "Client":
    needs_unix("the panel")
    from controller.panel.client import Client
    from controller.panel.place import PanelError

    try:
        return Client(station_folder(station), which)
    except PanelError as no:
        _stop(str(no))


def _plant_or_rig(station: str) -> "Client":
    """Where a failure can be put: a rig with its plant in it, a plant that stands alone, else the rig."""
    needs_unix("the panel")
    from controller.panel.client import Client, NotRunningError
    from controller.panel.messages import StatusAsked

    folder = station_folder(station)
    rig = plant = None
    with suppress(NotRunningError):
        rig = Client(folder)
        status = _ask(rig, StatusAsked(ask="status")).status
        if status and not status.real:
            return rig
    with suppress(NotRunningError):
        plant = Client(folder, "plant")
    if rig and plant:
        rig.close()
    found = plant or rig
    if found is None:
        _stop(
            f"fail: no rig and no simulated plant of {station} runs; start `receiver plant {station}`, or "
            f"`receiver run {station} --io simulated`"
        )
    return found


def _at_hand() -> bool:
    """A person at a terminal, no script."""
    return sys.stdin.isatty()


def _where_else(station: str, mode: str, status: "Status | None") -> Iterator[str]:
    """Where a failure that was refused can be put in."""
    from controller.campaign.link_failures import LINK_FAILURES

    if near := get_close_matches(mode, LINK_FAILURES, n=1, cutoff=0.8):
        said = "scenario files over the wire have it, see docs/scenarios.md"
        yield f"{near[0]} is a failure of the link: {said}"
    if status and status.real and status.io.split()[-1].startswith(LOOPBACK):
        yield f"no simulated plant of {station} runs here: start it with `receiver plant {station}`"


def _person(name: str | None) -> str | None:
    from controller.panel.area import is_a_name

    if name is not None and not is_a_name(name):
        _stop(f"{name!r}: a name is asked for, of 2 to 60 characters")
    return name


def _stop(said: str) -> NoReturn:
    """Wrong input: says why, and ends."""
    typer.echo(said, err=True)
    raise typer.Exit(WRONG_INPUT)


COMMANDS = (command, why, fail, hold)
