"""A map of the whole process image for tests, in each Modbus role, and images to tell apart."""

from controller.image import FIELD_INPUTS, Inputs, Outputs
from controller.modbus.places import Link, Place, Role, Table
from controller.modbus.point_map import PointMap

ANALOGS = tuple(name for name in FIELD_INPUTS if name.endswith("_ua"))
CONTACTS = (
    "start_pb", "reset_pb", "acknowledge_pb", "stop_healthy", "safety_chain_healthy", "plant_enable",
    *(name for name in FIELD_INPUTS if name not in ANALOGS),
)  # fmt: skip
WATCHDOG_MS = 120
LIFE, IDENTITY, CONTACTS_AT, ANALOGS_AT, OUTPUTS_AT = 40, 50, 100, 41, 200


def place(name: str, table: Table, address: int) -> Place:
    form = "bool" if table in ("coil", "discrete_input") else "uint16"
    return Place(name, table, address, form, None, 1.0, 0.0, invert=False, word_order="ABCD")


def small_map(role: Role, port: int, **link: object) -> PointMap:
    """
    What the server alone changes stands in discrete inputs and input registers, the rest in coils and holding registers.

    The life counter stands beside the currents or alone in its table, so one exchange has three requests or four.
    """
    bits_in, words_in = (
        ("discrete_input", "input_register") if role == "client" else ("coil", "holding_register")
    )
    bits_out, words_out = (
        ("coil", "holding_register") if role == "client" else ("discrete_input", "input_register")
    )
    return PointMap(
        file="modbus.yaml",
        link=Link(**{
            "role": role, "host": "127.0.0.1", "port": port, "unit": 1, "timeout_ms": 50, "retries": 0, "poll_ms": 5,
            "connections_max": 4, "idle_s": 30, "allow": (), **link,
        }),
        watchdog_ms=WATCHDOG_MS,
        inputs=(
            *(place(name, bits_in, CONTACTS_AT + n) for n, name in enumerate(CONTACTS)),
            *(place(name, words_in, ANALOGS_AT + n) for n, name in enumerate(ANALOGS)),
        ),
        outputs=tuple(place(name, bits_out, OUTPUTS_AT + n) for n, name in enumerate(Outputs._fields)),
        controller_life=place("life", words_out, LIFE),
        device_life=place("life", words_in, LIFE),
        identity=None,
    )  # fmt: skip


def inputs(contacts: bool, current_ua: int) -> dict[str, int]:
    return {name: int(contacts) for name in CONTACTS} | dict.fromkeys(ANALOGS, current_ua)


def outputs(on: bool) -> dict[str, int]:
    return {name: int(on) for name in Outputs._fields}


assert set(ANALOGS + CONTACTS) <= set(Inputs._fields)
