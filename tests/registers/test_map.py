"""The map of a running receiver: what stands in it, and who may do what through it."""

import asyncio
import random
import struct

import pytest
from live.rigs import PRESETS, Driven
from registers.asking import CLIENT, MAY, READ_OF, Asked

from controller.live.plant_registers import PlantRegisters
from controller.registers.now import software_numbers
from controller.registers.numbers import ANSWERS, COMMANDS, INTERLOCKS, REASONS, RESULTS, STEPS
from controller.registers.table import BY_NAME, READ, ROWS
from controller.registers.table import INTERLOCKS as OF_INTERLOCKS
from controller.reporting.services import Registers
from controller.sequence.steps import FAULT, REST, SETTLE, Step

ACCEPTED, REFUSED = ANSWERS["accepted"], ANSWERS["refused"]
NAMES = {number: name for name, number in REASONS.items()}


def reasons(asked, client=CLIENT):
    return [NAMES[number] for number in asked.answer(client)[2]]


# ---- what is read ----------------------------------------------------------------------------------------
def test_the_map_goes_with_the_sequence_scan_by_scan():
    asked, seen = Asked(), set()
    asked.driven.press("start_pb")
    for _ in range(6_000):
        asked.run(10)
        memory = asked.driven.rig.memory
        assert asked.read("step") == STEPS[Step(memory.step).name]
        assert asked.read("step_ms") == memory.step_ms
        assert asked.read("run") == memory.run
        assert asked.read("on_board") == memory.on_board
        seen.add(memory.step)
        if asked.read("cycles") == 2:
            break
    assert len(seen) > 8
    last = asked.driven.cycles[-1]
    assert asked.read("last_ms") == last.ms
    assert asked.read("last_convey_ms") == last.step_ms("CONVEY") > 0
    assert sum(asked.read(f"last_{step.lower()}_ms") for step in STEPS) == last.ms
    assert asked.read("last_result") == RESULTS["complete"]
    assert asked.read("delivered") == round(10 * sum(c.delivered_kg for c in asked.driven.cycles)) > 0
    assert asked.read("last_delivered") == round(last.delivered_kg * 1000)
    assert asked.read("delivered_known") == 1
    assert asked.read("flap_strokes") == asked.driven.rig.watch.counts["flap_strokes"] > 0


def test_a_trip_shows_its_first_out_and_its_alarm_until_somebody_has_seen_it():
    asked = Asked()
    asked.driven.press("start_pb")
    asked.driven.run_until(Step.CONVEY)
    asked.driven.machine.press("safety_chain_healthy", 0)
    asked.run(100)
    assert asked.read("step") == STEPS["FAULT"]
    assert asked.read("fault") == 1
    assert asked.read("first_out") == INTERLOCKS["SAFETY_CHAIN_OPEN"] == 1
    bits = ("acts", "alarm", "unseen")
    assert [asked.read(f"{bit}_SAFETY_CHAIN_OPEN") for bit in bits] == [1, 1, 1]
    others = [row.name for row in OF_INTERLOCKS if not row.name.endswith("_SAFETY_CHAIN_OPEN")]
    acting = {f"acts_{name}" for name in asked.driven.rig.watch.acting}
    assert {name for name in others if name.startswith("acts") and asked.read(name)} == acting - {
        "acts_SAFETY_CHAIN_OPEN"
    }
    assert asked.write(1, "acknowledge")[0] == 16
    assert [asked.read(f"{bit}_SAFETY_CHAIN_OPEN") for bit in bits] == [1, 1, 0]
    assert (asked.read("trips"), asked.read("last_result")) == (1, RESULTS["trip"])
    assert asked.read("last_trip") == INTERLOCKS["SAFETY_CHAIN_OPEN"]


def test_forced_failed_and_simulated_are_seen():
    asked = Asked()
    marks = ("simulated", "forced", "failure", "manual")
    assert [asked.read(mark) for mark in marks] == [1, 0, 0, 0]
    asked.driven.panel.force({"level_free": 0}, "Ada")
    asked.driven.panel.fail("line_blocked", 1.0, None)
    asked.run(10)
    assert [asked.read(mark) for mark in marks] == [1, 1, 1, 0]


def test_on_other_than_the_simulated_plant_what_is_delivered_is_not_known():
    from controller.live.live_io import LiveIo
    from io_sim.backend import SimulatedIo

    port = Driven().machine
    assert isinstance(port, SimulatedIo)
    driven = Driven(port=port)
    assert isinstance(driven.rig.io, LiveIo)
    plant = PlantRegisters(driven.rig)
    driven.run(100)
    served = plant.map(Registers())

    def read(name):
        row = BY_NAME[name]
        reply = served.answer(struct.pack(">BHH", READ_OF[row.table], row.address, row.size), "a", "a:1")
        return int.from_bytes(reply[2:])

    assert read("simulated") == 0
    assert read("delivered") == 0xFFFF_FFFF
    assert read("delivered_known") == 0
    assert read("last_delivered") == 0  # there is no last cycle yet


