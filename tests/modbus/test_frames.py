"""The stream: frames cut anywhere, several at once, and headers that lost their place."""

import asyncio
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st
from modbus.answering import LINK, tables, until

from controller.modbus.answers import answer
from controller.modbus.frames import Frame, FramingError, taken
from controller.modbus.health import LinkError
from controller.modbus.server import AT_ONCE_MAX, Server

READ = Frame(0x1501, 1, bytes.fromhex("03 00 04 00 01"))
REPLY = Frame(0x1501, 1, bytes.fromhex("03 02 00 2A"))


@given(
    st.lists(st.tuples(st.integers(0, 65_535), st.integers(0, 255), st.binary(min_size=1, max_size=253))),
    st.data(),
)
def test_frames_come_out_as_they_went_in_however_the_stream_is_cut(made, data):
    frames = [Frame(*one) for one in made]
    stream = b"".join(frame.sent() for frame in frames)
    cuts = sorted(data.draw(st.sets(st.integers(0, len(stream)), max_size=12)))
    buffer, out = bytearray(), []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        buffer += stream[start:end]
        out += taken(buffer)
    assert out == frames
    assert not buffer


@pytest.mark.parametrize(
    "header", ["1501 0001 0006", "1501 0100", "1501 0000 0000", "1501 0000 0001", "1501 0000 00FF"]
)
def test_a_header_that_cannot_be_is_seen_as_soon_as_it_is_there(header):
    """Guide V1.0b, 3.1.3: protocol 0; the length counts unit and function at least, 254 at most."""
    buffer = bytearray(READ.sent() + bytes.fromhex(header))
    frames = taken(buffer)
    assert next(frames) == READ
    with pytest.raises(FramingError):
        next(frames)


@pytest.fixture
async def talk():
    """Opens connections to a strict server that holds register 4 as 42."""
    held = tables({"holding_register": {4: 42}})
    servers, writers = [], []

    async def opened(link=LINK):
        server = Server(link, "127.0.0.1", 0, lambda number, pdu: answer(pdu, held), lambda number: None)
        await server.start()
        servers.append(server)

        async def connect():
            reader, writer = await asyncio.open_connection("127.0.0.1", server.port)
            writers.append(writer)
            return reader, writer

        return server, connect

    yield opened
    for writer in writers:
        writer.close()
    for server in servers:
        await server.close()


@pytest.mark.parametrize("cut", range(1, 12))
async def test_a_request_cut_at_any_byte_is_answered(talk, cut):
    _, connect = await talk()
    reader, writer = await connect()
    raw = READ.sent()
    writer.write(raw[:cut])
    await writer.drain()
    await asyncio.sleep(0)
    writer.write(raw[cut:])
    async with asyncio.timeout(5):
        assert await reader.readexactly(len(REPLY.sent())) == REPLY.sent()


async def test_several_requests_in_one_segment_are_all_answered_in_order(talk):
    _, connect = await talk()
    reader, writer = await connect()
    writer.write(b"".join(READ._replace(transaction=number).sent() for number in range(10)))
    async with asyncio.timeout(5):
        for number in range(10):
            assert await reader.readexactly(11) == REPLY._replace(transaction=number).sent()


@pytest.mark.parametrize(
    "sent", [b"GET / HTTP/1.0\r\n\r\n", READ.sent()[:2] + b"\1" + READ.sent()[3:], READ.sent() * 200]
)
async def test_who_breaks_the_framing_or_floods_is_hung_up_on(talk, sent):
    server, connect = await talk()
    reader, writer = await connect()
    writer.write(sent)
    async with asyncio.timeout(5):
        with suppress(ConnectionError):  # a clean end is an end as well
            while await reader.read(4_096):
                pass
    assert "was hung up on" in server.said
    assert sent.count(READ.sent()) in (0, 200)
    assert AT_ONCE_MAX < 200


@pytest.mark.parametrize(("unit", "code"), [(1, None), (0, None), (255, None), (2, 0x0B), (254, 0x0B)])
async def test_the_unit_is_the_one_of_the_map_or_none(talk, unit, code):
    """Guide 4.4.1.2: 255 or 0 for a device on TCP itself; behind it nobody: exception 0B."""
    _, connect = await talk()
    reader, writer = await connect()
    writer.write(READ._replace(unit=unit).sent())
    expected = REPLY._replace(unit=unit) if code is None else Frame(0x1501, unit, bytes((0x83, code)))
    async with asyncio.timeout(5):
        assert await reader.readexactly(len(expected.sent())) == expected.sent()


async def closed(reader):
    async with asyncio.timeout(5):
        try:
            return await reader.read(1) == b""
        except ConnectionError:
            return True


async def test_more_connections_than_allowed_are_closed_and_a_place_that_is_left_is_free(talk):
    server, connect = await talk(LINK._replace(connections_max=2))
    first, _ = await connect(), await connect()
    third = await connect()
    assert await closed(third[0])
    assert "all 2 connections are taken" in server.said
    first[1].close()
    await until(lambda: len(server.connections) < 2)
    reader, writer = await connect()
    writer.write(READ.sent())
    async with asyncio.timeout(5):
        assert await reader.readexactly(11) == REPLY.sent()


async def test_who_was_silent_longest_gives_way_where_all_places_are_taken(talk, monkeypatch):
    """A cable that flaps leaves connections that nobody holds; the controller must not wait until they are idle."""
    monkeypatch.setattr("controller.modbus.server.SILENT_S", 0.0)
    _, connect = await talk(LINK._replace(connections_max=2))
    first, second = await connect(), await connect()
    for _, writer in (first, second):
        writer.write(READ.sent())
        await writer.drain()
    async with asyncio.timeout(5):
        await first[0].readexactly(11)
        await second[0].readexactly(11)
    second[1].write(READ.sent())
    async with asyncio.timeout(5):
        await second[0].readexactly(11)
    reader, writer = await connect()
    writer.write(READ.sent())
    async with asyncio.timeout(5):
        assert await reader.readexactly(11) == REPLY.sent()
    assert await closed(first[0])
    second[1].write(READ.sent())
    async with asyncio.timeout(5):
        assert await second[0].readexactly(11) == REPLY.sent()


async def test_who_is_not_on_the_list_is_closed(talk):
    server, connect = await talk(LINK._replace(allow=("127.0.0.9",)))
    reader, _ = await connect()
    assert await closed(reader)
    assert server.said == "127.0.0.1 was turned away: it is not in server.allow"


async def test_half_a_frame_does_not_keep_a_connection(talk):
    server, connect = await talk(LINK._replace(idle_s=0.05))
    reader, writer = await connect()
    writer.write(READ.sent()[:7])
    assert await closed(reader)
    assert "sent no request for" in server.said


async def test_an_address_in_use_is_told(talk):
    server, _ = await talk()
    other = Server(LINK, "127.0.0.1", server.port, lambda number, pdu: pdu, lambda number: None)
    with pytest.raises(LinkError, match=rf"cannot listen on 127[.]0[.]0[.]1:{server.port}: "):
        await other.start()


def test_no_server_is_open_to_others_without_a_list():
    with pytest.raises(LinkError, match=r"list in server[.]allow who may connect"):
        Server(LINK, "0.0.0.0", 0, lambda number, pdu: pdu, lambda number: None)
    Server(LINK._replace(allow=("192.168.10.5",)), "0.0.0.0", 0, lambda n, pdu: pdu, lambda n: None)
