"""
Random and mutated frames into the framing of both ends, in process: no crash, and nothing but valid frames counts.

`WIRE_FUZZ_FRAMES` says how many (`make soak`: a million), `WIRE_FUZZ_SEED` begins elsewhere.
"""

import asyncio
import os
import random
import struct

import pytest
from wire_faults import mutations, strict_reading
from wire_faults.small_map import WATCHDOG_MS, small_map

from controller.modbus.answers import Tables, answer
from controller.modbus.client import Client
from controller.modbus.health import LinkError
from controller.modbus.requests import Request
from controller.modbus.server import Server, _Connection

FRAMES = int(os.environ.get("WIRE_FUZZ_FRAMES", "20000"))
SEED = int(os.environ.get("WIRE_FUZZ_SEED", "1"))
LONGEST = 264
"""More bytes than this in one go the library drops: a fault, but nothing wrong is used."""
COILS, HOLDING, NOT_WRITABLE = range(200, 214), range(40, 48), range(48, 52)


class Link(asyncio.Transport):
    """A connection that leads nowhere: what is written is kept, an end is noted."""

    def __init__(self) -> None:
        super().__init__({"peername": ("127.0.0.1", 1), "socket": self})
        self.out = bytearray()
        self.ended = False

    def setsockopt(self, *_: object) -> None: ...

    def write(self, data: bytes) -> None:
        self.out += data

    def get_write_buffer_size(self) -> int:
        return 0

    def abort(self) -> None:
        self.ended = True

    close = abort

    def is_closing(self) -> bool:
        return self.ended


def tables() -> tuple[Tables, set[tuple[str, int]]]:
    made = Tables()
    made.cells["coil"] = dict.fromkeys(COILS, 0)
    made.cells["holding_register"] = dict.fromkeys((*HOLDING, *NOT_WRITABLE), 0)
    made.cells["input_register"] = dict.fromkeys(HOLDING, 7)
    writable = {("coil", at) for at in COILS} | {("holding_register", at) for at in HOLDING}
    made.writable |= writable
    return made, writable


class Served:
    """A connection of the answering end beside the oracle."""

    def __init__(self) -> None:
        self.tables, self.writable = tables()
        self.server = Server(
            small_map("client", 0).link,
            "127.0.0.1",
            0,
            lambda _, pdu: answer(pdu, self.tables),
            lambda _: None,
        )
        self.expected = self.cells()
        self.connect()

    def cells(self) -> strict_reading.Cells:
        names = ("coil", "holding_register")
        return {(name, at): value for name in names for at, value in self.tables.cells[name].items()}

    def connect(self) -> None:
        self.link, self.connection = Link(), _Connection(self.server)
        self.connection.connection_made(self.link)
        self.stream, self.unread = b"", b""
        self.asked: list[strict_reading.Framed] = []

    def takes(self, chunk: bytes) -> int:
        """Give bytes to both and compare what is written and whether the connection stands; valid writes."""
        self.connection.data_received(chunk)
        self.stream += chunk
        self.unread += chunk
        lost, valid, read = False, 0, 0
        try:
            for frame in strict_reading.framed(self.unread):
                self.asked.append(frame)
                read += 7 + len(frame.pdu)
                if frame.unit in strict_reading.OWN_UNITS:
                    changes = strict_reading.written(frame.pdu, self.expected, self.writable)
                    self.expected |= changes
                    valid += bool(changes)
        except strict_reading.LostPlace:
            lost = True
        self.unread = self.unread[read:]
        assert self.cells() == self.expected, self.stream.hex()
        assert self.link.ended == lost, self.stream.hex()
        return valid

    def replied_to_each(self) -> None:
        """As many replies as whole frames, each under the transaction and unit of its request."""
        said = list(strict_reading.framed(bytes(self.link.out)))
        assert [(reply.transaction, reply.unit, reply.pdu[0] & 0x7F) for reply in said] == [
            (frame.transaction, frame.unit, frame.pdu[0] & 0x7F) for frame in self.asked
        ]
        self.connection.connection_lost(None)


async def test_a_server_changes_only_what_a_valid_frame_writes():
    chance, served = random.Random(SEED), Served()
    changed = lost = 0
    for _ in range(FRAMES):
        for chunk in mutations.cut(chance, mutations.mutated(chance, mutations.request(chance))):
            if served.link.ended:
                break
            changed += served.takes(chunk)
        if served.link.ended or len(served.stream) > 1_000:
            lost += served.link.ended
            served.replied_to_each()
            served.connect()
    served.replied_to_each()
    assert changed > FRAMES / 20, "hardly a valid frame among them: nothing was tested"
    assert lost > FRAMES / 20


