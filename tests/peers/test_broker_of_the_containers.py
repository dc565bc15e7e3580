"""
The broker's files of the containers, with a real Mosquitto: who gets in, who may do what, what outlives a restart.

Configuration, access list and passwords are those that docker-compose.yml binds in; changed are the address
(loopback and a free port in place of the container's network) and the paths of the container. The
clients are mosquitto_pub and mosquitto_sub: none of our code between them and the broker.
"""

import importlib.util
import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import pytest
from containers.composed import HERE, MADE, filled, services

from controller.clock import WallClock

PROGRAMS = ("mosquitto", "mosquitto_pub", "mosquitto_sub")
MISSING = [name for name in PROGRAMS if shutil.which(name) is None]
pytestmark = pytest.mark.skipif(
    bool(MISSING), reason=f"no {', '.join(MISSING)}; on Debian: apt install mosquitto mosquitto-clients"
)
UNIT = "receiver/v1/mill/R-101"
PATIENCE_MS = 20_000
WAITS_S = "20"
"""A client gives up then; what was kept comes at once."""

OPERATOR = "\nuser operator\ntopic readwrite receiver/v1/#\n"
"""Somebody who may do all, as the access list says how to add one: to have something that others may not read."""


class Broker(NamedTuple):
    port: int
    secrets: Path

    def password(self, user: str) -> str:
        return (self.secrets / f"{user}_password").read_text().strip()

    def call(
        self, program: str, user: str, *words: str, password: str | None = None
    ) -> subprocess.CompletedProcess:
        who = ["-u", user, "-P", password or self.password(user)] if user else []
        command = [program, "-h", "127.0.0.1", "-p", str(self.port), *who, *words]
        return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)

    def publish(self, user: str, topic: str, text: str, *words: str) -> subprocess.CompletedProcess:
        """MQTT 5.0, QoS 1: only there does a broker say that it refused a publication."""
        return self.call("mosquitto_pub", user, "-V", "5", "-q", "1", "-t", topic, "-m", text, *words)

    def first(self, user: str, *topics: str) -> str:
        """The first message that a user is told of topics, asked for in this order: topic and text."""
        asked = [word for topic in topics for word in ("-t", topic)]
        words = ("-F", "%t %p", "-C", "1", "-W", WAITS_S)
        return self.call("mosquitto_sub", user, *asked, *words).stdout.strip()


def configured(folder: Path, port: int) -> Path:
    """The configuration of the containers, at loopback, its paths moved."""
    text = (HERE / "mosquitto.conf").read_text(encoding="utf-8")
    moved = {
        "listener 1883\n": f"listener {port} 127.0.0.1\n",
        "/run/secrets/": f"{folder}/{MADE}secrets/",
        "/mosquitto/data/": f"{folder}/{MADE}broker/",
    }
    for there, here in moved.items():
        assert there in text, there
        text = text.replace(there, here)
    if os.getuid() == 0:  # it would become a user who may read none of these files
        text += "user root\n"
    path = folder / "mosquitto.conf"
    path.write_text(text, encoding="utf-8")
    return path


@contextmanager
def running(folder: Path) -> Iterator[Broker]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log = folder / "log"
    with log.open("ab") as file:
        child = subprocess.Popen(["mosquitto", "-c", configured(folder, port)], stdout=file, stderr=file)
    try:
        clock, end_ms = WallClock(), PATIENCE_MS
        while True:
            assert child.poll() is None, log.read_text()
            assert clock.now_ms() < end_ms, log.read_text()
            with socket.socket() as knock:
                if knock.connect_ex(("127.0.0.1", port)) == 0:
                    break
        yield Broker(port, folder / MADE / "secrets")
    finally:
        child.terminate()
        child.wait(20)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("containers")
    spec = importlib.util.spec_from_file_location("prepare", HERE / "prepare.py")
    prepare = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(prepare)
    acl = (HERE / "acl").read_text(encoding="utf-8") + OPERATOR
    prepare.prepare(folder, acl, os.getuid(), os.getgid())
    return folder


@pytest.fixture(scope="module")
def broker(folder):
    with running(folder) as one:
        yield one


def refused(done):
    """Reason code 0x87 of MQTT 5.0: not authorised."""
    return "not authori" in done.stderr.lower()


def test_it_takes_the_configuration_without_a_warning(broker, folder):
    """But for one: these tests may run as root, and then so does it."""
    lines = [line for line in (folder / "log").read_text().lower().splitlines() if "run as root" not in line]
    assert any("config loaded from" in line for line in lines)
    assert not [line for line in lines if any(word in line for word in ("warning", "error", "recommended"))]


