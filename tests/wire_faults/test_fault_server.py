"""The peer of the fault tests itself: right where it should be, and wrong where it says so."""

import asyncio
import struct

import pytest
from pymodbus.client import AsyncModbusTcpClient
from pyModbusTCP.client import ModbusClient
from wire_faults import faults
from wire_faults.fault_server import FaultServer

# MODBUS Application Protocol Specification V1.1b3: page, table, its values from an address on, request, response
SPECIFIED = [
    (12, "coil", 0x13, "1011001111010110101", "01 00 13 00 13", "01 03 CD 6B 05"),
    (13, "discrete_input", 0xC4, "0011010111011011101011", "02 00 C4 00 16", "02 03 AC DB 35"),
    (15, "holding_register", 0x6B, [555, 0, 100], "03 00 6B 00 03", "03 06 02 2B 00 00 00 64"),
    (16, "input_register", 0x08, [10], "04 00 08 00 01", "04 02 00 0A"),
    (18, "coil", 0xAC, "1", "05 00 AC FF 00", "05 00 AC FF 00"),
    (19, "holding_register", 1, [3], "06 00 01 00 03", "06 00 01 00 03"),
    (29, "coil", 0x13, "1011001110", "0F 00 13 00 0A 02 CD 01", "0F 00 13 00 0A"),
    (30, "holding_register", 1, [10, 258], "10 00 01 00 02 04 00 0A 01 02", "10 00 01 00 02"),
]


@pytest.mark.parametrize(("page", "table", "address", "values", "request_", "response"), SPECIFIED)
def test_it_answers_as_the_specification_s_examples(page, table, address, values, request_, response):
    server, values = FaultServer(), [int(value) for value in values]
    reads = int(request_[:2], 16) <= 4
    if reads:
        server.tables[table][address : address + len(values)] = values
    assert server.pdu(bytes.fromhex(request_)) == bytes.fromhex(response)
    assert server.tables[table][address : address + len(values)] == values
    assert sum(server.tables[table]) == sum(values)


@pytest.mark.parametrize(("request_", "response"), [
    ("03 00 00 00 00", "83 03"), ("03 00 00 00 7E", "83 03"), ("01 00 00 07 D1", "81 03"),
    ("03 FF FF 00 02", "83 02"), ("41 00 00 00 01", "C1 01"), ("05 00 00 12 34", "85 03"),
    ("10 00 01 00 02 04 00 0A 01", "90 03"), ("0F 00 13 00 0A 01 CD 01", "8F 03"),
])  # fmt: skip
def test_it_refuses_what_the_specification_forbids(request_, response):
    server = FaultServer()
    assert server.pdu(bytes.fromhex(request_)) == bytes.fromhex(response)
    assert all(not any(values) for values in server.tables.values())


async def test_a_library_of_another_house_reads_and_writes_it():
    async with FaultServer() as server:
        client = ModbusClient("127.0.0.1", server.port, unit_id=1, timeout=5)
        assert await asyncio.to_thread(client.write_multiple_registers, 7, [1, 65_535])
        assert await asyncio.to_thread(client.read_holding_registers, 6, 4) == [0, 1, 65_535, 0]
        assert await asyncio.to_thread(client.write_multiple_coils, 3, [True, False, True])
        assert await asyncio.to_thread(client.read_coils, 2, 5) == [False, True, False, True, False]
        client.close()


async def stock(server: FaultServer) -> AsyncModbusTcpClient:
    client = AsyncModbusTcpClient("127.0.0.1", port=server.port, timeout=0.1, retries=0)
    assert await client.connect()
    return client


@pytest.mark.parametrize(("name", "taken"), [
    ("wrong function", [7, 8]), ("transaction zero", [7, 8]),
    ("one register too few", [7]), ("one register too many", [7, 8, 0x0101]),
])  # fmt: skip
async def test_the_bare_library_takes_these_for_data(name, taken):
    """Why replies are checked once more behind it: seen with pymodbus 3.16.1."""
    async with FaultServer() as server:
        server.tables["holding_register"][:2] = [7, 8]
        server.fault = (faults.ANY | faults.READING)[name]
        client = await stock(server)
        read = await client.read_holding_registers(0, count=2, device_id=1)
        client.close()
        assert read.registers == taken


@pytest.mark.parametrize("name", ["split at byte 7", "byte by byte", "duplicated"])
async def test_the_bare_library_takes_these_rightly(name):
    async with FaultServer() as server:
        server.tables["holding_register"][:2] = [7, 8]
        server.fault = faults.HARMLESS[name]
        client = await stock(server)
        for _ in range(3):
            assert (await client.read_holding_registers(0, count=2, device_id=1)).registers == [7, 8]
        client.close()


async def chunks_of(fault: faults.Fault, times: int, *, more: bool = False) -> list[str]:
    """What comes back for requests with transactions 1, 2, ... until the peer ends; each chunk as it was read."""
    async with FaultServer() as server, asyncio.timeout(10):
        server.fault = fault
        reader, writer = await asyncio.open_connection("127.0.0.1", server.port)
        for transaction in range(1, times + 1):
            writer.write(struct.pack(">HHHBBHH", transaction, 0, 6, 1, 3, 0, 1))
        if not more:
            writer.write_eof()
        came = []
        try:
            while chunk := await reader.read(999):
                came.append(chunk.hex().upper())
        except ConnectionResetError:
            came.append("RST")
        finally:
            writer.close()
        return came


@pytest.mark.parametrize(("fault", "came"), [
    (faults.split_at(2), ["0001", "000000050103020000", "0002", "000000050103020000"]),
    (faults.late, ["0001000000050103020000"]),
    (faults.late_before_right, ["00010000000501030200000002000000050103020000"]),
    (faults.late_after_right, ["0002000000050103020000", "0001000000050103020000"]),
    (faults.exception(0x0A), ["00010000000301830A", "00020000000301830A"]),
    (faults.too_many, ["00010000000701030400000101", "00020000000701030400000101"]),
    (faults.byte_count_plus(1), ["0001000000050103030000", "0002000000050103030000"]),
])  # fmt: skip
async def test_a_fault_is_what_it_is_called(fault, came):
    assert await chunks_of(fault, 2) == came


async def test_a_reset_a_hangup_and_silence_are_three_things():
    assert await chunks_of(faults.reset, 1, more=True) == ["RST"]
    assert await chunks_of(faults.hangup, 1, more=True) == []
    with pytest.raises(TimeoutError):
        async with asyncio.timeout(0.2):
            await chunks_of(faults.silent, 1, more=True)
