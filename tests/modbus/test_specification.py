"""
The frames that the standard prints, through our server and our client, byte by byte; and its limits.

Source: tests/data/modbus_frames.json, MODBUS Application Protocol Specification V1.1b3, page beside each.
"""

import json
from pathlib import Path

import pytest
from modbus.answering import LINK, peer, tables

from controller.modbus.answers import answer, bits_unpacked
from controller.modbus.client import Client
from controller.modbus.frames import Frame, taken
from controller.modbus.health import LinkError
from controller.modbus.requests import READ_MAX, WRITE_MAX, Request

FRAMES = json.loads((Path(__file__).parents[1] / "data" / "modbus_frames.json").read_text("utf-8"))["frames"]
BY_FUNCTION = {frame["function"]: frame for frame in FRAMES if frame["reply"]}


def held_by_the_example():
    """Tables as the examples of the standard find them; bits and numbers as its pages print them."""
    bits_20 = [int(bit) for bit in "1011001111010110101"]
    bits_197 = [int(bit) for bit in "0011010111011011101011"]
    return tables(
        {
            "coil": {**dict(enumerate(bits_20, 19)), 172: 0},
            "discrete_input": dict(enumerate(bits_197, 196)),
            "holding_register": {
                1: 0,
                2: 0,
                107: 555,
                108: 0,
                109: 100,
                3: 254,
                4: 2765,
                5: 1,
                6: 3,
                7: 13,
                8: 255,
                14: 0,
                15: 0,
                16: 0,
            },
            "input_register": {8: 10},
        }
    )


@pytest.mark.parametrize("function", sorted(BY_FUNCTION))
def test_the_server_gives_the_reply_that_the_standard_prints(function):
    frame = BY_FUNCTION[function]
    held = held_by_the_example()
    if function == "16":
        held.cells["holding_register"][4] = 0x12
    assert answer(bytes.fromhex(frame["request"]), held) == bytes.fromhex(frame["reply"])


@pytest.mark.parametrize(
    ("function", "table", "start", "after"),
    [
        ("05", "coil", 172, [1]),
        ("06", "holding_register", 1, [3]),
        ("0F", "coil", 19, [1, 0, 1, 1, 0, 0, 1, 1, 1, 0]),
        ("10", "holding_register", 1, [0x000A, 0x0102]),
        ("16", "holding_register", 4, [0x17]),
        ("17", "holding_register", 14, [0xFF, 0xFF, 0xFF]),
    ],
)  # fmt: skip
def test_the_server_writes_what_the_standard_says(function, table, start, after):
    held = held_by_the_example()
    if function == "16":
        held.cells["holding_register"][4] = 0x12
    answer(bytes.fromhex(BY_FUNCTION[function]["request"]), held)
    assert held.read(table, start, len(after)) == after


CLIENT_ASKS = {
    "01": (Request("coil", 19, 19, ()), [int(bit) for bit in "1011001111010110101"]),
    "02": (Request("discrete_input", 196, 22, ()), [int(bit) for bit in "0011010111011011101011"]),
    "03": (Request("holding_register", 107, 3, ()), [555, 0, 100]),
    "04": (Request("input_register", 8, 1, ()), [10]),
}
CLIENT_WRITES = {
    "0F": (Request("coil", 19, 10, ()), [1, 0, 1, 1, 0, 0, 1, 1, 1, 0]),
    "10": (Request("holding_register", 1, 2, ()), [0x000A, 0x0102]),
}


@pytest.mark.parametrize("function", [*CLIENT_ASKS, *CLIENT_WRITES])
async def test_the_client_asks_as_the_standard_prints_and_understands_its_reply(function):
    frame = BY_FUNCTION[function]
    asked = []

    def reply(raw):
        (request,) = taken(bytearray(raw))
        asked.append(request.pdu)
        return request._replace(pdu=bytes.fromhex(frame["reply"])).sent()

    async with peer(reply) as port:
        client = Client(LINK, "127.0.0.1", port, 500)
        await client.connect()
        if function in CLIENT_ASKS:
            request, values = CLIENT_ASKS[function]
            assert await client.read(request) == values
        else:
            await client.write(*CLIENT_WRITES[function])
        client.close()
    assert asked == [bytes.fromhex(frame["request"])]


async def test_an_exception_reply_is_an_answer_that_is_told_by_its_name():
    """Page 47: coils at 04A1 that are not there."""
    async with peer(lambda raw: Frame(int.from_bytes(raw[:2]), 1, bytes.fromhex("81 02")).sent()) as port:
        client = Client(LINK, "127.0.0.1", port, 500)
        await client.connect()
        with pytest.raises(
            LinkError, match="coil 1185 x 1 with exception 02, illegal data address"
        ) as caught:
            await client.read(Request("coil", 0x04A1, 1, ()))
        assert not caught.value.broken
        client.close()


def test_the_full_frame_of_the_implementation_guide():
    """MODBUS Messaging on TCP/IP Implementation Guide V1.0b, 4.4.1.2: register 5 of unit FF."""
    raw = bytes.fromhex(next(frame["request"] for frame in FRAMES if not frame["reply"]))
    (frame,) = taken(bytearray(raw))
    assert (frame.transaction, frame.unit, frame.pdu) == (0x1501, 0xFF, bytes.fromhex("03 00 04 00 01"))
    assert frame.sent() == raw


