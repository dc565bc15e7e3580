"""
Random and mutated frames over real sockets: the outputs that a device takes are those of valid frames alone.

`WIRE_FUZZ_SOCKET_FRAMES` says how many (`make soak`: ten thousand), `WIRE_FUZZ_SEED` begins elsewhere.
"""

import asyncio
import os
import random

from wire_faults import mutations, strict_reading
from wire_faults.small_map import LIFE, OUTPUTS_AT, inputs, small_map

from controller.clock import WallClock
from controller.image import Outputs
from controller.modbus.server_wire import ServerWire
from controller.modbus.wire import make_wire

FRAMES = int(os.environ.get("WIRE_FUZZ_SOCKET_FRAMES", "1000"))
SEED = int(os.environ.get("WIRE_FUZZ_SEED", "1"))
LIFE_CELL = ("holding_register", LIFE)
COILS = [("coil", OUTPUTS_AT + n) for n in range(len(Outputs._fields))]


class Expected:
    """What the device must have taken: the coils as they stood when the life counter was written last."""

    def __init__(self) -> None:
        self.values: dict[str, int] | None = None
        self.images = self.energised = 0
        self.reconnected()

    def reconnected(self) -> None:
        self.cells: strict_reading.Cells = dict.fromkeys((*COILS, LIFE_CELL), 0)
        self.unread = b""
        self.replies, self.lost = 0, False

    def sent(self, raw: bytes) -> None:
        self.unread += raw
        read = 0
        try:
            for frame in strict_reading.framed(self.unread):
                read += 7 + len(frame.pdu)
                self.replies += 1
                if frame.unit in strict_reading.OWN_UNITS:
                    changes = strict_reading.written(frame.pdu, self.cells, {*self.cells})
                    self.cells |= changes
                    if LIFE_CELL in changes:
                        self.values = {
                            name: self.cells[cell] for name, cell in zip(Outputs._fields, COILS, strict=True)
                        }
                        self.images += 1
                        self.energised += any(self.values.values())
        except strict_reading.LostPlace:
            self.lost = True
        self.unread = self.unread[read:]


async def replies(reader: asyncio.StreamReader, count: int, *, lost: bool) -> None:
    """Read as many replies as are due, or to the end of a connection that the device gives up."""
    try:
        if lost:
            await reader.read(-1)
            return
        for _ in range(count):
            header = await reader.readexactly(7)
            await reader.readexactly(header[4] * 256 + header[5] - 1)
    except ConnectionResetError:
        assert lost


async def test_a_device_takes_only_outputs_that_a_valid_frame_wrote():
    chance, expected = random.Random(SEED), Expected()
    wire = make_wire(small_map("client", 0, idle_s=60), "device", WallClock())
    assert isinstance(wire, ServerWire)
    await wire.start()
    wire.hand_over(inputs(True, 4_000), 1)
    sent = connections = 0
    while sent < FRAMES:
        async with asyncio.timeout(60):
            reader, writer = await asyncio.open_connection("127.0.0.1", wire.port)
            connections += 1
            while not expected.lost and sent < FRAMES:
                due = expected.replies
                for _ in range(chance.randrange(1, 5)):
                    raw = mutations.mutated(chance, request(chance))
                    sent += 1
                    expected.sent(raw)
                    for part in mutations.cut(chance, raw):
                        if not reader.at_eof():  # else the device has hung up on what it has of it
                            writer.write(part)
                        await asyncio.sleep(0)
                    if expected.lost:
                        break
                await replies(reader, expected.replies - due, lost=expected.lost)
                assert (wire.newest and wire.newest.values) == expected.values
            writer.close()
            await wire_is_free(wire)
            expected.reconnected()
    await wire.close()
    assert expected.images > FRAMES / 50, "hardly an image was written: nothing was tested"
    assert connections > FRAMES / 50
    assert expected.energised > FRAMES / 100


async def wire_is_free(wire: ServerWire) -> None:
    """The device has seen that the last client left: the next may write."""
    while wire.server.connections:  # noqa: ASYNC110 (it tells nobody)
        await asyncio.sleep(0.001)


def request(chance: random.Random) -> bytes:
    """As `mutations.request`, and often the writes of a controller."""
    kind = chance.random()
    if kind < 0.25:
        return bytes([15, 0, OUTPUTS_AT, 0, len(COILS), 2]) + chance.randbytes(2)
    if kind < 0.5:
        return bytes([16, 0, LIFE, 0, 1, 2]) + chance.randbytes(2)
    return mutations.request(chance)
