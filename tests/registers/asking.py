"""A register map over a simulated rig, asked without sockets."""

import asyncio
import struct

from live.rigs import PRESETS, Driven

from controller.live.plant_registers import PlantRegisters
from controller.registers.numbers import COMMANDS
from controller.registers.table import BY_NAME
from controller.reporting.services import Registers

CLIENT = "192.168.10.5"
READ_OF = {"discrete_input": 2, "holding_register": 3, "input_register": 4}
MAY = PRESETS._replace(remote_start_allowed=True)


class Asked:
    """A rig that was run for a second, and its map; `read` and `command` are a client."""

    def __init__(self, *, commands="allowed", presets=PRESETS):
        self.driven = Driven(presets=presets)
        self.plant = PlantRegisters(self.driven.rig)
        self.map = self.plant.map(Registers(commands=commands))
        self.driven.run(1_000)

    def ask(self, pdu, client=CLIENT):
        return self.map.answer(pdu, client, f"{client}:40001")

    def read(self, name, client=CLIENT):
        row = BY_NAME[name]
        reply = self.ask(struct.pack(">BHH", READ_OF[row.table], row.address, row.size), client)
        assert reply[0] == READ_OF[row.table], reply.hex()
        return int.from_bytes(reply[2:])

    def run(self, for_ms):
        """Scans, with what the rig tells the map."""
        told = len(self.driven.cycles)
        self.driven.run(for_ms)
        for record in self.driven.cycles[told:]:
            self.plant.cycle(record)

    def write(self, number, command, client=CLIENT):
        """Function 16 on both registers, and the scan after it; the reply."""
        return asyncio.run(self.writing(number, command, client))

    async def writing(self, number, command, client=CLIENT):
        reply = self.ask(struct.pack(">BHHBHH", 16, 0, 2, 4, number, COMMANDS.get(command, command)), client)
        for _ in range(3):
            await asyncio.sleep(0)
        self.driven.scan()
        for _ in range(3):
            await asyncio.sleep(0)
        return reply

    def answer(self, client=CLIENT):
        """The answer registers: number, answer, and reasons."""
        reasons = [self.read(f"reason_{k}", client) for k in (1, 2, 3)]
        return self.read("asked_number", client), self.read("answer", client), [r for r in reasons if r]
