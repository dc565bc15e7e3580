"""What `receiver run` was asked for, read and checked."""

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from controller.live.kept_memory import FILE, state_folder
from controller.modbus.point_map import FILE as MAP
from controller.modbus.point_map import PointMap
from controller.reporting.journal import not_a_new_folder
from controller.reporting.services import Services
from controller.rig_files import load_rig_files
from controller.settings import Station
from controller.simulate.times import milliseconds

if TYPE_CHECKING:
    from controller.station_check.findings import Finding

SCAN_MS = 10
FASTEST = 100.0


class WrongAskError(Exception):
    """The command line asks for what cannot be; says why, and what can."""


class Ask(NamedTuple):
    """A live run as asked for."""

    folder: Path
    station: Station
    map: PointMap | None  # None: simulated I/O
    host: str | None  # in place of that of the map
    port: int | None
    for_ms: int | None
    out: Path | None
    state: Path | None  # where memory is kept; None: nowhere
    rate: float
    fifo: bool
    start: bool  # a simulated person presses start
    services: Services = Services()  # whom the station tells
    broker: bool = False  # one of its own

    @property
    def tells(self) -> bool:
        """Others are told of it while it runs."""
        return bool(self.broker or self.services.publishing or self.services.metrics.serve)


def read_ask(
    folder: Path,
    *,
    lasts: str | None,
    out: Path | None,
    state: Path | None,
    io: str | None,
    connect: str | None,
    rate: float,
    fifo: bool,
    start: bool,
    broker: str | None = None,
) -> Ask:
    """
    What was typed, checked against what there is.

    Raises:
        StationError: The station's files are wrong.
        WrongAskError: Anything on the command line is wrong; all of it at once.
    """
    simulated = io == "simulated"
    station, point_map, services = load_rig_files(folder, with_map=not simulated)
    wrong: list[str] = []
    if io not in (None, "simulated", "modbus"):
        wrong.append(f"--io {io}: there are simulated and modbus")
    if not simulated and point_map is None:
        said = (
            f"{folder.name} has no {MAP}, which says where its points stand: write one, or add --io simulated"
        )
        wrong.append(said)
    if not simulated and rate != 1:
        wrong.append(f"--rate {rate:g}: real I/O runs at rate 1; other rates need --io simulated")
    if not 0 < rate <= FASTEST:
        wrong.append(f"--rate {rate:g}: must be over 0 and at most {FASTEST:g}")
    if start and not simulated:
        wrong.append("--start: nobody presses start on real I/O but a person; it needs --io simulated")
    if simulated and connect:
        wrong.append(f"--connect {connect}: --io simulated connects to nothing; leave out one of the two")
    if broker not in (None, "embedded"):
        wrong.append(f"--broker {broker}: there is embedded; where another one is, services.yaml says")
    host, port = _address(connect, wrong)
    for_ms = _lasts(lasts, wrong)
    if out is not None and (why := not_a_new_folder(out)):
        wrong.append(f"--out {out}: {why}")
    kept = state or (None if simulated else _kept_in(folder, wrong))
    if wrong:
        raise WrongAskError("\n".join(wrong))
    if point_map and point_map.device_life:
        station = _with_life(station)
    return Ask(
        folder, station, point_map, host, port, for_ms, out, kept, rate, fifo, start, services,
        broker is not None,
    )  # fmt: skip


def found_errors(ask: Ask) -> "tuple[Finding, ...] | None":
    """The errors that `receiver check` finds; None: on real I/O without what it takes to check."""
    if ask.map and not ((ask.folder / "plant.yaml").exists() and find_spec("io_sim")):
        return None
    from controller.station_check.report import errors_at

    return errors_at(ask.folder, ask.station.receiver.presets, ask.station.wired)


def _kept_in(folder: Path, wrong: list[str]) -> Path:
    """The state folder; what was kept under the same name for a folder elsewhere may be of this station."""
    kept = state_folder(folder)
    elsewhere = kept.parent.glob(f"{kept.name[:-8]}{'[0-9a-f]' * 8}")
    for other in (kept.with_name(folder.resolve().name), *sorted(elsewhere)):  # the first: of older versions
        if (other / FILE).exists() and not kept.exists():
            wrong.append(
                f"{other}: kept for a folder of this name that lay elsewhere, or by an older version; "
                f"if it is of this one: mv {other} {kept}; if not: mkdir {kept}"
            )
    return kept


def _with_life(station: Station) -> Station:
    """A life counter that the map names is watched, whatever the settings say."""
    receiver = station.receiver
    presets = receiver.presets._replace(io_life_watched=True)
    return station._replace(receiver=receiver._replace(presets=presets))


def _lasts(lasts: str | None, wrong: list[str]) -> int | None:
    try:
        return None if lasts is None else milliseconds(lasts)
    except ValueError as no:
        wrong.append(f"--for: {no}")
        return None


def _address(text: str | None, wrong: list[str], option: str = "--connect") -> tuple[str | None, int | None]:
    try:
        return (None, None) if text is None else address(text)
    except ValueError as no:
        wrong.append(f"{option} {text}: {no}")
        return None, None


def address(text: str) -> tuple[str, int]:
    """
    HOST:PORT as typed; an IPv6 address stands in square brackets.

    Raises:
        ValueError: It is none.

    >>> address("127.0.0.1:1502"), address("[::1]:502")
    (('127.0.0.1', 1502), ('::1', 502))
    """
    host, colon, port = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]") if host.startswith("[") else host
    if not colon or not host or (":" in host) != text.startswith("["):
        msg = "write it as HOST:PORT, as 127.0.0.1:1502 or [::1]:1502"
        raise ValueError(msg)
    if not port.isdecimal() or int(port) > 65_535:
        msg = f"the port is {port!r}, must be a number from 0 to 65535"
        raise ValueError(msg)
    return host, int(port)
