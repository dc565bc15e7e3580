"""What is called fixed at a station never moves, in any run; what can move is not called fixed."""

import random

import pytest
from miniature import MINIATURE, QUICK, Inputs, Step, next_inputs

from controller.engines.as_written import AsWritten, on_rows
from controller.engines.fixed import fixed_at
from controller.sequence.logic import Logic

LOGIC = Logic(MINIATURE)
STATIONS = {
    "waits for air": (QUICK._replace(supply_low_effect=1), {}),
    "trips on low air, never re-opens": (QUICK._replace(flap_retries_max=0), {}),
    "no level probe, no dust switch": (QUICK, {"level_free": True, "dust_seen": False}),
    "nobody starts it": (QUICK, {"start_pb": False}),
}


def scans(presets, held):
    """(facts, memory before) of some thousand random scans, with power cuts."""
    engine, rnd = AsWritten(LOGIC, on_rows), random.Random(7)
    memory, inputs = LOGIC.power_up(), Inputs(**held)
    for n in range(6_000):
        if n % 500 == 499:
            memory = LOGIC.power_up({name: getattr(memory, name) for name in LOGIC.kept})
        yield engine.all_facts(memory, inputs, presets, 60), memory
        answer = engine.scan(memory, inputs, presets, 60)
        memory, inputs = answer.memory, next_inputs(inputs, answer.outputs, rnd)._replace(**held)


@pytest.mark.parametrize("station", STATIONS)
def test_what_is_fixed_never_moves(station):
    presets, held = STATIONS[station]
    fixed = fixed_at(LOGIC, presets._asdict(), held)
    reached = set()
    for facts, memory in scans(presets, held):
        moved = {name: facts[name] for name, value in fixed.facts.items() if facts[name] != value}
        assert not moved
        reached.add(memory.step)
    assert reached <= fixed.steps


def test_presets_and_missing_wires_fix_what_hangs_on_them():
    trips, _ = STATIONS["trips on low air, never re-opens"]
    assert fixed_at(LOGIC, trips._asdict(), {}).facts["wait"] == 0
    waits = fixed_at(LOGIC, QUICK._replace(supply_low_effect=1)._asdict(), {})
    assert "wait" not in waits.facts
    assert fixed_at(LOGIC, QUICK._asdict(), {"start_pb": False}).steps <= {Step.REST, Step.FAULT}


def test_a_line_acts_unless_its_cause_or_all_its_steps_are_out_of_reach():
    lines = {i.name: i for i in MINIATURE.interlocks}
    all_wired = fixed_at(LOGIC, QUICK._asdict(), {})
    assert all(all_wired.acts(i) for i in lines.values())
    never_starts = fixed_at(LOGIC, QUICK._asdict(), {"start_pb": False})
    assert not never_starts.acts(lines["STEP_TOO_LONG"])
