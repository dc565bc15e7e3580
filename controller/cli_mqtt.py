"""The command of the command line that listens to what a station tells its broker."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from controller.stations import station_folder

if TYPE_CHECKING:
    from controller.reporting.mqtt.watch import WatchAsk

WRONG_INPUT = 2


def watch(
    station: Annotated[str, typer.Argument(help="Folder of a station, or the name of one that comes along.")],
    broker: Annotated[
        str | None, typer.Option(help="HOST:PORT in place of the address in services.yaml.")
    ] = None,
    only: Annotated[
        str | None, typer.Option(help="Kinds: status, state, tags, event, alarm, cycle, command, answer.")
    ] = None,
    lasts: Annotated[
        str | None, typer.Option("--for", help="End after this time: 30s, 10m; else at Ctrl-C.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Topic and payload as they came.")] = False,
) -> None:
    """
    Listen at the broker to what a station tells: a line for each message. Nothing is changed by it.

    Exit codes: 0 ended as asked; 2 wrong input.
    """
    import asyncio
    from contextlib import suppress

    from controller.reporting.mqtt import watch as watching
    from controller.reporting.secret import SecretError
    from controller.station_file import StationError

    try:
        ask = _ask(station_folder(station), broker, only, lasts, as_json=as_json)
        with suppress(KeyboardInterrupt):
            asyncio.run(watching.watch(ask, typer.echo, lambda said: typer.echo(f"watch: {said}", err=True)))
    except BrokenPipeError:  # nobody reads on
        raise
    except (ValueError, OSError, SecretError, StationError) as no:
        typer.echo(f"watch: {no}", err=True)
        raise typer.Exit(WRONG_INPUT) from None


def _ask(
    folder: Path, broker: str | None, only: str | None, lasts: str | None, *, as_json: bool
) -> "WatchAsk":
    from controller.live.run_ask import address
    from controller.problems import did_you_mean
    from controller.reporting.mqtt.embedded import here
    from controller.reporting.mqtt.watch import KINDS, WatchAsk
    from controller.reporting.services import FILE, is_loopback, load_services
    from controller.simulate.times import milliseconds

    kinds = [kind.strip() for kind in only.split(",")] if only else list(KINDS)
    for kind in kinds:
        if kind not in KINDS:
            msg = f"--only: no {kind!r}{did_you_mean(kind, KINDS)}; there are: {', '.join(KINDS)}"
            raise ValueError(msg)
    services = load_services(folder)
    mqtt = services.publishing or here(services.mqtt, folder)
    if broker:
        host, port = address(broker)
        if host != mqtt.host and not is_loopback(host):
            msg = f"--broker {broker}: another machine is named in {FILE}, with what protects the password"
            raise ValueError(msg)
        mqtt = mqtt.model_copy(update={"host": host, "port": port})
    return WatchAsk(mqtt, folder, kinds, as_json, milliseconds(lasts) / 1_000 if lasts else None)


COMMANDS = (watch,)
