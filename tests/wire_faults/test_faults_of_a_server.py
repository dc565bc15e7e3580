"""
What a faulty server can do to the end that asks: the link is bad within the watchdog time, and nothing wrong is used.

Every fault strikes the end of the controller (client of an I/O module) and the end of the device (client of a
controller that is polled), once in what is read and once in what is written. The rows are those of `faults`.
"""

import asyncio
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from typing import NamedTuple

import pytest
from wire_faults import faults
from wire_faults.fault_server import READS, WRITES, Exchange, FaultServer, Reset, Sent, right
from wire_faults.small_map import (
    ANALOGS_AT,
    CONTACTS_AT,
    LIFE,
    OUTPUTS_AT,
    WATCHDOG_MS,
    inputs,
    outputs,
    small_map,
)

from controller.clock import WallClock
from controller.modbus.client import StrictFramer
from controller.modbus.wire import Side, Wire, make_wire

pytestmark = pytest.mark.filterwarnings("default")


class End(NamedTuple):
    """The end that asks, in words of the tables of the server that it asks."""

    side: Side
    tables_read: tuple[str, str]
    before: Mapping[str, int]  # the image while all is well
    after: Mapping[str, int]  # the one that the faulty replies carry: differs in every value
    given: Mapping[str, int]


ENDS = {
    "controller": End(
        "controller", ("discrete_input", "input_register"),
        inputs(True, 12_000), inputs(False, 4_321), outputs(True),
    ),
    "device": End(
        "device", ("discrete_input", "input_register"), outputs(False), outputs(True), inputs(True, 8_000)
    ),
}  # fmt: skip
either_end = pytest.mark.parametrize("end", ENDS.values(), ids=ENDS)


def show(server: FaultServer, end: End, image: Mapping[str, int]) -> None:
    """Put an image where this end reads it."""
    bits, words = (server.tables[table] for table in end.tables_read)
    contacts = [value for name, value in image.items() if not name.endswith("_ua")]
    currents = [value for name, value in image.items() if name.endswith("_ua")]
    at = CONTACTS_AT if end.side == "controller" else OUTPUTS_AT
    bits[at : at + len(contacts)] = contacts
    words[ANALOGS_AT : ANALOGS_AT + len(currents)] = currents


class Bench:
    """The end that asks, against the fault server, with somebody who hands over an image every other millisecond."""

    def __init__(self, wire: Wire, server: FaultServer, end: End, clock: WallClock) -> None:
        self.wire, self.server, self.end, self.clock = wire, server, end, clock
        self.life = 0
        self.seen: list[Mapping[str, int]] = []

    async def until(self, condition: Callable[[], bool], *, hand_over: bool = True) -> None:
        """One scan every other millisecond: take the newest image, hand over the next."""
        try:
            async with asyncio.timeout(10):
                while not condition():
                    if hand_over:
                        self.life = (self.life + 1) & 0xFFFF
                        self.wire.hand_over(self.end.given, self.life)
                    self.look()
                    await asyncio.sleep(0.002)
        except TimeoutError:
            pytest.fail(f"not within 10 s; {self.wire.health}, newest {self.wire.newest}")
        self.look()

    def look(self) -> None:
        """What health says of the age of the newest image is true."""
        earliest_ms, newest = self.clock.now_ms(), self.wire.newest
        state, latest_ms = self.wire.health.state, self.clock.now_ms()
        if newest is None:
            assert state == "bad"
            return
        assert state == "bad" or latest_ms - newest.at_ms <= WATCHDOG_MS + latest_ms - earliest_ms
        if not self.seen or self.seen[-1] is not newest.values:
            self.seen.append(newest.values)

    def good(self) -> bool:
        return self.wire.health.state == "good"


@asynccontextmanager
async def asking(end: End, **link: object) -> AsyncIterator[Bench]:
    role = "client" if end.side == "controller" else "server"
    clock = WallClock()
    async with FaultServer() as server:
        counter = server.tables[end.tables_read[1]]

        def count() -> None:
            counter[LIFE] = (counter[LIFE] + 1) & 0xFFFF

        server.before = count
        show(server, end, end.before)
        wire = make_wire(small_map(role, server.port, **link), end.side, clock)
        bench = Bench(wire, server, end, clock)
        await wire.start()
        try:
            await bench.until(lambda: bench.good() and bool(writes(server)))
            yield bench
        finally:
            await wire.close()


