"""
services.yaml of a station: what it tells others, and for how long it keeps its journal.

The file may be missing, and then nothing is told and nothing listens. No secret stands in it: it names the
variable of the environment or the file where the password is.
"""

from ipaddress import ip_address
from pathlib import Path
from typing import Literal

from pydantic import Field

from controller.station_file import Document, Problem, StationError, StrictModel, load_most
from controller.strict_yaml import Loc

FILE = "services.yaml"
OURS = "the network is ours alone"
"""What somebody has to write to send a password in clear, or to tell a broker that asks nobody who he is."""

_TOPIC = r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,31}$"
_TOPIC_WORDS = "1 to 32 letters, digits, _ . or -: a part of every topic"
_UNPROTECTED = (
    "a broker on another machine, without encryption or without a name: refused, or allowed in these words"
)
_WHO = "a folder of the station counts as the start of a relative path"


class Tls(StrictModel):
    """Encryption to the broker. The broker's name is always checked against its certificate."""

    ca_file: str = Field(default="", description=f"whom to trust; left out: whom the system trusts; {_WHO}")
    certificate_file: str = Field(default="", description=f"a certificate of the receiver's own; {_WHO}")
    key_file: str = Field(default="", description="its key, mode 0600")


class Mqtt(StrictModel):
    """What is published, where, and as whom."""

    publish: bool = Field(default=False, description="whether anything is told to a broker")
    host: str = Field(default="127.0.0.1", min_length=1, max_length=255, description="the broker")
    port: int = Field(default=1883, ge=1, le=65_535, description="1883 in clear, 8883 encrypted, by custom")
    protocol: Literal["3.1.1", "5.0"] = Field(default="3.1.1", description="of MQTT; quoted")
    site: str = Field(pattern=_TOPIC, description=_TOPIC_WORDS)
    unit: str = Field(pattern=_TOPIC, description=_TOPIC_WORDS)
    client_id: str = Field(
        pattern=r"^[0-9A-Za-z_-]{1,64}$",
        description="1 to 64 letters, digits, _ or -; of this receiver alone",
    )
    keepalive_s: int = Field(
        default=15,
        ge=2,
        le=600,
        description="silent for half as long again, the broker calls it lost",
        json_schema_extra={"unit": "s"},
    )
    tag_floor_ms: int = Field(
        default=500,
        ge=50,
        le=60_000,
        description="a tag that changes is told no more often than this",
        json_schema_extra={"unit": "ms"},
    )
    tag_deadband_percent: float = Field(
        default=0.5, ge=0, le=20, description="of span: a signal that moves less is not told; 0: every move",
        json_schema_extra={"unit": "%"},
    )  # fmt: skip
    user: str = Field(default="", max_length=100, description="name at the broker")
    password_env: str = Field(
        default="", pattern=r"^([A-Z][A-Z0-9_]{0,63})?$", description="variable that holds the password"
    )
    password_file: str = Field(default="", description=f"file that holds the password, mode 0600; {_WHO}")
    unprotected: Literal["refused", "the network is ours alone"] = Field(
        default="refused", description=_UNPROTECTED
    )
    tls: Tls = Field(default=None, description="encryption")  # type: ignore[assignment]
    commands: Literal["refused", "allowed"] = Field(
        default="refused", description="whether commands are taken from the broker"
    )
    answer_prefix: str = Field(
        default="", max_length=100, pattern=r"^[^+#$\x00-\x1f]*$",
        description="topics that answers go to besides, where their sender asks for it (5.0); left out: none",
    )  # fmt: skip

    @property
    def encryption(self) -> Tls | None:
        """As set; None: in clear."""
        return self.tls

    @property
    def is_here(self) -> bool:
        """The broker is on this machine."""
        return is_loopback(self.host)

    @property
    def has_password(self) -> bool:
        """A password is named."""
        return bool(self.password_env or self.password_file)


class JournalKept(StrictModel):
    """How much of the journal stays; what no broker has acknowledged yet goes last, at twice the size."""

    keep_days: int = Field(
        default=400, ge=1, le=3_650, description="older lines are removed", json_schema_extra={"unit": "days"}
    )
    keep_mb: int = Field(
        default=500,
        ge=10,
        le=100_000,
        description="then the oldest are removed",
        json_schema_extra={"unit": "MB"},
    )


class Metrics(StrictModel):
    """Figures for a collector, on request, to this machine alone."""

    serve: bool = Field(default=False, description="whether they are served, on 127.0.0.1")
    port: int = Field(default=9464, ge=1_024, le=65_535, description="on this machine")


