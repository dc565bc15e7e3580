"""The simulated receiver as an I/O port: time, people, forces, failures, watchdog."""

import pytest

from controller.clock import SteppedClock
from controller.engines import generated
from controller.image import Inputs, Outputs
from controller.port import NEVER_MS
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.simulate.executors import executor
from controller.simulate.station_loop import StationLoop
from io_sim.backend import CATCH_UP_MS, SimulatedIo
from io_sim.parameters import PlantParameters
from io_sim.plant import Plant

DRAWING = Outputs(source_cmd=True, vent_close_cmd=True)


def test_it_is_the_plant_scan_by_scan():
    io, plant = SimulatedIo(seed=3), Plant(seed=3)
    io.write(Outputs())
    for k in range(300):
        read, told = io.read(), plant.advance(DRAWING if k else Outputs(), 10)
        assert read == told._replace(io_life=k + 1)
        io.write(DRAWING)
    assert read.vacuum_ua > 4_500


def test_as_much_time_passes_as_on_the_clock_in_whole_plant_steps_from_the_first_read_on():
    clock = SteppedClock()
    io = SimulatedIo(clock=clock)
    clock.sleep_until(3_000)
    for ms in (0, 10, 17, 20, 420):
        clock.sleep_until(3_000 + ms)
        io.read()
        assert round(io.plant.state.clock_s * 1_000) == ms // 5 * 5
    clock.sleep_until(3_420 + CATCH_UP_MS + 500)
    io.read()
    assert round(io.plant.state.clock_s * 1_000) == 420 + CATCH_UP_MS, "the rest is let go"


def test_outputs_that_nobody_writes_anew_drop_to_safe_when_the_watchdog_is_over():
    io, plant = SimulatedIo(watchdog_ms=200, seed=3), Plant(seed=3)
    io.write(Outputs())
    io.write(DRAWING)
    for k in range(1, 41):
        told = plant.advance(DRAWING if k <= 20 else Outputs(), 10)
        assert io.read() == told._replace(io_life=k, image_age_ms=0 if k <= 20 else NEVER_MS)
        assert io.held == (DRAWING if k <= 20 else Outputs())


def test_the_watchdog_acts_within_a_long_read_as_well():
    clock = SteppedClock()
    io, plant = SimulatedIo(clock=clock, watchdog_ms=200, seed=3), Plant(seed=3)
    io.read()
    io.write(Outputs())
    io.write(DRAWING)
    clock.sleep_until(900)
    assert io.held == Outputs()
    read = io.read()
    plant.advance(Outputs(), 0)
    plant.advance(DRAWING, 200)
    assert read == plant.advance(Outputs(), 700)._replace(io_life=2, image_age_ms=NEVER_MS)


def test_people_press_for_as_long_as_they_press_and_a_request_lasts_one_scan():
    io = SimulatedIo()
    io.press("start_pb", 1)
    io.request("halt_request")
    seen = io.read()
    assert seen.start_pb is True
    assert seen.halt_request is True
    seen = io.read()
    assert seen.start_pb is True
    assert seen.halt_request is False
    io.press("start_pb", 0)
    assert io.read().start_pb is False


def test_a_force_stands_over_plant_and_people_until_it_is_released():
    io = SimulatedIo()
    io.force("flap_closed_fb", 0)
    io.force("start_pb", 1)
    io.force("vacuum_ua", 12_345)
    seen = io.read()
    assert (seen.flap_closed_fb, seen.start_pb, seen.vacuum_ua) == (False, True, 12_345)
    assert set(io.forced) == {"flap_closed_fb", "start_pb", "vacuum_ua"}
    for point in io.forced:
        io.release(point)
    seen = io.read()
    assert (seen.flap_closed_fb, seen.start_pb) == (True, False)
    assert 3_900 < seen.vacuum_ua < 4_100
    assert io.forced == {}


def test_a_part_fails_and_heals():
    io = SimulatedIo()
    io.fail("supply_dumped")
    assert io.failed == {"supply_dumped": 1.0}
    for _ in range(300):
        dumped = io.read().supply_air_ua
    assert dumped < 6_000
    io.heal("supply_dumped")
    assert io.failed == {}
    for _ in range(300):
        healed = io.read().supply_air_ua
    assert healed > dumped + 2_000


@pytest.mark.parametrize(
    ("deed", "said"),
    [
        (lambda io: io.press("vacuum_ua", 5_000), "vacuum_ua is driven by the simulated plant; force it"),
        (lambda io: io.press("start", 1), "no input 'start'; there are: start_pb"),
        (lambda io: io.request("start_pb"), "start_pb is no request that lasts one scan; press it"),
        (lambda io: io.force("source_cmd", 1), "no input 'source_cmd'"),
        (lambda io: io.release("source_cmd"), "no input 'source_cmd'"),
        (lambda io: io.fail("flap_gone"), "flap_gone"),
        (lambda io: SimulatedIo(scan_ms=12), "scan_ms = 12 is not a whole number of plant steps of 5 ms"),
    ],
)
def test_what_cannot_be_done_is_said(deed, said):
    with pytest.raises(ValueError, match=said):
        deed(SimulatedIo())


def test_every_input_has_the_kind_of_its_point():
    io = SimulatedIo()
    io.press("jog", 3)
    io.force("level_free", 0)
    kinds = [type(value) for value in Inputs()]
    assert [type(value) for value in io.read()] == kinds


def test_a_rig_on_it_runs_scan_by_scan_as_the_virtual_station():
    """Order of a scan, life counter apart: the plant moves, its image is read, the sequence decides, is written."""
    logic, presets, parameters = Logic(RECEIVER), Presets(), PlantParameters()
    loop = StationLoop(logic, presets, parameters, executor("generated", logic), seed=4)
    io, scan = SimulatedIo(parameters, seed=4), generated.interpreted(logic)
    memory, outputs = generated.flat(logic), [0] * len(Outputs._fields)
    acts, steps = [0] * len(logic.interlock_names), set()
    life = Inputs._fields.index("io_life")
    for pressed, scans in ((0, 700), (1, 10), (0, 1_500)):
        loop.press("start_pb", pressed)
        io.press("start_pb", pressed)
        while scans:
            segment = loop.run(scans)
            scans -= segment.scans
            for k in range(segment.scans):
                image = [int(value) for value in io.read()]
                image[life] = 0
                assert image == segment.inputs(k)
                scan(memory, image, [int(value) for value in presets], 10, outputs, acts)
                io.write(Outputs._make(map(bool, outputs)))
                steps.add(memory[list(logic.memory).index("step")])
    assert len(steps) >= 5
