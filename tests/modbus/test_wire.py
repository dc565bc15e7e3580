"""Both ends of the wire over a socket, in both roles: what is given arrives, what is old or foreign does not."""

import asyncio
from functools import partial

import pytest
from modbus.answering import STATIONS, both_ends, image, peer, the_map, until

from controller.clock import SteppedClock
from controller.modbus.frames import Frame, taken
from controller.modbus.wire import LinkError, make_wire


@pytest.mark.parametrize("station", STATIONS)
async def test_what_one_side_hands_over_the_other_receives_whole(station):
    found = the_map(station)
    async with both_ends(found, SteppedClock()) as ends:
        for seed in (1, 2):
            for side, other in (("device", "controller"), ("controller", "device")):
                assert ends[side].hand_over(image(found, side, seed), 40_000 + seed)
                assert await ends[side].confirm(5)
                seen = ends["client"].health.exchanges
                await until(partial(has_gone_on, ends["client"], seen + 2))
                got = ends[other].newest
                values = image(found, side, seed)
                assert got.values.keys() == values.keys()
                assert {name for name in values if abs(got.values[name] - values[name]) > 5} == set()
                assert got.life == (40_000 + seed if side == "controller" or found.device_life else 0)


def has_gone_on(client, to):
    return client.health.exchanges >= to


async def test_the_image_is_as_old_as_the_beginning_of_its_exchange():
    clock = SteppedClock()
    async with both_ends(the_map("buckwheat_mill"), clock) as ends:
        seen = ends["client"].health.exchanges
        clock.sleep_until(5_000)
        await until(lambda: ends["client"].health.exchanges > seen + 1)
        assert ends["client"].newest.at_ms == 5_000
        assert ends["client"].health.state == "good"


async def test_a_link_that_is_bad_says_why_also_where_nothing_failed():
    """This program was held up, or a client writes no more: no exchange has failed."""
    clock = SteppedClock()
    found = the_map("buckwheat_mill")
    async with both_ends(found, clock) as ends:
        assert ends["controller"].hand_over(image(found, "controller"), 1)
        await until(lambda: ends["device"].newest)
        clock.sleep_until(5_000)
        for end in ends.values():
            assert (end.health.state, end.health.misses) == ("bad", 0)
            assert end.health.said == f"no whole image for {5_000 - end.newest.at_ms} ms"


async def test_a_controller_without_a_link_hands_nothing_over_and_nothing_old_goes_out_on_a_new_link():
    found = the_map("buckwheat_mill")
    values = image(found, "controller")
    async with both_ends(found, SteppedClock()) as ends:
        controller, device = ends["controller"], ends["device"]
        assert controller.session == 1
        assert controller.hand_over(values, 1, session=1)
        assert await controller.confirm(5)
        await device.close()
        await until(lambda: controller.session == 0)
        assert not controller.hand_over(values, 2)
        async with asyncio.timeout(10):
            assert not await controller.confirm(600), "nothing is on its way: nothing is waited for"
        again = make_wire(found, "device", SteppedClock(), port=controller._port)
        await again.start()
        await until(lambda: controller.session == 2)
        assert not controller.hand_over(values, 3, session=1), "decided on the link before"
        seen = controller.health.exchanges
        await until(lambda: controller.health.exchanges > seen + 2)
        assert again.newest is None, "something was written that nobody decided on this link"
        assert controller.hand_over(values, 4, session=2)
        assert await controller.confirm(5)
        assert again.newest.life == 4
        await again.close()


async def test_a_controller_that_is_asked_shows_all_off_once_its_scanner_has_gone():
    found = the_map("milk_powder_hall")
    async with both_ends(found, SteppedClock()) as ends:
        controller, scanner = ends["controller"], ends["device"]
        scanner.hand_over(image(found, "device"), 1)
        await until(lambda: controller.session == 1)
        assert controller.hand_over(dict.fromkeys(image(found, "controller"), 1), 7, session=1)
        assert await controller.confirm(5)
        outputs = controller.tables.cells["holding_register"]
        assert outputs[101] == 0x0FFF
        await scanner.close()
        await until(lambda: controller.session == 0)
        assert outputs[101] == outputs[102] == 0
        assert not controller.hand_over(image(found, "controller"), 8)
        assert controller.health.said == "the client that wrote has gone"
        assert not await controller.confirm(0.01)


