"""A client of the shape of pyModbusTCP's over an exchange in this process: no socket, no time passes by itself."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from foreign import io_list as io

CONTACTS = ("start_pb", "reset_pb", "acknowledge_pb", "stop_healthy", "safety_chain_healthy", "level_free",
            "flap_closed_fb", "flap_open_fb")  # fmt: skip
COMMANDS = ("source_cmd", "flap_open_cmd", "vent_close_cmd", "pulse_1_cmd", "purge_cmd", "feed_cmd", "run_lamp",
            "fault_lamp", "horn")  # fmt: skip


@dataclass
class FakeClient:
    """Answers as the device would, while `link` is on."""

    link: bool = True
    inputs: Mapping[str, int] = field(default_factory=dict)
    life: int = 0
    outputs: dict[str, int] = field(default_factory=dict)
    controller_life: int = 0

    def read_discrete_inputs(self, address: int, count: int, /) -> list[bool] | None:
        if not self.link or not self.inputs:
            return None
        return [bool(self.inputs[name]) for name in CONTACTS[address : address + count]]

    def read_input_registers(self, address: int, count: int, /) -> list[int] | None:
        if not self.link or not self.inputs:
            return None
        known = [
            io.RIGHT_IDENTITY,
            self.life % 65_536,
            self.inputs["vacuum_ua"],
            self.inputs["supply_air_ua"],
        ]
        return known[address : address + count]

    def write_multiple_registers(self, address: int, values: list[int], /) -> bool:
        assert address == io.COMMANDS
        if self.link:
            word, self.controller_life = values
            self.outputs = {name: word >> bit & 1 for bit, name in enumerate(COMMANDS)}
        return self.link
