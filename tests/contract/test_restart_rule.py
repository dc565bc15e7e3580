"""The sequence behind a port whose link fails: what trips, what goes out, and that nothing begins again by itself."""

import pytest
from bench import BENCHES
from contract.benches import WATCHDOG_MS, MemoryBench

from controller.image import JOG, Outputs
from controller.port import is_safe
from controller.sequence.steps import BUT_FAULT, CONVEY, DRAIN, FAULT, LEVEL_HOLD, REST, WARNING

IO_LOST_MS = 200  # of the bench; under the watchdog of the hardware


class Rig:
    """Sequence and port, scan by scan. The age comes through the port, the other inputs from the bench's machine."""

    def __init__(self, step):
        self.logic, self.hardware = BENCHES.at(step), MemoryBench()
        self.port, self.step_before = self.hardware.port, step
        assert self.logic.presets.io_lost_ms == IO_LOST_MS < WATCHDOG_MS

    async def begin(self):
        await self.hardware.link()
        await self.hardware.scan_over()
        self.port.read()
        self.port.write(Outputs())  # as a rig begins; from here on it stands where the bench stands
        self.port.write(self.logic.outputs)
        return self

    async def scan(self, count=1):
        for _ in range(count):
            await self.hardware.scan_over()
            self.logic.force(image_age_ms=self.port.read().image_age_ms)
            self.logic.scan()
            self.port.write(self.logic.outputs)

    async def silent(self, ms):
        await self.hardware.mute()
        await self.scan(ms // 10)
        await self.hardware.speak()


@pytest.fixture
def rig_at():
    return lambda step: Rig(step).begin()


@pytest.mark.parametrize("step", BUT_FAULT, ids=lambda step: step.name)
async def test_a_silence_no_longer_than_the_limit_changes_nothing(rig_at, step):
    rig = await rig_at(step)
    await rig.silent(IO_LOST_MS - 10)
    await rig.scan(3)
    assert rig.logic.step is not FAULT
    assert "IO_LOST" not in rig.logic.acted
    assert rig.hardware.held == rig.logic.outputs or len(rig.logic.history) > 1


@pytest.mark.parametrize("step", BUT_FAULT, ids=lambda step: step.name)
async def test_a_longer_silence_trips_in_every_step(rig_at, step):
    rig = await rig_at(step)
    await rig.scan()
    if rig.logic.step is FAULT:
        pytest.fail(rig.logic.explain())
    await rig.silent(IO_LOST_MS + 10)
    assert rig.logic.step is FAULT
    assert rig.logic.first_out == "IO_LOST"
    await rig.scan()
    assert is_safe(rig.hardware.held)


@pytest.mark.parametrize("step", BUT_FAULT, ids=lambda step: step.name)
async def test_a_new_link_trips_in_the_first_scan_that_reads_over_it(rig_at, step):
    rig = await rig_at(step)
    await rig.scan()
    await rig.hardware.relink()
    await rig.scan()
    assert rig.logic.step is FAULT
    assert rig.logic.first_out == "IO_LOST"
    assert is_safe(rig.port.read() and rig.logic.outputs)


@pytest.mark.parametrize("how", ["relink", "silence", "pause"])
@pytest.mark.parametrize("step", [CONVEY, DRAIN, LEVEL_HOLD], ids=lambda step: step.name)
async def test_after_a_loss_only_a_reset_and_a_new_start_move_anything(rig_at, step, how):
    rig = await rig_at(step)
    await rig.scan(3)
    assert not is_safe(rig.hardware.held) or step is LEVEL_HOLD
    if how == "silence":
        await rig.silent(WATCHDOG_MS + 100)
    else:
        await rig.hardware.losses[how]()
    rig.hardware.history.clear()
    await rig.scan(500)
    assert rig.logic.step is FAULT
    rig.logic.force(start_pb=True)  # alone it does nothing
    await rig.scan(10)
    rig.logic.release("start_pb")
    rig.logic.force(reset_pb=True)
    await rig.scan(10)
    rig.logic.release("reset_pb")
    rig.logic.machine.level_free = True
    await rig.scan(500)
    assert rig.logic.step is REST
    assert all(map(is_safe, rig.hardware.history))
    rig.logic.force(start_pb=True)
    await rig.scan(10)
    rig.logic.release("start_pb")
    assert rig.logic.step is WARNING
    for _ in range(1_000):
        await rig.scan()
        if not is_safe(rig.hardware.held):
            break
    assert not is_safe(rig.hardware.held)


async def test_an_output_held_by_hand_is_dropped_and_stays_off_until_it_was_let_go(rig_at):
    rig = await rig_at(REST)
    await rig.scan(600)
    assert rig.logic.request("manual") == []
    rig.port.write(rig.logic.outputs)
    await rig.scan(600)
    rig.logic.force(jog=JOG.index("purge_cmd"))
    await rig.scan(5)
    assert rig.hardware.held.purge_cmd
    await rig.hardware.relink()
    await rig.scan(100)
    assert not rig.hardware.held.purge_cmd
    rig.logic.force(jog=0)
    await rig.scan(60)
    rig.logic.force(jog=JOG.index("purge_cmd"))
    await rig.scan(5)
    assert rig.hardware.held.purge_cmd


async def test_without_an_image_from_the_beginning_nothing_starts():
    rig = Rig(REST)
    await rig.scan(3)
    assert rig.logic.first_out == "IO_LOST"
    await rig.hardware.link()
    await rig.scan(100)
    assert rig.logic.step is FAULT
    assert is_safe(rig.hardware.held)
