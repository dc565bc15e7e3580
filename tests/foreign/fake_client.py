"""A client of the shape of pyModbusTCP's over the simulated plant in this process: no socket, no time passes by itself."""

from foreign import io_list as io

from controller.image import Inputs, Outputs
from io_sim.parameters import PlantParameters
from io_sim.plant import Plant

CONTACTS = ("start_pb", "reset_pb", "acknowledge_pb", "stop_healthy", "safety_chain_healthy", "level_free",
            "flap_closed_fb", "flap_open_fb")  # fmt: skip
COILS = ("source_cmd", "flap_open_cmd", "vent_close_cmd", "pulse_1_cmd", "purge_cmd", "feed_cmd", "run_lamp",
         "fault_lamp", "horn")  # fmt: skip


class FakeClient:
    """Answers like the device would; `link` off: nothing is answered, `counts` off: its life counter stands still."""

    def __init__(self, parameters: PlantParameters) -> None:
        self.plant = Plant(parameters)
        self.people, self.inputs, self.outputs = Inputs(), Inputs(), Outputs()
        self.link, self.counts, self.life, self.controller_life = True, True, 0, 0

    def passes(self, ms: int) -> None:
        """Time for the plant."""
        self.inputs = self.plant.advance(self.outputs, ms, self.people)
        self.life += self.counts

    def read_discrete_inputs(self, address: int, count: int, /) -> list[bool] | None:
        return (
            [bool(getattr(self.inputs, name)) for name in CONTACTS[address : address + count]]
            if self.link
            else None
        )

    def read_input_registers(self, address: int, count: int, /) -> list[int] | None:
        registers = [self.inputs.vacuum_ua, self.inputs.supply_air_ua, self.life % 65_536]
        return registers[address : address + count] if self.link else None

    def write_multiple_coils(self, address: int, values: list[bool], /) -> bool:
        if self.link:
            self.outputs = self.outputs._replace(**dict(zip(COILS[address:], values, strict=False)))
        return self.link

    def write_single_register(self, address: int, value: int, /) -> bool:
        assert address == io.OUR_LIFE
        if self.link:
            self.controller_life = value
        return self.link
