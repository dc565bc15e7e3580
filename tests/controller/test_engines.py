"""All executors give the same memory, outputs and acts, scan by scan; delays keep to IEC 61131-3."""

import csv
import random
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from miniature import MINIATURE, QUICK, Facts, Inputs, Presets, Step, next_inputs

from controller.engines.as_written import AsWritten, on_rows, on_transitions
from controller.engines.compiled import array, compiled
from controller.engines.generated import OnRecords, flat, interpreted, source
from controller.sequence.definition import fact, on_delay, percent
from controller.sequence.logic import Logic

TIMERS = Path(__file__).parent.parent / "data" / "iec_timers.csv"
SEEDS = range(12)


@pytest.fixture(scope="module")
def logic():
    return Logic(MINIATURE)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("scans")


@pytest.fixture(scope="module")
def compiled_scan(logic, folder):
    return compiled(logic, folder)


def presets_of(seed):
    slow_drain = {"drain_ms": 20_000, "flap_travel_ms": 2_000} if seed % 4 == 3 else {}
    return QUICK._replace(supply_low_effect=seed % 2, **slow_drain)


def test_all_executors_agree_in_every_scan_while_every_row_and_interlock_fires(logic, compiled_scan):
    """Random runs from power-up: memory, outputs, acts are the same; nothing in the tables stays unused."""
    plain = AsWritten(logic, on_rows)
    engines = [
        plain,
        AsWritten(logic, on_transitions),
        OnRecords(logic, interpreted(logic)),
        OnRecords(logic, compiled_scan, array),
    ]
    acted, taken = Counter(), Counter()
    for seed in SEEDS:
        rnd, presets, inputs, memory = random.Random(seed), presets_of(seed), Inputs(), logic.power_up()
        for n in range(1_200):
            dt_ms = rnd.choice((10, 50, 100, 300))
            first, *others = (e.scan(memory, inputs, presets, dt_ms) for e in engines)
            for other in others:
                assert other == first, f"seed {seed}, scan {n}: {inputs}"
            facts = plain.all_facts(memory, inputs, presets, dt_ms)
            taken.update(
                [row.guard.name for row in logic.rows_from(memory.step) if facts[row.guard.name]][:1]
            )
            acted.update(name for name, on in first.acts._asdict().items() if on)
            memory, inputs = first.memory, next_inputs(inputs, first.outputs, rnd)
    assert {row.guard.name for row in logic.rows if row.guard.name not in taken} == {"fault_at_power_up"}
    assert set(acted) == {name.lower() for name in logic.interlock_names}


def test_every_executor_starts_in_fault_when_a_fault_was_stored(logic, compiled_scan):
    """The one row that random runs cannot reach: power-up with a stored fault."""
    for engine in (
        AsWritten(logic, on_transitions),
        AsWritten(logic, on_rows),
        OnRecords(logic, interpreted(logic)),
        OnRecords(logic, compiled_scan, array),
    ):
        memory = logic.power_up({"fault_stored": True, "first_out": 3, "run": True})
        assert not memory.run  # not kept
        memory, outputs, _ = engine.scan(memory, Inputs(), Presets(), 10)
        assert (memory.step, memory.first_out, outputs.fault_lamp) == (Step.FAULT, 3, True)


def test_flat_scan_writes_zeros_and_ones_in_place(logic, compiled_scan):
    """The flat form is whole numbers in the order of the records, for lists and for arrays."""
    for scan, sequence in (interpreted(logic), list), (compiled_scan, array):
        memory, outputs = sequence(flat(logic)), sequence([0] * len(MINIATURE.outputs._fields))
        acts = sequence([0] * len(logic.interlock_names))
        inputs = Inputs(chain_healthy=False, flap_open_fb=True)
        assert scan(memory, sequence([*map(int, inputs)]), sequence(Presets()), 10, outputs, acts) is None
        assert [type(v) for v in list(memory)] == [type(memory[0])] * len(memory)
        assert not isinstance(memory[0], bool)
        assert outputs[-1] == 1  # the fault lamp
        assert acts[0] == 1  # CHAIN_OPEN


def test_compiled_scan_is_callable_from_compiled_code(logic, compiled_scan):
    """The closed loop with the plant is compiled around the scan."""
    from numba import njit

    @njit
    def loop(scan, memory, inputs, presets, outputs, acts):
        for _ in range(5):
            scan(memory, inputs, presets, 10, outputs, acts)

    memory = array(flat(logic))
    outputs, acts = array([0] * len(MINIATURE.outputs._fields)), array([0] * len(logic.interlock_names))
    loop(compiled_scan, memory, array(Inputs()), array(Presets()), outputs, acts)
    assert memory[list(logic.memory).index("step_ms")] == 50


