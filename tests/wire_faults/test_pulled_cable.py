"""
A cable that is pulled, with nothing of ours in between: the system itself has no way to the other end any more.

Both programs live in a network of their own, whose one interface goes down under them. Neither is told: connections
stand, and what is sent comes to nothing.
"""

import asyncio
import shutil
import subprocess
import sys
import tempfile
from collections.abc import AsyncIterator

import pytest
import pytest_asyncio
from wire_faults.test_faults_of_processes import SAFE_WITHIN_S
from wire_faults.two_processes import Pair, Process

pytestmark = [pytest.mark.realtime, pytest.mark.asyncio(loop_scope="module")]
ALONE = ("unshare", "--user", "--map-root-user", "--net")
HOLDS = "import sys; print(flush=True); sys.stdin.read()"
SWITCHES = """
import fcntl, socket, struct, sys
GET_FLAGS, SET_FLAGS, UP = 0x8913, 0x8914, 1  # linux/sockios.h, linux/if.h; struct ifreq has 40 bytes
with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as any_socket:
    asked = struct.pack("16sH22x", b"lo", 0)
    flags = struct.unpack("16sH22x", fcntl.ioctl(any_socket, GET_FLAGS, asked))[1]
    flags = flags | UP if sys.argv[1] == "up" else flags & ~UP
    fcntl.ioctl(any_socket, SET_FLAGS, struct.pack("16sH22x", b"lo", flags))
"""


def why_not() -> str:
    """Why nobody can have a network of his own here; empty: he can."""
    if not all(map(shutil.which, ("unshare", "nsenter"))):
        return "needs a network of its own, and unshare and nsenter (util-linux) are not installed"
    done = subprocess.run([*ALONE, "true"], capture_output=True, text=True)
    return f"the system allows no network of one's own: {done.stderr.strip()}" if done.returncode else ""


class Cable:
    """A network of its own; `within` runs a command in it."""

    async def __aenter__(self) -> "Cable":
        self._holder = holder = await asyncio.create_subprocess_exec(
            *ALONE, sys.executable, "-c", HOLDS, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE
        )
        assert holder.stdout
        assert await holder.stdout.readline()
        self.within = ("nsenter", f"--target={holder.pid}", "--user", "--net", "--preserve-credentials")
        await self.switch("up")
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._holder.communicate(b"")  # its end of the pipe closes, and it ends

    async def switch(self, to: str) -> None:
        done = await asyncio.create_subprocess_exec(*self.within, sys.executable, "-c", SWITCHES, to)
        assert await done.wait() == 0


class PairOnCable(Pair):
    """The two in the network of a cable."""

    async def start_plant(self) -> Process:
        plant = await super().start_plant()
        self.port = self.plant_port
        return plant


@pytest_asyncio.fixture(loop_scope="module", scope="module")
async def cable() -> AsyncIterator[Cable]:
    if reason := why_not():
        pytest.skip(reason)
    async with Cable() as cable:
        yield cable


@pytest_asyncio.fixture(loop_scope="module", scope="module")
async def pair(cable, tmp_path_factory) -> AsyncIterator[Pair]:
    with tempfile.TemporaryDirectory(prefix="rig") as short, pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_RUNTIME_DIR", short)  # a socket's path must be short
        pair = PairOnCable(tmp_path_factory.mktemp("pair"), within=cable.within)
        await pair.open()
        try:
            yield pair
        finally:
            await pair.close()


async def test_a_cable_that_is_pulled_is_safe_at_both_ends_and_plugged_in_again_starts_nothing(cable, pair):
    plant, _ = await pair.drawing()
    await cable.switch("down")
    assert await pair.until(plant.safe) < SAFE_WITHIN_S
    assert plant.said("watchdog")
    assert "IO_LOST" in (await pair.in_fault()).told
    await cable.switch("up")
    assert (await pair.stays_safe(plant)).state == "FAULT"