def test_the_life_counter_counts_scans_and_goes_on_from_zero():
    asked = Asked()
    before = asked.read("life")
    asked.run(50)
    assert asked.read("life") == before + 5
    asked.driven.rig.scans = 65_535
    asked.run(10)
    assert asked.read("life") == 0


def test_a_number_that_a_register_cannot_hold_is_the_nearest_that_it_can():
    asked = Asked()
    asked.driven.rig.inputs = asked.driven.rig.inputs._replace(image_age_ms=1_000_000)
    assert asked.read("image_age_ms") == 65_535


def test_all_of_it_is_read_in_the_largest_requests_and_nothing_beside_it():
    """Application protocol V1.1b3, 6.4 and 6.2: 125 registers, 2,000 bits in one request."""
    asked = Asked()
    assert asked.ask(bytes((4, 0, 0, 0, 125)))[:2] == bytes((4, 250))
    assert asked.ask(bytes((4, 0, 125, 0, 75)))[:2] == bytes((4, 150))
    assert asked.ask(struct.pack(">BHH", 2, 0, READ["discrete_input"]))[0] == 2
    for function, start, count in ((4, 199, 2), (2, 699, 2), (3, 0, 3), (1, 0, 1), (4, 65_535, 1)):
        assert asked.ask(struct.pack(">BHH", function, start, count)) == bytes((function | 0x80, 2))


def test_one_request_for_all_says_the_same_as_one_for_each_row():
    asked = Asked()
    asked.driven.press("start_pb")
    asked.driven.run_until(Step.DRAW)
    words = b"".join(
        asked.ask(struct.pack(">BHH", 4, start, count))[2:] for start, count in ((0, 125), (125, 75))
    )
    for row in ROWS:
        if row.table == "input_register":
            assert int.from_bytes(words[2 * row.address : 2 * (row.address + row.size)]) == asked.read(
                row.name
            )


@pytest.mark.parametrize(
    ("version", "wanted"), [("0.1.0", (0, 1, 0)), ("1.20.3.dev4", (1, 20, 3)), ("2.1rc1", (2, 1, 0))]
)
def test_the_version_is_three_numbers(version, wanted):
    assert software_numbers(version) == wanted


# ---- what is asked for -----------------------------------------------------------------------------------
def test_without_the_right_start_is_refused_with_its_number_and_stop_is_heard():
    asked = Asked()
    asked.write(1, "acknowledge")
    assert asked.answer() == (1, ACCEPTED, [])
    asked.write(2, "start")
    assert asked.answer()[:2] == (2, REFUSED)
    assert reasons(asked) == ["start_out_of_place"]
    for number, command in ((3, "stop"), (4, "halt"), (5, "acknowledge")):
        asked.write(number, command)
        assert asked.answer() == (number, ACCEPTED, [])


@pytest.mark.parametrize("command", ["start", "clean", "empty"])
@pytest.mark.parametrize("allowed", [False, True])
@pytest.mark.parametrize("control", ["local", "remote"])
def test_start_clean_and_empty_want_both_the_right_and_control_taken_at_the_machine(
    command, allowed, control
):
    asked = Asked(presets=MAY if allowed else PRESETS)
    asyncio.run(asked.driven.panel.request(control))
    asked.write(1, "stop")
    may = allowed and control == "remote"
    asked.run(6_000 if may else 10)  # until the level probe is believed
    memory = asked.driven.rig.memory
    asked.driven.rig.memory = memory._replace(on_board=0)  # a clean wants to know the receiver empty
    asked.write(2, command)
    assert asked.answer()[1] == (ACCEPTED if may else REFUSED)
    assert (asked.driven.rig.memory.step == Step.WARNING) == may
    out_of_place = {"start_out_of_place", "request_out_of_place"} & set(reasons(asked))
    assert bool(out_of_place) == (not may)


