"""
A controller that is held up in the middle of what it does: what it decided before does not act after.

The device has dropped its outputs meanwhile. A scan that ends late, or the second half of an image, would bring
them back for as long as it takes the next scan to see how late it is.
"""

import asyncio

import pytest
from wire_faults.fault_server import FaultServer
from wire_faults.small_map import WATCHDOG_MS, inputs, outputs, small_map

from controller.backends.modbus_port import ModbusPort
from controller.clock import SteppedClock
from controller.image import Outputs
from controller.modbus.exchange import Received
from controller.modbus.wire import make_wire
from controller.port import NEVER_MS, is_safe

DRAWING = Outputs(source_cmd=True, vent_close_cmd=True, feed_cmd=True)


class WireInMemory:
    """A link that never fails: its image is as new as the clock."""

    session = 1

    def __init__(self, clock: SteppedClock) -> None:
        self.clock = clock
        self.handed: list[dict[str, int]] = []

    @property
    def newest(self) -> Received:
        return Received(inputs(True, 12_000), 1, self.clock.now_ms(), self.session)

    def hand_over(self, values: dict[str, int], life: int, session: int | None = None) -> bool:
        self.handed.append(values)
        return True


@pytest.mark.parametrize(("held_up_ms", "lost"), [(WATCHDOG_MS, False), (WATCHDOG_MS + 1, True)])
def test_a_scan_that_is_held_up_between_its_read_and_its_write_is_a_lost_link(held_up_ms, lost):
    clock = SteppedClock()
    wire = WireInMemory(clock)
    port = ModbusPort(wire, clock, WATCHDOG_MS)  # type: ignore[arg-type]
    port.read()
    port.write(Outputs())
    port.read()
    port.write(DRAWING)
    port.read()
    clock.sleep_until(clock.now_ms() + held_up_ms)
    port.write(DRAWING)
    sent = Outputs(**{name: bool(value) for name, value in wire.handed[-1].items()})
    assert is_safe(sent) == lost
    assert (port.read().image_age_ms == NEVER_MS) == lost


def test_a_scan_that_is_held_up_is_told_of_also_where_all_that_it_writes_is_safe():
    """The image came just before: between two images there is no gap, between two writes there is."""
    clock = SteppedClock()
    wire = WireInMemory(clock)
    port = ModbusPort(wire, clock, WATCHDOG_MS)  # type: ignore[arg-type]
    port.read()
    port.write(Outputs())
    clock.sleep_until(10)
    port.read()
    clock.sleep_until(WATCHDOG_MS + 1)
    port.write(Outputs(run_lamp=True))
    assert port.read().image_age_ms == NEVER_MS
    port.write(DRAWING)
    assert not any(value for name, value in wire.handed[-1].items() if name != "run_lamp")
    port.write(Outputs())
    assert port.read().image_age_ms < NEVER_MS


@pytest.mark.parametrize(("held_up_ms", "let_act"), [(WATCHDOG_MS, True), (WATCHDOG_MS + 1, False)])
async def test_an_image_that_is_held_up_between_its_parts_is_not_completed(held_up_ms, let_act):
    """Coils first, the life counter last: with it all of them would act."""
    clock = SteppedClock()
    async with FaultServer() as server:
        wire = make_wire(small_map("client", server.port, timeout_ms=5_000), "controller", clock)
        await wire.start()
        try:
            await wire.ready(10)
            coils_written = asyncio.Event()

            def hold_up() -> None:
                if any(request[7] == 15 for request in server.requests) and not coils_written.is_set():
                    coils_written.set()
                    clock.sleep_until(clock.now_ms() + held_up_ms)

            server.before = hold_up
            assert wire.hand_over(outputs(True), 4_660)
            async with asyncio.timeout(10):
                await coils_written.wait()
                asked = len(server.requests)
                while len(server.requests) < asked + 8:  # noqa: ASYNC110 (the server sets no event)
                    await asyncio.sleep(0.002)
            assert (server.tables["holding_register"][40] == 4_660) == let_act
        finally:
            await wire.close()