async def test_a_device_that_is_another_one_is_told_and_never_written_to():
    found = the_map("buckwheat_mill")
    place, _ = found.identity
    other = make_wire(found._replace(identity=(place, 17)), "device", SteppedClock(), port=0)
    await other.start()
    wire = make_wire(found, "controller", SteppedClock(), port=other.port)
    await wire.start()
    with pytest.raises(LinkError) as caught:
        await wire.ready(0.3)
    assert str(caught.value) == (
        f"device at 127.0.0.1:{other.port} is another one: input_register 0 holds 17, "
        "configs/buckwheat_mill/modbus.yaml wants 4101; nothing is written to it"
    )
    assert not wire.hand_over(image(found, "controller"), 1)
    assert wire.session == 0
    assert other.newest is None
    assert wire.health.state == "bad"
    await wire.close()
    await other.close()


async def test_a_device_that_is_not_there_is_told():
    async with peer(lambda raw: None) as port:
        pass
    wire = make_wire(the_map("buckwheat_mill"), "controller", SteppedClock(), port=port)
    await wire.start()
    with pytest.raises(LinkError, match=f"{port} refused the connection: nothing listens there"):
        await wire.ready(0.2)
    await wire.close()


async def test_a_device_that_stays_silent_is_told():
    found = the_map("sugar_kitchen")
    async with peer(lambda raw: b"") as port:
        wire = make_wire(
            found._replace(link=found.link._replace(timeout_ms=20)), "controller", SteppedClock(), port=port
        )
        await wire.start()
        with pytest.raises(LinkError, match="does not answer to input_register 0 x 3 as unit 1 within 20 ms"):
            await wire.ready(0.3)
        await wire.close()


async def test_an_address_that_the_device_does_not_have_is_told():
    found = the_map("sugar_kitchen")

    def refuse(raw):
        (request,) = taken(bytearray(raw))
        return request._replace(pdu=bytes((request.pdu[0] | 0x80, 2))).sent()

    async with peer(refuse) as port:
        wire = make_wire(found, "controller", SteppedClock(), port=port)
        await wire.start()
        with pytest.raises(LinkError, match="input_register 0 x 3 with exception 02, illegal data address"):
            await wire.ready(0.3)
        await wire.close()


def spoiled(kind, request):
    """A reply to a read of registers that is wrong in one thing; the library takes most of them as data."""
    count = int.from_bytes(request.pdu[3:5])
    words = b"\x0f\xa0" * (count + 1)
    good = bytes((request.pdu[0], 2 * count)) + words[: 2 * count]
    tid = request.transaction
    return {
        "transaction 0": Frame(0, request.unit, good).sent(),
        "another transaction": Frame(tid ^ 1, request.unit, good).sent(),
        "another unit": Frame(tid, request.unit ^ 1, good).sent(),
        "another function": Frame(tid, request.unit, bytes((request.pdu[0] ^ 7,)) + good[1:]).sent(),
        "one register too few": Frame(
            tid, request.unit, bytes((4, 2 * count - 2)) + words[: 2 * count - 2]
        ).sent(),
        "one register too many": Frame(tid, request.unit, bytes((4, 2 * count + 2)) + words).sent(),
        "a byte count that lies": Frame(
            tid, request.unit, bytes((4, 2 * count + 2)) + words[: 2 * count]
        ).sent(),
        "a byte behind it": Frame(tid, request.unit, good + b"\0").sent(),
        "another protocol": b"\0" * 0 + tid.to_bytes(2) + b"\0\1" + Frame(tid, request.unit, good).sent()[4:],
        "half of it": Frame(tid, request.unit, good).sent()[:10],
        "garbage": bytes(range(7, 40)),
        "nothing but a hang up": None,
    }[kind]


@pytest.mark.parametrize(
    "kind",
    ["transaction 0", "another transaction", "another unit", "another function", "one register too few",
     "one register too many", "a byte count that lies", "a byte behind it", "another protocol", "half of it",
     "garbage", "nothing but a hang up"],
)  # fmt: skip
async def test_a_reply_that_is_not_the_one_asked_for_is_never_used(kind):
    found = the_map("sugar_kitchen")
    asked = []

    def reply(raw):
        (request,) = taken(bytearray(raw))
        asked.append(request)
        return spoiled(kind, request)

    async with peer(reply) as port:
        wire = make_wire(
            found._replace(link=found.link._replace(timeout_ms=20)), "controller", SteppedClock(), port=port
        )
        await wire.start()
        await until(lambda: len(asked) > 2)
        assert wire.newest is None
        assert wire.health.state == "bad"
        assert wire.health.said.startswith(f"device at 127.0.0.1:{port} ")
        await wire.close()


async def test_one_lost_reply_costs_neither_the_link_nor_the_image():
    found = the_map("sugar_kitchen")
    lost = []

    def reply(raw):
        (request,) = taken(bytearray(raw))
        if wire.health.exchanges == 3 and not lost:
            lost.append(request)
            return b""
        return Frame(request.transaction, request.unit, bytes((4, 6)) + b"\x0f\xa0" * 3).sent()

    async with peer(reply) as port:
        link = found.link._replace(timeout_ms=20, retries=0)
        wire = make_wire(found._replace(link=link), "controller", SteppedClock(), port=port)
        await wire.start()
        await until(lambda: wire.health.exchanges > 5)
        assert lost
        assert wire.session == 1
        await wire.close()