def test_changed_logic_is_compiled_into_another_folder(logic, compiled_scan, folder):
    """A stale machine code cannot be served: the folder is named by the text."""
    before = set(folder.iterdir())
    changed = Logic(replace(MINIATURE, rows=MINIATURE.rows[1:]))
    assert source(changed, branch_free=True) != source(logic, branch_free=True)
    engine = OnRecords(changed, compiled(changed, folder), array)
    assert len(set(folder.iterdir()) - before) == 1
    stored_fault = changed.power_up({"fault_stored": True})
    assert engine.scan(stored_fault, Inputs(), Presets(), 10).memory.step == Step.REST  # the row is gone
    kept = OnRecords(logic, compiled_scan, array)
    assert kept.scan(stored_fault, Inputs(), Presets(), 10).memory.step == Step.FAULT


def test_compiling_into_a_folder_that_cannot_be_written_says_so(logic, tmp_path):
    (tmp_path / "taken").write_text("")
    with pytest.raises(OSError, match="taken"):
        compiled(logic, tmp_path / "taken")


def test_all_facts_names_every_fact_of_one_scan(logic):
    facts = AsWritten(logic).all_facts(logic.power_up(), Inputs(start_pb=True), Presets(), 10)
    assert list(facts) == list(logic.facts)
    assert facts["ready"] is True
    assert facts["start_edge"] is False  # held through power-up


def test_facts_that_are_asked_for_are_those_of_the_whole_scan(logic):
    """Each asked alone, of a scan that moves, in the contrary order; and no name that is none."""
    engine, memory = AsWritten(logic, on_rows), logic.power_up()
    for inputs in (Inputs(), Inputs(start_pb=True), Inputs()):
        whole = engine.all_facts(memory, inputs, Presets(), 10)
        asked = engine.facts_asked(memory, inputs, Presets(), 10)
        assert {name: asked[name] for name in reversed(whole)} == whole
        assert {name: engine.facts_asked(memory, inputs, Presets(), 10)[name] for name in whole} == whole
        assert (list(asked), len(asked), "ready" in asked) == (list(whole), len(whole), True)
        with pytest.raises(KeyError):
            asked["dt_ms"]
        memory = engine.scan(memory, inputs, Presets(), 10).memory


def rows_of_the_timer_table():
    """IEC 61131-3 function blocks, table by own model from its rules (from memory)."""
    with TIMERS.open() as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def test_delays_written_as_facts_behave_as_the_timers_of_iec_61131_3(logic):
    """TON by `on_delay`, TOF and TP as facts, through the scans of the table: output and elapsed time."""
    engine, memory, last_ms = OnRecords(logic, interpreted(logic)), logic.power_up(), 0
    presets = Presets(level_on_ms=300, dust_trap_ms=300, knock_ms_max=300)
    facts_of = AsWritten(logic, on_rows).all_facts
    for row in rows_of_the_timer_table():
        t_ms, on = int(row["t_ms"]), row["IN"] == "1"
        inputs = Inputs(level_free=not on, dust_seen=on, knock_pb=on)
        facts = facts_of(memory, inputs, presets, t_ms - last_ms)
        assert facts["level_covered"] == (row["TON_Q"] == "1"), row
        assert facts["dust_trap"] == (row["TOF_Q"] == "1"), row
        assert facts["knock"] == (row["TP_Q"] == "1"), row
        if on:  # our clocks count on where ET of the standard stops at PT
            assert min(facts["level_covered_held_ms"], 300) == int(row["TON_ET"]), row
        elif row["TOF_Q"] == "1":
            assert facts["dust_gone_held_ms"] == int(row["TOF_ET"]), row
        if row["TP_Q"] == "1":
            assert facts["knock_ms"] == int(row["TP_ET"]), row
        memory, last_ms = engine.scan(memory, inputs, presets, t_ms - last_ms).memory, t_ms


def interlock_delay(**presets):
    """How many scans of 100 ms after the one that first saw its cause FLAP_LOST_CLOSED acts."""
    logic = Logic(MINIATURE)
    engine = AsWritten(logic, on_rows)
    memory = logic.power_up()._replace(step=Step.DRAW, run=True)
    for n in range(10):
        memory, _, acts = engine.scan(memory, Inputs(flap_closed_fb=False), Presets(**presets), 100)
        if acts.flap_lost_closed:
            return n
    return None


