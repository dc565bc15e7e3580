"""The Modbus port: its end, and that a link which is not there is no reason to wait."""

import pytest
from contract.benches import MemoryBench, SimulatedBench
from contract.modbus_benches import ClientBench, ServerBench
from contract.promises import RUNNING, begun, runs

from controller.image import Outputs
from controller.port import IoError, OutputGate, is_safe, safe


@pytest.mark.parametrize("kind", [MemoryBench, ClientBench])
async def test_it_shuts_with_safe_outputs_that_the_other_end_has_confirmed(kind):
    async with kind() as bench:
        await begun(bench)
        await runs(bench, RUNNING)
        before = bench.life
        assert await bench.port.shut(timeout_s=10)
        if kind is ClientBench:
            bench.take_note()
        assert bench.held == Outputs()
        assert bench.life != before
        with pytest.raises(IoError):
            bench.port.read()


async def test_it_shuts_unconfirmed_where_the_scanner_reads_no_more():
    async with ServerBench() as bench:
        await begun(bench)
        await runs(bench, RUNNING)
        assert not await bench.port.shut(timeout_s=0.05)


@pytest.mark.parametrize("linked", [False, True])
async def test_it_shuts_unconfirmed_where_nobody_is(linked):
    async with ClientBench() as bench:
        if linked:
            await begun(bench)
            await bench.mute()
        assert not await bench.port.shut(timeout_s=0.05)


async def test_what_it_hands_over_is_for_the_link_that_the_last_read_was_of():
    """A link that is new and has brought no image yet gets nothing: its loss is not known to the sequence."""
    async with ClientBench() as bench:
        await begun(bench)
        sessions: list[int | None] = []
        bench.wire.hand_over = lambda values, life, session=None: sessions.append(session)
        bench.port.read()
        read_of = bench.wire.newest.session
        bench.wire._begin_session()
        bench.port.write(RUNNING)
        assert sessions == [read_of]
        assert bench.wire.session != read_of


async def test_it_tells_how_the_link_stands():
    async with ClientBench() as bench:
        assert bench.port.health.state == "bad"
        assert "not asked yet" in bench.port.health.said
        await begun(bench)
        assert bench.port.health.state == "good"


def test_the_gate_lets_lamps_and_horn_through_and_opens_by_a_safe_image_alone():
    gate, telling = OutputGate(), Outputs(fault_lamp=True, horn=True)
    assert gate.passed(RUNNING) == safe(RUNNING) == Outputs(run_lamp=True)
    assert not gate.open
    assert gate.passed(telling) == telling
    assert gate.passed(RUNNING) == RUNNING
    gate.shut()
    assert is_safe(gate.passed(RUNNING))


@pytest.mark.parametrize("name", Outputs._fields)
def test_an_image_is_safe_if_nothing_moves_or_feeds(name):
    only_tells = name in ("run_lamp", "fault_lamp", "horn")
    assert is_safe(Outputs()._replace(**{name: True})) == only_tells


async def test_before_the_first_image_nothing_goes_out():
    for kind in (MemoryBench, SimulatedBench):
        bench = kind()
        await bench.link()
        bench.port.write(RUNNING)
        await bench.exchange()
        assert is_safe(bench.held)
