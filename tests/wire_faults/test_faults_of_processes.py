"""
A peer that is stopped, killed, restarted or cut off: outputs safe within the watchdog time, and no restart by itself.

Two processes over real sockets, as the README starts them; what the plant holds is read from its own lines.
Each test begins with the source on, whatever the one before did to the two.
"""

import signal
import sys
import tempfile
from collections.abc import AsyncIterator

import pytest
import pytest_asyncio
from wire_faults import faults
from wire_faults.fault_server import FaultServer, right
from wire_faults.two_processes import WATCHDOG_MS, Pair, Process, station

pytestmark = [
    pytest.mark.realtime,
    pytest.mark.asyncio(loop_scope="module"),
    pytest.mark.skipif(sys.platform == "win32", reason="stops processes with signals"),
]
BUSY_S = 3.0
"""What a busy machine may take beside the times that are asked for."""
SAFE_WITHIN_S = WATCHDOG_MS / 1_000 + BUSY_S


@pytest_asyncio.fixture(loop_scope="module", scope="module")
async def pair(tmp_path_factory) -> AsyncIterator[Pair]:
    with tempfile.TemporaryDirectory(prefix="rig") as short, pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_RUNTIME_DIR", short)  # a socket's path must be short
        pair = Pair(tmp_path_factory.mktemp("pair"))
        await pair.open()
        try:
            yield pair
        finally:
            await pair.close()


def stop(process: Process) -> None:
    process.process.send_signal(signal.SIGSTOP)


def go_on(process: Process) -> None:
    process.process.send_signal(signal.SIGCONT)


async def test_a_controller_that_is_stopped_loses_its_outputs_and_does_not_go_on(pair):
    plant, controller = await pair.drawing()
    stop(controller)
    assert await pair.until(plant.safe) < SAFE_WITHIN_S
    assert plant.said("watchdog")
    go_on(controller)
    assert "IO_LOST" in (await pair.in_fault()).told
    assert (await pair.stays_safe(plant)).state == "FAULT"


async def test_a_device_that_is_stopped_is_a_fault_and_forgets_what_it_was_told(pair):
    plant, _ = await pair.drawing()
    stop(plant)
    assert "IO_LOST" in (await pair.in_fault()).told
    go_on(plant)
    assert await pair.until(plant.safe) < SAFE_WITHIN_S
    assert (await pair.stays_safe(plant)).state == "FAULT"


async def test_a_connection_that_is_reset_is_a_fault_and_does_not_restart(pair):
    plant, _ = await pair.drawing()
    connections = pair.link.connections
    pair.link.reset()
    assert await pair.until(plant.safe) < SAFE_WITHIN_S
    assert "IO_LOST" in (await pair.in_fault()).told
    assert (await pair.stays_safe(plant)).state == "FAULT"
    assert pair.link.connections > connections


async def test_a_cable_that_is_pulled_is_a_fault_at_both_ends(pair):
    plant, _ = await pair.drawing()
    pair.link.dead = True
    assert await pair.until(plant.safe) < SAFE_WITHIN_S
    assert plant.said("watchdog")
    assert "IO_LOST" in (await pair.in_fault()).told
    pair.link.dead = False
    pair.link.reset()
    assert (await pair.stays_safe(plant)).state == "FAULT"


async def test_a_device_that_is_restarted_begins_safe_and_stays_so(pair):
    plant, _ = await pair.drawing()
    await plant.kill()
    assert "IO_LOST" in (await pair.in_fault()).told
    plant = await pair.start_plant()
    assert (await pair.stays_safe(plant)).state == "FAULT"


async def test_a_controller_that_is_killed_loses_its_outputs_and_begins_at_rest(pair):
    plant, controller = await pair.drawing()
    await controller.kill()
    assert await pair.until(plant.safe) < SAFE_WITHIN_S
    await pair.start_controller()
    assert (await pair.stays_safe(plant)).state in ("IDLE", "FAULT")


async def test_a_controller_that_is_asked_to_end_leaves_the_outputs_safe(pair):
    plant, controller = await pair.drawing()
    controller.process.send_signal(signal.SIGTERM)
    assert await controller.ended() == 0, controller.lines
    assert controller.said("outputs safe, confirmed")
    await pair.until(plant.safe)
    off = max(n for n, line in enumerate(plant.lines) if "source_cmd off" in line)
    assert "watchdog" not in plant.lines[off - 1], "the watchdog had to do it"


@pytest.mark.parametrize(("fault", "said"), [
    (faults.silent, "does not answer"),
    (faults.exception(2), "illegal data address"),
    (right, "another one"),  # the register that tells the device holds 0
], ids=["silent", "refuses the address", "another device"])  # fmt: skip
async def test_a_device_that_cannot_be_used_is_said_at_start(tmp_path, fault, said):
    async with FaultServer(unit=255) as server:
        server.fault = fault
        run = await Process.start(
            "run", station(tmp_path / "mill"), "--connect", f"127.0.0.1:{server.port}", "--anyway",
            "--state", tmp_path / "state",
        )  # fmt: skip
        assert await run.ended() == 2
        assert run.said(f"127.0.0.1:{server.port}")
        assert run.said(said), run.lines
