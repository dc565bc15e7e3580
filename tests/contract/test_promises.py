"""Every promise of the I/O port, for every backend."""

import pytest
from contract.benches import Bench, MemoryBench, SimulatedBench
from contract.modbus_benches import ClientBench, ServerBench
from contract.promises import OF_ALL, PROMISES

BENCHES: dict[str, type[Bench]] = {
    "simulated": SimulatedBench,
    "modbus_in_memory": MemoryBench,
    "modbus_client": ClientBench,
    "modbus_server": ServerBench,
}
CASES = [
    pytest.param(kind, promise, id=f"{name}-{promise.__name__}")
    for name, kind in BENCHES.items()
    for promise in (PROMISES if kind.linked else OF_ALL)
]


@pytest.mark.parametrize(("kind", "promise"), CASES)
async def test_it_keeps_what_the_port_promises(kind, promise):
    async with kind() as bench:
        await promise(bench)