READS = {1: "coil", 2: "discrete_input", 3: "holding_register", 4: "input_register"}


@pytest.mark.parametrize("function", READS)
def test_a_read_is_taken_up_to_the_limit_and_refused_beyond_with_03(function):
    """6.1 to 6.4: 1 to 2000 bits, 1 to 125 registers."""
    most = READ_MAX[READS[function]]
    held = tables({READS[function]: dict.fromkeys(range(3_000), 0)})
    for count in (1, most):
        assert answer(bytes((function, 0, 0)) + count.to_bytes(2), held)[0] == function
    for count in (0, most + 1, 0xFFFF):
        refused = answer(bytes((function, 0, 0)) + count.to_bytes(2), held)
        assert refused == bytes((function | 0x80, 3)), count


@pytest.mark.parametrize(("function", "table"), [(0x0F, "coil"), (0x10, "holding_register")])
def test_a_write_is_taken_up_to_the_limit_and_refused_beyond_with_03(function, table):
    """6.11 and 6.12: 1 to 1968 coils, 1 to 123 registers; a byte count that lies is refused too."""
    most = WRITE_MAX[table]
    held = tables({table: dict.fromkeys(range(3_000), 0)})

    def write(count, size, there):
        head = bytes((function, 0, 0)) + count.to_bytes(2) + bytes((size & 0xFF,))
        return answer(head + b"\xff" * there, held)

    size = {count: (count + 7) // 8 if table == "coil" else 2 * count for count in (0, 1, 2, most, most + 1)}
    refused = bytes((function | 0x80, 3))
    assert write(0, 0, 0) == refused
    assert write(most + 1, size[most + 1], size[most + 1]) == refused
    assert write(2, size[2] + 1, size[2]) == refused
    assert write(2, size[2], size[2] + 1) == refused
    assert not any(held.cells[table].values())
    for count in (1, most):
        assert write(count, size[count], size[count])[0] == function


def test_96_and_4_more_of_100_registers_are_there_96_and_5_are_not():
    """Section 7, exception 02: 100 registers, the request with offset 96 and length 5 is refused."""
    held = tables({"holding_register": dict.fromkeys(range(100), 7)})
    assert answer(bytes((3, 0, 96, 0, 4)), held) == bytes((3, 8)) + b"\0\7" * 4
    assert answer(bytes((3, 0, 96, 0, 5)), held) == bytes((0x83, 2))


@pytest.mark.parametrize("value", [0x0001, 0x00FF, 0x1234, 0xFF01, 0xFFFF])
def test_a_single_coil_takes_no_value_but_on_and_off(value):
    """6.5: all other values are illegal and will not affect the output."""
    for before in (0, 1):
        held = tables({"coil": {5: before}})
        assert answer(bytes((5, 0, 5)) + value.to_bytes(2), held) == bytes((0x85, 3))
        assert held.cells["coil"] == {5: before}


@pytest.mark.parametrize("function", [0, 7, 8, 0x0B, 0x11, 0x14, 0x18, 0x2B, 0x41, 0x7F])
def test_functions_that_are_not_offered_are_answered_with_01(function):
    assert answer(bytes((function, 0, 0, 0, 1)), tables({})) == bytes((function | 0x80, 1))


@pytest.mark.parametrize("frame", FRAMES, ids=lambda frame: frame["function"] + frame["what"][:9])
def test_a_request_of_another_length_is_refused_and_changes_nothing(frame):
    whole = bytes.fromhex(frame["request"]) if frame["reply"] else bytes.fromhex("03 00 04 00 01")
    for pdu in [whole[:length] for length in range(1, len(whole))] + [whole + b"\0"]:
        held = held_by_the_example()
        held.cells["holding_register"].setdefault(4, 0x12)
        before = {table: dict(cells) for table, cells in held.cells.items()}
        assert answer(pdu, held) == bytes((whole[0] | 0x80, 3))
        assert held.cells == before


def test_nothing_is_written_that_is_the_servers_own_nor_half_of_a_request():
    held = tables({"holding_register": {0: 1, 1: 1, 2: 1}})
    held.writable.remove(("holding_register", 2))
    for pdu in ("06 0002 0005", "10 0001 0002 04 0009 0009", "16 0002 0000 0005"):
        raw = bytes.fromhex(pdu)
        assert answer(raw, held) == bytes((raw[0] | 0x80, 2))
    assert held.cells["holding_register"] == {0: 1, 1: 1, 2: 1}


def test_reading_and_writing_in_one_writes_first_or_not_at_all():
    """6.17: the write operation is performed before the read."""
    held = tables({"holding_register": {0: 1, 1: 2}})
    assert answer(bytes.fromhex("17 0000 0002 0001 0001 02 00AA"), held) == bytes.fromhex("17 04 0001 00AA")
    assert answer(bytes.fromhex("17 0000 0003 0001 0001 02 00BB"), held) == bytes.fromhex("97 02")
    assert held.cells["holding_register"] == {0: 1, 1: 0xAA}


def test_bits_are_counted_from_the_lowest_of_the_first_byte():
    """Page 12: the byte CD shows coils 27 to 20, so from 20 upward 1011 0011."""
    assert bits_unpacked(bytes.fromhex("CD"), 8) == [1, 0, 1, 1, 0, 0, 1, 1]