@pytest.mark.parametrize(("mode", "may"), [("safety", False), ("inlet_hose_off", True)])
def test_a_fault_of_the_safety_chain_is_not_reset_from_afar_and_another_one_is(mode, may):
    asked = Asked(presets=MAY)
    asyncio.run(asked.driven.panel.request("remote"))
    asked.write(1, "acknowledge")
    asked.write(2, "start")
    if may:
        assert asked.driven.panel.fail(mode, 1.0, 30_000) == ()
    else:
        asked.driven.run_until(Step.DRAW)
        asked.driven.machine.press("safety_chain_healthy", 0)
    asked.driven.run_until(FAULT)
    asked.driven.machine.press("safety_chain_healthy", 1)
    asked.run(5_000)
    asked.write(3, "reset")
    assert asked.answer()[1] == (ACCEPTED if may else REFUSED)
    assert asked.driven.rig.memory.step == (REST if may else FAULT)
    assert reasons(asked) == ([] if may else ["reset_out_of_place"])


def test_the_first_number_after_power_up_starts_nothing_and_is_written_down_as_refused():
    asked = Asked(presets=MAY)
    asyncio.run(asked.driven.panel.request("remote"))
    for _ in range(3):
        assert asked.write(41, "start")[0] == 16
    assert asked.driven.rig.memory.step == REST
    assert reasons(asked) == ["first_number"]
    refusals = asked.driven.told("COMMAND_REFUSED")
    assert len(refusals) == 1
    assert refusals[0][0] == f"start from remote (modbus {CLIENT}:40001)"
    asked.write(42, "start")
    assert asked.driven.rig.memory.step == Step.WARNING


def test_a_start_that_is_written_for_ever_does_not_start_again_after_a_stop():
    asked = Asked(presets=MAY)
    asyncio.run(asked.driven.panel.request("remote"))
    asked.write(1, "acknowledge")
    asked.write(2, "start")
    assert asked.driven.rig.memory.step == Step.WARNING
    asyncio.run(asked.writing(9, "stop", "192.168.10.6"))
    asked.run(1_000)
    for _ in range(20):
        asked.write(2, "start")
        asked.run(50)
    assert asked.driven.rig.memory.step == REST
    assert asked.driven.told("COMMAND_ACCEPTED")[-1] == ("stop from remote (modbus 192.168.10.6:40001)", "")


def test_each_command_is_an_event_and_a_line_of_the_audit_log_with_peer_and_result():
    asked = Asked()
    asked.driven.deeds.clear()
    asked.write(1, "stop")
    asked.write(2, "start")
    who = f"modbus {CLIENT}:40001"
    assert asked.driven.told("COMMAND_ACCEPTED") == [(f"stop from remote ({who})", "")]
    assert asked.driven.told("COMMAND_REFUSED") == [
        (f"start from remote ({who})", "this place has no control, or no right to start")
    ]
    assert [(d.place, d.who, d.command, d.result) for d in asked.driven.deeds] == [
        ("remote", who, "stop", "accepted"), ("remote", who, "start", "refused"),
    ]  # fmt: skip


def test_each_client_reads_its_own_answer():
    asked = Asked()
    asked.write(5, "stop", "10.0.0.1")
    asked.write(9, "start", "10.0.0.2")
    assert asked.answer("10.0.0.1") == (5, ACCEPTED, [])
    assert reasons(asked, "10.0.0.2") == ["first_number"]
    assert asked.answer("10.0.0.3") == (0, 0, [])
    assert asked.read("counted", "10.0.0.2") == 9


@pytest.mark.parametrize(
    ("pdu", "exception"),
    [
        (struct.pack(">BHH", 6, 0, 5), 3),  # one register alone
        (struct.pack(">BHH", 6, 1, 2), 3),
        (struct.pack(">BHHBH", 16, 0, 1, 2, 5), 3),
        (struct.pack(">BHHBHH", 16, 0, 2, 4, 5, 8), 3),  # no such command
        (struct.pack(">BHHBHH", 16, 0, 2, 4, 0, 2), 3),  # no number
        (struct.pack(">BHHBHHH", 16, 0, 3, 6, 5, 2, 0), 2),  # beside them
        (struct.pack(">BHHBHH", 16, 1, 2, 4, 5, 2), 2),
        (struct.pack(">BHHH", 22, 0, 0, 5), 3),
        (struct.pack(">BHH", 5, 0, 0xFF00), 2),  # there are no coils
    ],
)
def test_what_is_no_command_is_answered_with_an_exception_and_does_nothing(pdu, exception):
    """Codes: application protocol V1.1b3, 7: 02 data address, 03 data value."""
    asked = Asked()
    assert asked.ask(pdu) == bytes((pdu[0] | 0x80, exception))
    asked.run(10)
    assert asked.answer() == (0, 0, [])
    assert not asked.driven.told("COMMAND_ACCEPTED") + asked.driven.told("COMMAND_REFUSED")


