"""The map over a real socket, read and written by a client of another make (pyModbusTCP)."""

import asyncio
from contextlib import asynccontextmanager

import pytest
from pyModbusTCP.client import ModbusClient
from pyModbusTCP.utils import word_list_to_long
from registers.asking import MAY, Asked

from controller.modbus.health import LinkError
from controller.registers.numbers import ANSWERS, COMMANDS, STEPS
from controller.registers.served import AT_ONCE_MAX
from controller.registers.table import BY_NAME
from controller.reporting.services import Registers
from controller.sequence.steps import Step

HERE = "127.0.0.1"


@asynccontextmanager
async def served(asked, **settings):
    """The map of a rig on a free port, and a client of it; each call of the client runs in a thread."""
    asked.map = asked.plant.map(Registers(serve=True, **settings).model_copy(update={"port": 0}))
    await asked.map.start()
    client = ModbusClient(host=HERE, port=asked.map.server.port, unit_id=1, auto_open=True, timeout=5)
    try:
        yield client
    finally:
        client.close()
        await asked.map.close()


async def words(client, name):
    row = BY_NAME[name]
    found = await asyncio.to_thread(client.read_input_registers, row.address, row.size)
    return word_list_to_long(found)[0] if row.size == 2 else found[0]


def test_a_client_of_another_make_reads_starts_and_stops_the_receiver():
    async def run():
        async with served(asked, commands="allowed") as client:
            assert await words(client, "life") == 100
            assert await words(client, "step") == STEPS["REST"]
            assert (await asyncio.to_thread(client.read_discrete_inputs, 0, 15))[4]
            for number, command in ((1, "acknowledge"), (2, "start")):
                assert await asyncio.to_thread(
                    client.write_multiple_registers, 0, [number, COMMANDS[command]]
                )
                assert await words(client, "answer") == ANSWERS["waiting"]
                asked.driven.scan()
                await asyncio.sleep(0)
                assert await words(client, "answer") == ANSWERS["accepted"]
            assert asked.driven.rig.memory.step == Step.WARNING
            assert await asyncio.to_thread(client.read_holding_registers, 0, 2) == [2, COMMANDS["start"]]
            asked.run(500)
            assert await words(client, "step_ms") == asked.driven.rig.memory.step_ms
            assert await asyncio.to_thread(client.write_multiple_registers, 0, [3, COMMANDS["halt"]])
            asked.driven.scan()
            assert await words(client, "step") == STEPS["REST"]
            assert not await asyncio.to_thread(client.write_single_register, 1, COMMANDS["start"])
            assert client.last_except == 3
        said = [what for what, _ in asked.driven.told("COMMAND_ACCEPTED")]
        assert [line.split(" (")[0] for line in said] == [
            f"{word} from remote" for word in ("acknowledge", "start", "halt")
        ]
        assert all("(modbus 127.0.0.1:" in line for line in said)

    asked = Asked(presets=MAY)
    asyncio.run(asked.driven.panel.request("remote"))
    asyncio.run(run())


def test_without_commands_a_client_can_only_read():
    async def run():
        async with served(asked) as client:
            assert not await asyncio.to_thread(client.write_multiple_registers, 0, [1, COMMANDS["stop"]])
            assert client.last_except == 2
            assert await words(client, "map") == 1

    asked = Asked(commands="refused")
    asyncio.run(run())
    assert not asked.driven.told("COMMAND_ACCEPTED")


def test_a_client_that_asks_faster_than_it_reads_is_hung_up_on():
    """It shares the loop with the scans: what one turn may take is bounded."""

    async def run():
        async with served(asked):
            reader, writer = await asyncio.open_connection(HERE, asked.map.server.port)
            request = bytes.fromhex("0001 0000 0006 01 04 0000 007d")
            writer.write(request * (AT_ONCE_MAX + 1))
            async with asyncio.timeout(5):
                with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
                    await reader.readexactly(10_000)
            writer.close()
            assert f"over {AT_ONCE_MAX} requests at once" in asked.map.server.said

    asked = Asked()
    asyncio.run(run())


def test_a_port_that_is_taken_is_said():
    async def run():
        async with served(asked):
            port = asked.map.server.port
            with pytest.raises(LinkError, match=f"127.0.0.1:{port}"):
                async with asked.plant.served(Registers(serve=True, port=port), print):
                    pass

    asked = Asked()
    asyncio.run(run())