def writes(server: FaultServer) -> list[bytes]:
    return [request for request in server.requests if request[7] in WRITES]


def strikes(functions: tuple[int, ...]) -> Callable[[bytes], bool]:
    return lambda request: request[7] in functions


async def ends_in_a_fault(bench: Bench, fault: faults.Fault, functions: tuple[int, ...]) -> None:
    """
    The link is bad, or there is a new one: either is IO_LOST to the logic, and neither carries a wrong value.

    A new link is read before anything is written to it: what is written was decided on what was read.
    """
    end, server, session = bench.end, bench.server, bench.wire.session
    assert bench.wire.newest
    assert bench.wire.newest.values == end.before
    bench.seen.clear()
    server.held.clear()
    server.fault, server.strikes = fault, strikes(functions)
    show(server, end, end.after)
    struck_ms = bench.clock.now_ms()

    def lost() -> bool:
        newest = bench.wire.newest
        assert newest.session != session or newest.at_ms <= struck_ms
        return bench.wire.health.state == "bad" or newest.session != session

    await bench.until(lost)
    if functions != WRITES:
        assert bench.wire.health.state == "bad"
        assert bench.wire.newest.at_ms <= struck_ms
        assert [image for image in bench.seen if image != end.before] == []
        assert bench.wire.health.said
        assert bench.wire.health.misses


async def heals(bench: Bench) -> None:
    """The peer is right again: the image it shows now comes, and nothing of before."""
    bench.seen.clear()
    bench.server.fault = right
    await bench.until(lambda: bench.good() and bench.wire.newest.values == bench.end.after)
    assert [image for image in bench.seen if image not in (bench.end.before, bench.end.after)] == []


@either_end
@pytest.mark.parametrize("name", faults.ANY)
async def test_what_is_read_wrongly_is_never_used(end, name):
    async with asking(end) as it:
        await ends_in_a_fault(it, faults.ANY[name], READS)
        await heals(it)


@either_end
@pytest.mark.parametrize("functions", [(1, 2), (3, 4)], ids=["bits", "registers"])
@pytest.mark.parametrize("name", faults.READING)
async def test_data_that_is_not_as_long_as_was_asked_for_is_never_used(end, name, functions):
    async with asking(end) as it:
        await ends_in_a_fault(it, faults.READING[name], functions)
        await heals(it)


@either_end
@pytest.mark.parametrize("name", faults.ANY | faults.WRITING)
async def test_a_write_that_is_not_acknowledged_rightly_is_a_fault(end, name):
    async with asking(end) as it:
        await ends_in_a_fault(it, (faults.ANY | faults.WRITING)[name], WRITES)
        await heals(it)


@either_end
@pytest.mark.parametrize("name", faults.HARMLESS)
async def test_what_the_network_may_do_to_a_right_reply_is_no_fault(end, name):
    async with asking(end, timeout_ms=5_000) as it:
        session, exchanges = it.wire.session, it.wire.health.exchanges
        it.server.fault = faults.HARMLESS[name]
        show(it.server, end, end.after)
        await it.until(lambda: it.wire.newest.values == end.after)
        await it.until(lambda: it.wire.health.exchanges > exchanges + 5)
        assert it.wire.health.misses == 0
        assert it.wire.session == session


@either_end
@pytest.mark.parametrize("fault", [faults.late_before_right, faults.late_after_right])
async def test_a_reply_out_of_order_is_never_taken_for_a_newer_one(end, fault):
    """Every value tells in which request it was asked for: no image mixes two, none is older than the one before."""
    async with asking(end) as it:
        words = it.server.tables[end.tables_read[1]]
        it.server.fault, it.server.strikes = fault, strikes(READS)
        lives: list[int] = []

        def newer() -> bool:
            if (newest := it.wire.newest) and (not lives or lives[-1] != newest.life):
                lives.append(newest.life)
                assert words[LIFE] - newest.life <= 8  # requests of one exchange and of its repetition
            return len(it.server.requests) > 30

        await it.until(newer)
        assert lives == sorted(lives)


@either_end
async def test_a_refused_connection_is_said_at_the_start(end):
    async with FaultServer() as server:
        port = server.port
    role = "client" if end.side == "controller" else "server"
    wire = make_wire(small_map(role, port), end.side, WallClock())
    await wire.start()
    try:
        with pytest.raises(Exception, match=f"127.0.0.1.*{port}.*refused"):
            await wire.ready(0.3)
    finally:
        await wire.close()


