"""What the reporter costs the scans: lateness with none, with one at work, frozen, and killed again and again."""

import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

MILL = Path(__file__).parents[1] / "configs" / "buckwheat_mill"
MAIN = "from controller.cli import main; main()"
SECONDS = max(float(os.environ.get("BENCH_S", "20")), 12.0)  # the last 8 are left alone
FROZEN_S = 5.0
Line = Callable[[str, str, str], None]


def reporter_of(pid: int) -> int | None:
    """The process that a rig started; None: there is none."""
    for path in Path(f"/proc/{pid}/task").glob("*/children"):
        if found := path.read_text().split():
            return int(found[0])
    return None


def rss_mb(pid: int) -> float:
    found = re.search(r"VmRSS:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text())
    return int(found[1]) / 1024 if found else 0.0


def frozen(pid: int) -> None:
    """Stopped for 5 s, again and again, with 2 s between."""
    os.kill(pid, signal.SIGSTOP)
    time.sleep(FROZEN_S)
    os.kill(pid, signal.SIGCONT)
    time.sleep(2)


def killed(pid: int) -> None:
    """Killed every three seconds."""
    os.kill(pid, signal.SIGKILL)
    time.sleep(3)


def told(
    folder: Path, more: Sequence[str], meanwhile: Callable[[int], None] | None, station: Path = MILL
) -> tuple[str, float]:
    """A run in real time on the simulated plant: its lateness in words, and the rig's memory [MB]."""
    screen = folder / "screen"
    environ = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder)}
    command = [
        sys.executable,
        "-c",
        MAIN,
        "run",
        str(station),
        "--io",
        "simulated",
        "--start",
        "--for",
        f"{SECONDS:g}s",
    ]
    with screen.open("w") as out, subprocess.Popen([*command, *more], stdout=out, env=environ) as rig:
        while "power-up" not in screen.read_text() and rig.poll() is None:
            time.sleep(0.05)
        end_s = time.monotonic() + SECONDS - 8
        while time.monotonic() < end_s:
            memory_mb = rss_mb(rig.pid)
            if meanwhile and (pid := reporter_of(rig.pid)):
                meanwhile(pid)
            else:
                time.sleep(0.2)
        rig.wait()
    found = re.search(r"\d+ scans, late by.*", screen.read_text())
    return found[0] if found else "no scan", memory_mb


def report(line: Line) -> None:
    """Prints the figures."""
    print(f"scans every 10 ms for {SECONDS:g} s on the simulated plant, the reporter")
    broker = ("--broker", "embedded")
    kinds = (
        ("absent", (), None),
        ("writing", ("--out", "RUN"), None),
        ("writing, with a broker and a publisher", (*broker, "--out", "RUN"), None),
        ("frozen for 5 s, again and again", (*broker, "--out", "RUN"), frozen),
        ("killed every 3 s", ("--out", "RUN"), killed),
    )
    for name, more, meanwhile in kinds:
        with tempfile.TemporaryDirectory(prefix="b") as folder:
            run = str(Path(folder) / "run")
            said, memory_mb = told(Path(folder), [run if word == "RUN" else word for word in more], meanwhile)
            print(f"  {name}: {said}")
            line("    memory of the rig process", f"{memory_mb:.0f} MB", "< 80 MB on Modbus")


if __name__ == "__main__":
    report(lambda what, figure, aim: print(f"{what:62} {figure:>16}  {aim}", flush=True))