def test_function_23_writes_the_command_and_reads_it_back():
    async def both():
        reply = asked.ask(struct.pack(">BHHHHBHH", 23, 0, 2, 0, 2, 4, 7, COMMANDS["stop"]))
        await asyncio.sleep(0)
        asked.driven.scan()
        return reply

    asked = Asked()
    assert asyncio.run(both()) == struct.pack(">BBHH", 23, 4, 7, COMMANDS["stop"])
    assert asked.driven.told("COMMAND_ACCEPTED")


# ---- off, and what random clients do ---------------------------------------------------------------------
def test_where_commands_are_refused_there_is_no_register_to_write():
    asked = Asked(commands="refused")
    assert asked.write(1, "stop") == bytes((0x90, 2))
    assert asked.ask(struct.pack(">BHH", 3, 0, 2)) == bytes((0x83, 2))
    assert asked.read("commands") == 0
    assert not asked.driven.told("COMMAND_ACCEPTED")
    assert Asked().read("commands") == 1


def test_a_station_that_says_nothing_of_it_serves_nothing():
    class NoServer:
        def create_server(self, *_):
            raise AssertionError

    async def served():
        asyncio.get_running_loop().create_server = NoServer().create_server
        async with PlantRegisters(Driven().rig).served(Registers(), said.append):
            pass
        with pytest.raises(AssertionError):  # it would be seen
            async with PlantRegisters(Driven().rig).served(Registers(serve=True), said.append):
                pass

    said = []
    asyncio.run(served())
    assert said == []


def random_pdu(chance):
    """A request of any kind, often nearly a good one."""
    functions = (1, 2, 3, 4, 5, 6, 15, 16, 22, 23, chance.randrange(256))
    words = (0, 1, 2, 3, 4, 8, 0x100, 0xFF00, chance.randrange(0x1_0000))
    function = chance.choice(functions)
    if chance.random() < 0.2:
        count = chance.choice((1, 2, 2, 2, 3))
        data = [chance.choice(words) for _ in range(count)]
        body = struct.pack(f">HHB{count}H", chance.choice((0, 0, 1)), count, 2 * count, *data)
        pdu = bytes((16,)) + body
    else:
        pdu = bytes((function,)) + struct.pack(">4H", *(chance.choice(words) for _ in range(4)))
    if chance.random() < 0.5:
        pdu = pdu[: chance.randrange(1, len(pdu) + 1)]
    if chance.random() < 0.3:
        at = chance.randrange(len(pdu))
        pdu = pdu[:at] + bytes((chance.randrange(256),)) + pdu[at + 1 :]
    return pdu


@pytest.mark.parametrize("commands", ["refused", "allowed"])
def test_random_requests_change_nothing_but_the_command_and_its_answer(commands):
    """And a command comes of none but a whole write of both registers with one of the seven commands."""

    async def noted(command, who):
        came.append(command)
        return ()

    async def run():
        for _ in range(20_000):
            pdu = random_pdu(chance)
            reply = asked.ask(pdu)
            assert 2 <= len(reply) <= 253
            assert reply[0] & 0x7F == pdu[0] & 0x7F
            if pdu[0] == 16 and reply[0] == 16:
                assert pdu[:6] == struct.pack(">BHHB", 16, 0, 2, 4)
                good.add(struct.unpack(">HH", pdu[6:10]))
            if pdu[0] == 23 and reply[0] == 23:
                good.add(struct.unpack(">HH", pdu[10:14]))
            await asyncio.sleep(0)

    asked, chance, came, good = Asked(commands=commands), random.Random(7), [], set()
    asked.plant.request = noted
    own = {row.name for row in ROWS if 30 <= row.address < 40 and row.table == "input_register"}
    rows = [row.name for row in ROWS if row.name not in own]
    before, rig = [asked.read(name) for name in rows], asked.driven.rig
    state = rig.memory, rig.inputs, rig.outputs, rig.presets, dict(rig.desk.forcing.forced)
    asyncio.run(run())
    assert [asked.read(name) for name in rows] == before
    assert state == (rig.memory, rig.inputs, rig.outputs, rig.presets, dict(rig.desk.forcing.forced))
    assert rig.desk.remote_control is False
    if commands == "refused":
        assert not came
        assert not good
    else:
        assert {command for _, command in good} <= set(COMMANDS.values())
        assert len(came) > 5


def test_the_sequence_takes_no_harm_of_clients_that_write_at_random():
    """With the right and the control they can start and stop it; what they cannot is break it."""

    async def run():
        for _ in range(1_500):
            asked.ask(random_pdu(chance))
            await asyncio.sleep(0)
            asked.driven.scan()

    asked, chance = Asked(presets=MAY), random.Random(3)
    asyncio.run(asked.driven.panel.request("remote"))
    asyncio.run(run())
    assert asked.driven.rig.memory.step not in (FAULT, SETTLE)