@pytest.mark.parametrize(
    ("user", "password"), [("", ""), ("viewer", "guess"), ("nobody", "guess"), ("health", "that of another")]
)
def test_who_has_no_name_or_a_wrong_password_does_not_get_in(broker, user, password):
    word = broker.password("viewer") if password == "that of another" else password
    done = broker.call("mosquitto_pub", user, "-V", "5", "-t", f"{UNIT}/status", "-m", "x", password=word)
    assert done.returncode != 0
    assert refused(done), done.stderr


@pytest.mark.parametrize(
    "kind", ["status", "state", "tags/PT-101", "event", "alarm/IO_LOST", "cycle", "answer"]
)
def test_what_the_controller_tells_the_viewer_reads(broker, kind):
    done = broker.publish("controller", f"{UNIT}/{kind}", "told", "-r")
    assert not refused(done)
    assert broker.first("viewer", f"{UNIT}/{kind}") == f"{UNIT}/{kind} told"


@pytest.mark.parametrize("kind", ["command", "status", "state", "answer", "tags/PT-101"])
def test_the_viewer_can_tell_and_command_nothing(broker, kind):
    topic = f"{UNIT}/{kind}"
    assert not refused(broker.publish("operator", topic, "before", "-r"))
    assert refused(broker.publish("viewer", topic, "start", "-r"))
    assert broker.first("operator", topic) == f"{topic} before"


@pytest.mark.parametrize(
    "topic", [f"{UNIT}/command", "receiver/v1/mill/R-102/status", f"{UNIT}/tags/a/b", "x"]
)
def test_the_controller_writes_neither_commands_nor_what_belongs_to_another(broker, topic):
    assert refused(broker.publish("controller", topic, "x", "-r"))


@pytest.mark.parametrize(
    "topic", ["receiver/v1/mill/R-102/command", "receiver/v1/mill/R-102/status", f"{UNIT}/answer"]
)
def test_the_controller_hears_its_own_commands_and_reads_nothing_of_others(broker, topic):
    """It asks for the other topic first: what it might read there would come first."""
    for one in (topic, f"{UNIT}/command"):
        assert not refused(broker.publish("operator", one, "kept", "-r"))
    assert broker.first("operator", topic, f"{UNIT}/command") == f"{topic} kept"
    assert broker.first("controller", topic, f"{UNIT}/command") == f"{UNIT}/command kept"
    assert broker.first("controller", "receiver/#", f"{UNIT}/command").split()[0] in (
        f"{UNIT}/command",
        f"{UNIT}/status",
    )


def test_the_viewer_reads_nothing_of_another_receiver(broker):
    broker.publish("operator", "receiver/v1/mill/R-102/state", "kept", "-r")
    broker.publish("controller", f"{UNIT}/state", "told", "-r")
    assert broker.first("viewer", "receiver/v1/mill/R-102/state", f"{UNIT}/state") == f"{UNIT}/state told"


def test_the_health_check_of_the_compose_file_is_good_and_sees_nothing_of_the_receiver(broker, tmp_path):
    """Its own words, at the port and with the secrets of this test; `sh` as in the container."""
    kind, line = services()["broker"]["healthcheck"]["test"]
    assert kind == "CMD-SHELL"
    line = (
        filled(line).replace("/run/secrets/", f"{broker.secrets}/").replace(" -u ", f" -p {broker.port} -u ")
    )
    done = subprocess.run(["sh", "-c", line], capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 0, done.stderr
    assert "seconds" in done.stdout
    wrong = line.replace("health_password", "viewer_password")
    assert subprocess.run(["sh", "-c", wrong], capture_output=True, check=False, timeout=60).returncode != 0
    broker.publish("controller", f"{UNIT}/status", "told", "-r")
    found = broker.first("health", f"{UNIT}/#", "$SYS/broker/uptime")
    assert found.startswith("$SYS/broker/uptime ")


def test_a_message_that_is_far_too_long_is_not_passed_on(broker):
    """By MQTT 3.1.1, where the client is not told the limit: it is the broker who holds it."""
    topic = f"{UNIT}/command"
    broker.publish("operator", topic, "short", "-r")
    broker.call("mosquitto_pub", "operator", "-V", "311", "-q", "1", "-t", topic, "-m", "x" * 100_000, "-r")
    assert broker.first("controller", topic) == f"{topic} short"


def test_what_was_kept_outlives_a_restart_of_the_broker(folder):
    with running(folder) as before:
        assert not refused(before.publish("controller", f"{UNIT}/cycle", "the last one", "-r"))
    with running(folder) as after:
        assert after.first("viewer", f"{UNIT}/cycle") == f"{UNIT}/cycle the last one"
