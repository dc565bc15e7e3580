import numpy as np
import pytest

from controller.campaign.conditions import Reader, plant_readings
from controller.campaign.words import guarded
from controller.engines.columns import Columns
from controller.engines.rescan import Rescanned
from controller.image import Inputs, Outputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import CONVEY, DRAW

LOGIC = Logic(RECEIVER)
READER = Reader(LOGIC)


def columns(**remembered: list[int]) -> Columns:
    """A few scans whose memory afterwards is said; the rest stays as at power-up."""
    scans = len(next(iter(remembered.values())))
    memory = np.tile(list(LOGIC.memory.values()), (scans, 1)).astype(np.int64)
    for name, values in remembered.items():
        memory[:, list(LOGIC.memory).index(name)] = values
    inputs = np.tile([int(v) for v in Inputs()], (scans, 1)).astype(np.int64)
    rest = Rescanned(memory, np.zeros((scans, len(Outputs._fields))), np.zeros((scans, 40)))
    extra = {"plant_vessel_g": np.array(range(scans)) * 1_000}
    return Columns(READER.rules, list(LOGIC.memory.values()), inputs, rest, Presets()._asdict(), 10, extra)


def test_names_stand_for_inputs_presets_facts_steps_and_interlocks() -> None:
    read = READER.read(
        "start_pb or fill_ms > 5 and vacuum_pa < 3 and step in DRAWING and not FLAP_LOST_CLOSED"
    )
    groups = {r.name: r.group for r in read.reads}
    assert groups == {
        "start_pb": "now", "fill_ms": "set", "vacuum_pa": "this", "step": "this", "flap_lost_closed_acts": "this"
    }  # fmt: skip


def test_a_condition_gives_one_value_a_scan() -> None:
    scans = columns(step=[0, DRAW, CONVEY, CONVEY])
    wanted = READER.read("level_free and plant_vessel_g >= 2_000")
    assert scans.whole(wanted.rule).tolist() == [False, False, True, True]


def test_what_is_the_same_in_all_scans_still_has_a_value_for_each() -> None:
    assert columns(step=[0, 0, 0]).whole(READER.read("fill_ms > 0").rule).tolist() == [True] * 3


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("stepp == CONVEY", "did you mean 'step'?"),
        ("vacuum_pa", "a condition (true or false) is needed here"),
        ("vacuum_pa * 2 > 5", "not in the subset"),
        ("step ==", "cannot be read as a condition"),
        ("1 < vacuum_pa < 2", "one comparison at a time"),
        ("s.now.start_pb", "names alone, without points"),
        ("__import__('os')", "is no fact"),
        ("step in (CONVEYY,)", "did you mean 'CONVEY'?"),
        ("open('x') == 1", "is no fact"),
        ("vacuum_pa > 6.5", "whole numbers only, in the unit of the name: 6500 for 6.5 kPa"),
        ("supply_pa_g < 5.5", "550000 for 5.5 bar"),
        ("CONVEY", "write step == CONVEY"),
        ("horn or not CONVEY", "write step == CONVEY"),
        ("DRAWING", "write step in DRAWING"),
        ("on_board == CONVEY", "compare it with step"),
        ("CONVEY != hold_reason", "compare it with step"),
        ("on_board in DRAWING", "compare it with step"),
        ("on_board in (REST, CONVEY)", "compare it with step"),
        ("step < CONVEY", "compare it with step"),
    ],
)
def test_what_is_no_condition_is_refused_with_what_was_meant(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=r"`") as refused:
        READER.read(text)
    assert said in str(refused.value)


def test_every_reading_of_the_plant_has_one_name_that_no_fact_has() -> None:
    names = plant_readings()
    assert len({reading.field for reading in names.values()}) == len(names)
    assert not set(names) & {*LOGIC.facts, *Inputs._fields, *Presets._fields}


def test_a_guard_names_a_line_of_a_table() -> None:
    assert guarded(LOGIC, "interlock NO_VACUUM")[:2] == ("interlock", "NO_VACUUM")
    assert guarded(LOGIC, "last word source_cmd")[:2] == ("last word", "source_cmd")
    for wrong in ("row seald", "NO_VACUUM", "refusal start seald"):
        with pytest.raises(ValueError, match=r"did you mean|write `row`|is refused by"):
            guarded(LOGIC, wrong)