REQUESTS = {
    1: Request("coil", 200, 14, ()), 2: Request("discrete_input", 100, 13, ()),
    3: Request("holding_register", 40, 5, ()), 4: Request("input_register", 41, 3, ()),
}  # fmt: skip


class Asking:
    """The asking end over a connection that leads nowhere."""

    def __init__(self) -> None:
        self.link = Link()
        self.client = Client(small_map("client", 502, timeout_ms=60_000).link, "127.0.0.1", 502, WATCHDOG_MS)
        self.client._client.ctx.connection_made(self.link)

    async def asks(self, chance: random.Random, function: int) -> tuple[object, bytes, int]:
        """One request and what chance sends back: what the client made of it, the bytes, the transaction."""
        self.link.out.clear()
        task = asyncio.ensure_future(self.client.read(REQUESTS[function]))
        await settled()
        transaction = struct.unpack_from(">H", self.link.out)[0] if self.link.out else 0
        stream = b""
        for chunk in mutations.cut(chance, replies(chance, function, transaction)):
            if task.done() or self.link.ended:
                break
            self.client._client.ctx.data_received(chunk)
            stream += chunk
            await settled()
        if not task.done():
            self.client._client.ctx.connection_lost(None)
        try:
            return await task, stream, transaction
        except LinkError as error:
            return error, stream, transaction


async def settled() -> None:
    for _ in range(3):
        await asyncio.sleep(0)


def replies(chance: random.Random, function: int, transaction: int) -> bytes:
    """A reply that chance has mutated, in the middle of others."""
    count = REQUESTS[function].count
    size = -(-count // 8) if function < 3 else 2 * count
    if chance.random() < 0.2:
        size += chance.choice((-2, -1, 1, 2))
    right = bytes([function, size]) + chance.randbytes(size)
    sent = b""
    for _ in range(chance.choice((1, 1, 2, 3))):
        shift = chance.choice((0, 0, 0, -1, 1, -transaction))
        pdu = right if chance.random() < 0.8 else bytes([function | 0x80, chance.choice((1, 2, 6, 11))])
        sent += mutations.mutated(chance, pdu, (transaction + shift) & 0xFFFF)
    return sent


@pytest.mark.filterwarnings("default")
async def test_a_client_uses_only_the_data_of_a_valid_reply():
    chance, asking = random.Random(SEED), Asking()
    used = 0
    for _ in range(FRAMES // 4):
        function = chance.choice((*REQUESTS,))
        got, stream, transaction = await asking.asks(chance, function)
        right = strict_reading.answered(stream, transaction, 1, function, REQUESTS[function].count)
        if right is None:
            assert isinstance(got, LinkError), stream.hex()
            asking.client.close()
            asking = Asking()
        else:
            refused = isinstance(got, LinkError) and len(stream) > LONGEST
            assert refused or got == right, stream.hex()
            used += not refused
            if refused:
                asking = Asking()
    asking.client.close()
    assert used > FRAMES / 40
    assert used < FRAMES / 4


async def test_the_oracle_knows_the_examples_of_the_specification():
    """V1.1b3 pages 18, 19, 29, 30, 37, 38, and what must change nothing."""
    made = {("coil", at): 0 for at in range(300)} | {("holding_register", at): 0 for at in range(30)}
    made["holding_register", 4] = 0x12

    def change(text: str) -> strict_reading.Cells:
        return strict_reading.written(bytes.fromhex(text), made, set(made))

    assert change("05 00 AC FF 00") == {("coil", 172): 1}
    assert change("06 00 01 00 03") == {("holding_register", 1): 3}
    assert [*change("0F 00 13 00 0A 02 CD 01").values()] == [1, 0, 1, 1, 0, 0, 1, 1, 1, 0]
    assert change("10 00 01 00 02 04 00 0A 01 02") == {
        ("holding_register", 1): 10,
        ("holding_register", 2): 258,
    }
    assert change("16 00 04 00 F2 00 25") == {("holding_register", 4): 0x17}
    write_and_read = "17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF"
    assert change(write_and_read) == {("holding_register", at): 255 for at in (14, 15, 16)}
    for nothing in (
        "05 00 AC 12 34",
        "05 00 AC FF 00 00",
        "0F 00 13 00 0A 01 CD 01",
        "10 00 01 00 02 04 00 0A 01",
    ):
        assert change(nothing) == {}
    assert change("06 01 00 00 03") == {}  # does not exist