@pytest.mark.parametrize(("flap_lost_ms", "scans"), [(0, 0), (100, 1), (101, 2), (200, 2), (300, 3)])
def test_interlock_acts_in_the_first_scan_in_which_its_cause_has_stood_for_the_delay(flap_lost_ms, scans):
    assert interlock_delay(flap_lost_ms=flap_lost_ms) == scans


def test_interlock_delay_is_lost_on_leaving_its_steps(logic):
    """Two spells in DRAW, each under the delay, do not add up."""
    engine, presets = AsWritten(logic, on_rows), Presets(flap_lost_ms=150)
    memory = logic.power_up()._replace(step=Step.DRAW, run=True)
    lost = Inputs(flap_closed_fb=False)
    memory = engine.scan(memory, lost, presets, 100).memory
    memory = engine.scan(memory, lost, presets, 100).memory
    assert memory.flap_lost_closed_held_ms == 100
    stopped = engine.scan(memory, lost._replace(stop_healthy=False), presets, 10).memory
    assert stopped.step == Step.VENT
    again = engine.scan(stopped._replace(step=Step.DRAW), lost, presets, 100)
    assert again.memory.flap_lost_closed_held_ms == 0
    assert not again.acts.flap_lost_closed


def test_effect_of_an_interlock_follows_its_preset(logic):
    """SUPPLY_AIR_LOW: 0 is trip, 1 is wait; each names what it is, and only a trip is a first-out."""
    engine = AsWritten(logic, on_rows)
    for effect, step, first_out in (0, Step.FAULT, 2), (1, Step.HELD, 0):
        memory = logic.power_up()._replace(
            step=Step.DRAW, run=True, supply_air_low_1_seen=True, supply_air_low_1_held_ms=5_000
        )
        presets = Presets(supply_low_effect=effect)
        memory, _, acts = engine.scan(memory, Inputs(supply_air_pa_g=0), presets, 10)
        assert acts.supply_air_low
        assert (memory.step, memory.first_out) == (step, first_out)


def test_first_out_is_the_upper_of_two_and_stays_until_the_reset(logic):
    engine = AsWritten(logic, on_rows)
    memory = logic.power_up()._replace(step=Step.VENT, run=True)
    memory = engine.scan(memory, Inputs(chain_healthy=False, vacuum_ua=12_000), Presets(), 10).memory
    assert (memory.step, memory.first_out) == (Step.FAULT, 1)  # CHAIN_OPEN is the first of the table
    memory = engine.scan(memory, Inputs(vacuum_ua=12_000), Presets(), 10).memory
    assert memory.first_out == 1
    calm = memory._replace(vacuum_sum_pa=0)
    memory = engine.scan(calm, Inputs(reset_pb=True), Presets(), 10).memory
    assert (memory.step, memory.first_out) == (Step.REST, 0)


def test_unless_has_the_last_word_over_an_output_and_is_remembered(logic):
    """With the flap unproven the source stays off in DRAW, and `overruled` says that it was wanted."""
    engine = AsWritten(logic, on_rows)
    memory = logic.power_up()._replace(step=Step.DRAW, run=True)
    for flap_closed, source_cmd in (True, True), (False, False):
        scanned = engine.scan(memory, Inputs(flap_closed_fb=flap_closed), Presets(), 10)
        assert scanned.memory.step == Step.DRAW
        assert scanned.outputs.source_cmd is source_cmd
        assert scanned.memory.overruled is not source_cmd


def test_delay_of_a_fact_may_be_another_fact():
    """`s.name_ms` as a delay: here 30 % of the travel time."""

    class Delayed(Facts):
        third_ms = fact(lambda s: percent(s.set.flap_travel_ms, 30))
        lost_long = on_delay(lambda s: not s.flap_proven, by="s.third_ms")

    logic = Logic(replace(MINIATURE, facts=Delayed))
    facts_of, memory = AsWritten(logic, on_rows).all_facts, logic.power_up()
    seen = []
    for _ in range(6):
        facts = facts_of(memory, Inputs(flap_closed_fb=False), Presets(flap_travel_ms=1_000), 100)
        memory = logic.Memory(**{n: facts[n] for n in logic.memory})
        seen.append(facts["lost_long"])
    assert seen == [False, False, False, True, True, True]


def test_several_lines_of_one_interlock_are_one_act_with_numbered_facts(logic):
    lines = [n for n in logic.facts if n.startswith("supply_air_low") and n[-1].isdigit()]
    assert sorted(lines) == ["supply_air_low_1", "supply_air_low_2"]
    assert logic.source_of("supply_air_low_acts") == "s.supply_air_low_1 or s.supply_air_low_2"