async def test_only_one_client_writes_at_a_time():
    """Two controllers on one device must not mix their outputs; who only looks is served."""
    found = the_map("buckwheat_mill")
    clock = SteppedClock()
    device = make_wire(found, "device", clock, port=0)
    write = bytes.fromhex("10 0000 0002 04 0001 0005")
    assert device.answer(1, write) == bytes.fromhex("10 0000 0002")
    assert device.answer(2, write) == bytes.fromhex("90 06")
    assert device.answer(2, bytes.fromhex("03 0000 0001")) == bytes.fromhex("03 02 0001")
    assert device.newest.session == 1
    clock.sleep_until(found.watchdog_ms + 1)
    assert device.answer(2, bytes.fromhex("06 0001 0009")) == bytes.fromhex("06 0001 0009")
    assert device.newest.session == 2
    assert device.newest.values["source_cmd"] == 0, "outputs of another client were taken over"
    assert device.newest.life == 9


async def test_parts_of_an_image_stand_aside_until_the_life_counter_is_written():
    found = the_map("sugar_kitchen")
    clock = SteppedClock()
    device = make_wire(found, "device", clock, port=0)
    device.answer(1, bytes.fromhex("0F 0000 0008 01 FF"))
    assert device.newest is None
    clock.sleep_until(40)
    device.answer(1, bytes.fromhex("06 0000 0001"))
    assert device.newest.at_ms == 0, "as old as its first part"
    device.answer(1, bytes.fromhex("0F 0000 0008 01 00"))
    assert set(device.newest.values.values()) == {1}


async def test_only_what_is_mapped_exists_and_only_the_other_ends_part_is_written():
    device = make_wire(the_map("buckwheat_mill"), "device", SteppedClock(), port=0)
    for request, reply in {
        "03 0000 0003": "83 02",  # there are two
        "01 0000 0001": "81 02",
        "02 0000 0009": "82 02",
        "04 0000 0004": "04 08 1005 0000 0000 0000",
        "06 0002 0001": "86 02",
        "05 0000 FF00": "85 02",
    }.items():
        assert device.answer(1, bytes.fromhex(request)) == bytes.fromhex(reply)
    assert device.newest is None
    assert device.session == 0, "a client that is refused writes nothing"


async def test_closing_twice_is_no_mistake():
    async with both_ends(the_map("buckwheat_mill"), SteppedClock()) as ends:
        await ends["client"].close()
        await ends["server"].close()


def scanned(clock):
    """A controller that is asked, with a scanner on connection 1 that has written its image once."""
    controller = make_wire(the_map("milk_powder_hall"), "controller", clock, port=0)
    controller.answer(1, bytes.fromhex("10 0000 0007 0E 0000 0000 0000 0000 0000 0000 0001"))
    assert controller.session == 1
    assert controller.hand_over(dict.fromkeys(image(controller.map, "controller"), 1), 7, session=1)
    return controller


READ_OUTPUTS = bytes.fromhex("03 0065 0002")


async def test_only_the_scanner_itself_takes_what_was_handed_over():
    controller = scanned(SteppedClock())
    assert controller.answer(2, READ_OUTPUTS) == bytes.fromhex("03 04 0FFF 0007")
    assert not await controller.confirm(0.01)
    controller.answer(1, READ_OUTPUTS)
    assert await controller.confirm(5)


async def test_outputs_that_the_device_has_dropped_since_do_not_come_back():
    clock = SteppedClock()
    controller = scanned(clock)
    clock.sleep_until(controller.map.watchdog_ms)
    assert controller.answer(1, READ_OUTPUTS) == bytes.fromhex("03 04 0FFF 0007")
    clock.sleep_until(controller.map.watchdog_ms + 1)
    assert controller.answer(1, READ_OUTPUTS) == bytes.fromhex("03 04 0000 0000")


async def test_an_exchange_begins_when_something_is_handed_over_and_not_with_the_next_poll():
    """Half a polling time is the least between two: 0.5 s here, a whole one would be 1 s for each."""
    found = the_map("buckwheat_mill")
    slow = found._replace(link=found.link._replace(poll_ms=1_000))
    async with both_ends(slow, SteppedClock()) as ends:
        loop = asyncio.get_running_loop()
        begun_s = loop.time()
        for life in (1, 2, 3):
            assert ends["controller"].hand_over(image(found, "controller"), life)
            assert await ends["controller"].confirm(5)
        assert 1.0 < loop.time() - begun_s < 2.5