class Registers(StrictModel):
    """The register map for the plant's control system, over Modbus TCP; it asks nobody who he is."""

    serve: bool = Field(default=False, description="whether it is served")
    host: str = Field(
        default="127.0.0.1", min_length=1, max_length=255, description="address of this machine to listen on"
    )
    port: int = Field(default=1510, ge=1, le=65_535, description="to listen on; under 1024 needs rights")
    unit: int = Field(default=1, ge=1, le=255, description="unit number; 255 is answered too")
    connections_max: int = Field(default=2, ge=1, le=8, description="clients at a time")
    idle_s: int = Field(
        default=60, ge=1, le=3_600, description="a client that asks nothing so long is closed",
        json_schema_extra={"unit": "s"},
    )  # fmt: skip
    allow: list[str] = Field(
        default_factory=list, max_length=32,
        description="addresses that may connect; left out: this machine alone",
    )  # fmt: skip
    commands: Literal["refused", "allowed"] = Field(
        default="refused", description="whether commands are taken from there"
    )

    @property
    def said(self) -> str:
        """
        Where it is served.

        >>> Registers().said
        'not served: registers.serve of services.yaml is false'
        """
        if not self.serve:
            return f"not served: registers.serve of {FILE} is false"
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"served by `receiver run` at {host}:{self.port}, unit {self.unit}, commands {self.commands}"


class Services(StrictModel):
    """What a station tells others."""

    mqtt: Mqtt = Field(default=None, description="publishing to a broker")  # type: ignore[assignment]
    journal: JournalKept = Field(default=JournalKept(), description="how long the journal is kept")
    metrics: Metrics = Field(default=Metrics(), description="figures in the text format of Prometheus")
    registers: Registers = Field(
        default_factory=Registers, description="the register map for the plant's control system"
    )

    @property
    def publishing(self) -> Mqtt | None:
        """Where and as whom; None: nothing is told to a broker."""
        return self.mqtt if self.mqtt is not None and self.mqtt.publish else None


def load_services(folder: Path) -> Services:
    """
    The services of a station; all off where it has no services.yaml.

    Raises:
        StationError: every problem of the file, with its place.
    """
    if not (folder / FILE).exists():
        return Services()
    document, problems = load_most(folder / FILE, Services)
    if document:
        wrong = {_group(problem) for problem in problems}  # what else is said of these may be wrong
        found = (*_problems(document), *_of_registers(document))
        problems += [problem for problem in found if _group(problem) not in wrong]
    if problems or document is None:
        raise StationError(sorted(problems, key=lambda problem: problem[1:3]))
    return document.value


def is_loopback(host: str) -> bool:
    """
    Whether a host is this machine and nothing else.

    >>> [is_loopback(host) for host in ("127.0.0.1", "::1", "localhost", "10.0.0.7", "broker")]
    [True, True, True, False, False]
    """
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def _group(problem: Problem) -> str:
    return problem.key.split(".")[0]


def _problems(document: Document[Services]) -> list[Problem]:
    """What each key alone does not show."""
    mqtt: Mqtt | None = document.value.mqtt
    if mqtt is None:
        return []
    wrong: list[tuple[str, str]] = []
    if mqtt.password_env and mqtt.password_file:
        wrong.append(("password_file", "stands beside password_env: leave one of them out"))
    if mqtt.has_password and not mqtt.user:
        key = "password_env" if mqtt.password_env else "password_file"
        wrong.append((key, "is a password without a user: set user"))
    tls = mqtt.encryption
    if tls and bool(tls.certificate_file) != bool(tls.key_file):
        wrong.append(("tls", "has a certificate without its key, or a key alone: set both or none"))
    if not mqtt.is_here and mqtt.unprotected != OURS:
        way_out = f'or write unprotected: "{OURS}"'
        named = mqtt.has_password or (tls and tls.certificate_file)
        if mqtt.has_password and tls is None:
            wrong.append(
                ("host", f"is another machine, and the password would go in clear: set tls, {way_out}")
            )
        if not named:
            wrong.append(
                ("host", f"is another machine, and nobody says who publishes: set a password, {way_out}")
            )
    return [document.problem(("mqtt", key), text) for key, text in wrong]


def _of_registers(document: Document[Services]) -> list[Problem]:
    asked, metrics = document.value.registers, document.value.metrics
    wrong: list[tuple[Loc, str]] = []
    if not is_loopback(asked.host) and not asked.allow:
        said = "can be reached by other machines, and Modbus asks for no name: list in allow who may connect"
        wrong.append((("host",), said))
    for at, address in enumerate(asked.allow):
        try:
            ip_address(address)
        except ValueError:
            wrong.append((("allow", at), f"is {address!r}, allowed is an IP address as 192.168.10.5"))
    if asked.serve and metrics.serve and asked.port == metrics.port:
        wrong.append((("port",), f"is {asked.port}, which is taken by metrics.port"))
    return [document.problem(("registers", *loc), text) for loc, text in wrong]
