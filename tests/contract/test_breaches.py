"""The suite can fail: a backend that breaks one promise fails in that one, and in no other."""

import pytest
from _pytest.outcomes import Failed
from contract.breaches import BREACHES, Passing, over
from contract.modbus_benches import ClientBench, ServerBench
from contract.promises import PROMISES, a_link_that_was_lost_stays_lost

from controller.modbus.exchange import End
from controller.modbus.server_wire import ServerWire


async def broken(bench, promise):
    """Whether the promise is found broken."""
    try:
        await promise(bench)
    except (AssertionError, Failed):
        return True
    return False


@pytest.mark.parametrize("name", BREACHES)
async def test_a_breach_is_found_by_the_promise_that_it_breaks_and_by_no_other(name):
    make, broken_one = BREACHES[name]
    found = [promise.__name__ for promise in PROMISES if await broken(make(), promise)]
    assert found == [broken_one.__name__]


async def test_nothing_is_found_in_a_backend_that_keeps_them_all():
    assert not [promise for promise in PROMISES if await broken(over(Passing)(), promise)]


def test_every_promise_has_its_breach():
    assert {promise for _, promise in BREACHES.values()} == {*PROMISES}


@pytest.mark.parametrize(("kind", "wire"), [(ClientBench, End), (ServerBench, ServerWire)])
async def test_a_wire_that_remembers_over_a_loss_is_found_over_loopback(monkeypatch, kind, wire):
    monkeypatch.setattr(wire, "_forget", lambda self: None)
    async with kind() as bench:
        assert await broken(bench, a_link_that_was_lost_stays_lost)
