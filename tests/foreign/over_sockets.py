"""Scenarios over real sockets: `receiver scenarios` on one side, a controller in a process of its own on the other."""

import json
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from select import select
from typing import Any

import yaml

from controller.stations import station_folder

ROOT = Path(__file__).parents[2]
RECEIVER = str(Path(sys.executable).with_name("receiver"))
MOST_S, TRIES = 400, 3
SLOW_COMPUTER = {"io_lost_ms": 400, "scans_late_warn": 500, "scans_late_trip": 1_000}
"""Limits of time for a rig that shares two processors with all other tests."""
Command = Callable[[int], list[str]]
"""What starts a controller for a port."""


def box(mistake: str = "") -> Command:
    """The foreign controller."""
    program = str(ROOT / "tests" / "foreign" / "box.py")
    return lambda port: [
        sys.executable,
        program,
        "127.0.0.1",
        str(port),
        *(["--mistake", mistake] if mistake else []),
    ]


def own(scenario: Path, folder: Path) -> Command:
    """Our own controller, with the short presets of a scenario in a station of its own: no plant to be built so."""
    station = with_presets(scenario, folder)
    state = str(folder / f"{scenario.stem}.state")
    return lambda port: [
        RECEIVER, "run", str(station), "--for", "10m", "--connect", f"127.0.0.1:{port}", "--state", state, "--anyway",
    ]  # fmt: skip


def with_presets(scenario: Path, folder: Path) -> Path:
    """The station of a scenario as a folder, set as the scenario sets it."""
    asked = yaml.safe_load(scenario.read_text(encoding="utf-8"))
    mill, folder = station_folder(asked["station"]), folder / scenario.stem
    folder.mkdir(parents=True)
    for file in mill.glob("*.yaml"):
        (folder / file.name).write_bytes(file.read_bytes())
    settings = yaml.safe_load((mill / "receiver.yaml").read_text(encoding="utf-8"))
    for group, values in (*asked["presets"].items(), ("backstops", SLOW_COMPUTER)):
        settings.setdefault(group, {}).update(values)
    (folder / "receiver.yaml").write_text(yaml.safe_dump(settings), encoding="utf-8")
    return folder


def judged(files: Sequence[Path], controller: Command, wanted: str = "passed") -> dict[str, dict[str, Any]]:
    """
    The results of these scenarios on a controller, by name.

    What is not as wanted is run again, three times in all: real time on a computer that others keep busy is a
    matter of luck, and a controller that is starved of its scans rightly trips.
    """
    results: dict[str, dict[str, Any]] = {}
    left = list(files)
    for _ in range(TRIES):
        results |= _judged(left, controller)
        left = [file for file in left if results[file.stem]["verdict"] != wanted]
        if not left:
            break
    return results


def _judged(files: Sequence[Path], controller: Command) -> dict[str, dict[str, Any]]:
    port = free_port()
    asked = [RECEIVER, "scenarios", *map(str, files), "--on", f"modbus:127.0.0.1:{port}", "--json"]
    with running(asked, stdout=subprocess.PIPE, text=True) as ours:
        wait_for(port, ours)
        with running(controller(port), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL):
            said, _ = ours.communicate(timeout=MOST_S)
    return {result["name"]: result for result in json.loads(said)}


@contextmanager
def running(command: list[str], **more: Any) -> Iterator[Any]:
    """A process, ended and waited for whatever happens."""
    process = subprocess.Popen(command, cwd=ROOT, **more)
    try:
        yield process
    finally:
        if process.poll() is None:
            process.terminate()
            with suppress(subprocess.TimeoutExpired):
                process.wait(20)
        if process.poll() is None:
            process.kill()
            process.wait()
        if process.stdout:
            process.stdout.close()


def free_port() -> int:
    """A port that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(port: int, process: Any, tries: int = 900) -> None:
    """Until a process listens there; a try lasts a tenth of a second at most."""
    for _ in range(tries):
        assert process.poll() is None, "it ended before it listened"
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        select([], [], [], 0.1)
    msg = f"nobody listens on {port}"
    raise TimeoutError(msg)
