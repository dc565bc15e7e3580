"""The independent Modbus programs of the peer tests and of the benchmark: mbpoll, and an own one on libmodbus."""

import shutil
import subprocess
from pathlib import Path

SOURCE = Path(__file__).with_name("libmodbus_peer.c")
NEEDS = "on Debian: apt install mbpoll libmodbus-dev pkg-config gcc"


def missing() -> list[str]:
    """What this machine lacks for them."""
    lacks = [name for name in ("mbpoll", "cc", "pkg-config") if shutil.which(name) is None]
    if (
        "pkg-config" not in lacks
        and subprocess.run(["pkg-config", "--exists", "libmodbus"], check=False).returncode
    ):
        lacks.append("libmodbus-dev")
    return lacks


def built(folder: Path) -> Path:
    """The program on libmodbus, compiled into a folder."""
    program = folder / "libmodbus_peer"
    asked = ["pkg-config", "--cflags", "--libs", "libmodbus"]
    flags = subprocess.run(asked, check=True, capture_output=True, text=True).stdout.split()
    subprocess.run(
        ["cc", "-O2", "-Wall", "-Wextra", "-Werror", str(SOURCE), "-o", str(program), *flags], check=True
    )
    return program
