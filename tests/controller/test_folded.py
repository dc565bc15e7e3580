"""A scan with what is fitted put in does what the whole scan does, for every set of options of the stories."""

import pytest
import stories
from story_presets import SETS

from controller.engines import generated
from controller.engines.as_written import AsWritten, on_rows
from controller.image import Outputs
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.simulate.executors import options_of
from controller.simulate.segment import whole_memory

LOGIC = Logic(RECEIVER)
WHOLE = generated.interpreted(LOGIC)
SCANS = 600


@pytest.mark.parametrize("number", range(len(SETS)))
def test_a_scan_folded_for_its_options_agrees_with_the_whole_one(number):
    """Memory, outputs and acts, scan by scan, a loss of power in between."""
    presets = SETS[number]
    options = options_of(presets)
    folded = generated.interpreted(LOGIC, options)
    as_written = AsWritten(LOGIC, on_rows, options)
    flat_presets = [int(v) for v in presets]
    first = generated.flat(LOGIC)
    kept = {list(LOGIC.memory).index(n) for n in LOGIC.kept}
    told = stories.story(1_000 + number, number)
    inputs, dt_ms = next(told)
    memory, out, acts = first[:], [0] * len(Outputs._fields), [0] * len(LOGIC.interlock_names)
    for n in range(SCANS):
        if n == SCANS // 2:
            memory = [v if k in kept else f for k, (v, f) in enumerate(zip(memory, first, strict=True))]
        flat_inputs = [int(v) for v in inputs]
        other = memory[:], out[:], acts[:]
        record = whole_memory(LOGIC, memory)
        WHOLE(memory, flat_inputs, flat_presets, dt_ms, out, acts)
        folded(other[0], flat_inputs, flat_presets, dt_ms, other[1], other[2])
        assert other == (memory, out, acts), (n, inputs)
        if n % 8 == 0:
            scanned = as_written.scan(record, inputs, presets, dt_ms)
            assert tuple(map(list, scanned)) == other, (n, inputs)
        inputs, dt_ms = told.send(Outputs(*map(bool, out)))


def test_what_is_not_fitted_is_left_out_of_the_text():
    whole, folded = (generated.source(LOGIC, options=o) for o in (None, options_of(SETS[0])))
    assert "jog_source" in folded
    assert "runs_on_bypass" in whole
    assert "runs_on_bypass" not in folded
