"""What decides a fact: the values agree with Python, and the reads named suffice."""

import random

import pytest
from miniature import MINIATURE, QUICK, Inputs, next_inputs

from controller.engines.as_written import AsWritten, on_rows
from controller.sequence.expressions import Read
from controller.sequence.logic import Logic
from controller.sequence.reasons import reason


@pytest.fixture(scope="module")
def logic():
    return Logic(MINIATURE)


def values_of(memory, inputs, presets, dt_ms, facts):
    groups = {"was": memory._asdict(), "now": inputs._asdict(), "set": presets._asdict()}
    values = {Read(group, n): v for group, record in groups.items() for n, v in record.items()}
    return values | {Read("this", n): v for n, v in facts.items()} | {Read("this", "dt_ms"): dt_ms}


def scans(logic, number):
    engine, rnd, memory, inputs = AsWritten(logic, on_rows), random.Random(7), logic.power_up(), Inputs()
    for _ in range(number):
        facts = engine.all_facts(memory, inputs, QUICK, 50)
        yield values_of(memory, inputs, QUICK, 50, facts)
        scanned = engine.scan(memory, inputs, QUICK, 50)
        memory, inputs = scanned.memory, next_inputs(inputs, scanned.outputs, rnd)


def test_every_fact_is_worked_out_as_the_rules_do_and_its_reasons_suffice(logic):
    """Whatever else is changed at random, a fact keeps its value while what decided it stays."""
    rnd = random.Random(3)
    for values in scans(logic, 60):
        other = {r: (rnd.random() < 0.5 if logic.kinds[r] is bool else rnd.randrange(9_999)) for r in values}
        for f in logic.facts.values():
            if f.name != "step":
                found = reason(f.tree, values, logic.constants)
                assert found.value == values[Read("this", f.name)], f.name
                decided = other | {r: values[r] for r in found.reads}
                assert reason(f.tree, decided, logic.constants).value == found.value, (f.name, found)


def test_of_a_false_and_only_one_side_is_named(logic):
    tree = logic.facts["flap_proven"].tree
    values = {Read("now", "flap_closed_fb"): False, Read("now", "flap_open_fb"): True}
    assert len(reason(tree, values, {}).reads) == 1
    values = {Read("now", "flap_closed_fb"): True, Read("now", "flap_open_fb"): False}
    assert len(reason(tree, values, {}).reads) == 2
