"""Where scenarios run: in virtual time, in real time, or on a controller at the other end of a wire."""

from functools import cache
from ipaddress import ip_address
from typing import Literal, NamedTuple

from controller.campaign.runner import Runner
from controller.campaign.wire_runner import Address, WireRunner
from controller.problems import Problem, StationError

RATE_MOST = 100
SAY = "write virtual, realtime or modbus:HOST:PORT"


class On(NamedTuple):
    """What was asked for with --on and --rate."""

    kind: Literal["virtual", "realtime", "modbus"] = "virtual"
    host: str = ""
    port: int = 0
    rate: float = 1.0

    @property
    def jobs_most(self) -> int | None:
        """So many scenarios run side by side at most; None: as many as one likes."""
        return 1 if self.kind == "modbus" else None

    @property
    def typed(self) -> list[str]:
        """The options that ask for it."""
        if self.kind == "virtual":
            return []
        where = f"{self.kind}:{self.host}:{self.port}" if self.kind == "modbus" else self.kind
        return ["--on", where, *([] if self.rate == 1 else ["--rate", f"{self.rate:g}"])]


VIRTUAL = On()


def read_on(text: str, rate: float, jobs: int | None) -> On:
    """
    Where scenarios are to run, as it is typed.

    Raises:
        StationError: It cannot be read, or the rate or the jobs do not go with it.
    """
    kind, _, address = text.partition(":")
    host, _, port = address.rpartition(":")
    refused = _refused(kind, address, host, port) or _rate_refused(kind, rate)
    if refused:
        raise StationError([Problem(f"--on {text}", 0, 0, "", refused)])
    on = On(kind, host, int(port or 0), rate)  # type: ignore[arg-type]
    if jobs and on.jobs_most and jobs > on.jobs_most:
        said = f"with --jobs {jobs} is refused: over one wire scenarios run one after another"
        raise StationError([Problem(f"--on {text}", 0, 0, "", said)])
    return on


@cache
def runner_on(on: On, few: bool) -> Runner:
    """What runs scenarios there; made once in a process."""
    if on.kind == "modbus":
        return WireRunner(Address(on.host, on.port).meet, f"the controller at {on.host}:{on.port}")
    return Runner(few=few, rate=on.rate if on.kind == "realtime" else None)


def _refused(kind: str, address: str, host: str, port: str) -> str:
    if kind not in ("virtual", "realtime", "modbus") or (kind != "modbus" and address):
        return f"is no place: {SAY}"
    if kind == "modbus" and not (_is_address(host) and port.isdigit() and 0 < int(port) < 65_536):
        return f"is no address with a port: {SAY}, as modbus:127.0.0.1:1502"
    return ""


def _rate_refused(kind: str, rate: float) -> str:
    if not 0 < rate <= RATE_MOST:
        return f"with --rate {rate:g}: a rate is over 0, and {RATE_MOST} at most"
    if rate != 1 and kind == "virtual":
        return f"with --rate {rate:g}: virtual time passes as fast as it can; a rate goes with realtime"
    if rate != 1 and kind == "modbus":
        return f"with --rate {rate:g} is refused: the controller at the other end lives in real time"
    return ""


def _is_address(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        ip_address(host.strip("[]"))
    except ValueError:
        return False
    return True