@either_end
@pytest.mark.parametrize(("fault", "said"), [
    (faults.silent, r"does not answer.* within 50 ms"),
    (faults.exception(2), r"02|address"),
    (faults.exception(0x0B), r"0B|gateway"),
    (faults.wrong_unit, r"unit 1"),
])  # fmt: skip
async def test_a_peer_that_never_answers_rightly_is_said_at_the_start(end, fault, said):
    role = "client" if end.side == "controller" else "server"
    async with FaultServer() as server:
        server.fault = fault
        wire = make_wire(small_map(role, server.port), end.side, WallClock())
        await wire.start()
        try:
            with pytest.raises(Exception, match=f"(?i){said}"):
                await wire.ready(0.5)
        finally:
            await wire.close()
        assert wire.newest is None


@either_end
async def test_requests_are_not_repeated_faster_than_the_limit_of_the_file(end):
    """A silent peer gets each request once with retries 0, twice with retries 1, before the next exchange."""
    for retries in (0, 1):
        async with asking(end, retries=retries, timeout_ms=20) as it:
            asked = len(it.server.requests)
            it.server.fault = faults.silent
            await it.until(lambda: it.wire.health.misses >= 3)
            assert len(it.server.requests) - asked <= (it.wire.health.misses + 1) * (1 + retries) + 4


@either_end
async def test_a_device_that_is_restarted_is_a_new_session(end):
    async with asking(end) as it:
        session = it.wire.session
        await it.server.gone()
        await it.until(lambda: it.wire.session == 0)
        await it.until(lambda: it.wire.health.state == "bad")
        refused = len(it.server.requests)
        show(it.server, end, end.after)
        await it.server.listen()
        await it.until(lambda: it.good() and it.wire.newest.values == end.after)
        assert it.wire.session > session
        assert it.wire.newest.session == it.wire.session
        assert len(it.server.requests) > refused


async def test_nothing_that_was_decided_before_a_lost_link_is_sent_after_it():
    """The controller hands over nothing new: the device, back again, is asked but never told."""
    async with asking(ENDS["controller"]) as it:
        await it.server.gone(Reset())
        await it.until(lambda: it.wire.session == 0, hand_over=False)
        it.server.requests.clear()
        await it.server.listen()
        await it.until(lambda: len(it.server.requests) >= 20, hand_over=False)
        assert [request.hex() for request in writes(it.server)] == []


async def test_a_wire_that_is_closed_as_a_reply_comes_is_closed(monkeypatch):
    """`asyncio.wait_for` of Python 3.11 returns a result that has come rather than be cancelled."""
    framing = StrictFramer.handleFrame
    closing: list[asyncio.Future[None]] = []

    async with FaultServer() as server:
        wire = make_wire(small_map("client", server.port, timeout_ms=5_000), "controller", WallClock())

        def close_at_a_reply(self, data, unit, transaction):
            found = framing(self, data, unit, transaction)
            if found[1] and not closing:
                closing.append(asyncio.ensure_future(wire.close()))
            return found

        monkeypatch.setattr(StrictFramer, "handleFrame", close_at_a_reply)
        await wire.start()
        await wire.ready(10)
        done, _ = await asyncio.wait(closing, timeout=5)
        asked = len(server.requests)
        assert done
        await asyncio.sleep(0.02)  # four polls
        assert len(server.requests) == asked


async def test_a_decision_of_another_session_is_dropped():
    async with asking(ENDS["controller"]) as it:
        assert it.wire.hand_over(outputs(True), 1, it.wire.session)
        assert not it.wire.hand_over(outputs(True), 2, it.wire.session + 1)


def test_each_fault_changes_what_is_sent():
    """A row that sends the right reply would test nothing."""
    reply = bytes.fromhex("0007 0000 0009 01 03 06 1111 2222 3333")
    written = bytes.fromhex("0007 0000 0006 01 10 0001 0002")
    for name, fault in (faults.ANY | faults.READING).items():
        assert sent(fault, reply) != [reply], name
    for name, fault in (faults.ANY | faults.WRITING).items():
        assert sent(fault, written) != [written], name
    for name, fault in faults.HARMLESS.items():
        joined = b"".join(part for part in sent(fault, reply) if isinstance(part, bytes))
        assert joined.replace(reply, b"") == b"", name


def sent(fault: faults.Fault, reply: bytes) -> list[Sent]:
    return list(fault(Exchange(reply[:7] + reply[7:8] + b"\0\1\0\3", reply, [])))
