"""The kernel with its constants put in is the kernel: the same numbers to the last bit, in every scan."""

import ast
import random

import pytest
from plant_options import OPTIONS

from controller.image import Inputs, Outputs
from io_sim import failures, kernel, put_in
from io_sim.constants import at_rest, flat
from io_sim.failures import CATALOGUE
from io_sim.parameters import PlantParameters

HELD_SCANS = 12


class Pair:
    """One plant twice: by the kernel, and by the kernel with its constants put in."""

    def __init__(self, parameters, seed):
        self.par, self.rng = flat(parameters), random.Random(seed)
        self.runs = [
            (advance, at_rest(parameters, seed), failures.healthy(), [*map(int, Inputs())])
            for advance in (kernel.advance, put_in.put_in())
        ]

    def fail(self, mode, amount, over_s=0.0):
        for _, _, amounts, _ in self.runs:
            failures.put(amounts, mode, amount, over_s)

    def run(self, scans):
        """Random commands, each held for some scans; demands every number of every scan alike."""
        outputs = [0] * len(Outputs._fields)
        for k in range(scans):
            if k % HELD_SCANS == 0:
                outputs = [int(self.rng.random() < 0.5) for _ in outputs]
            seen = []
            for advance, state, amounts, inputs in self.runs:
                advance(state, self.par, amounts, outputs, inputs, 2, 0.005)
                seen.append((state, amounts, inputs))
            assert repr(seen[0]) == repr(seen[1])

    @property
    def state(self):
        return self.runs[0][1]


@pytest.mark.parametrize("option", [None, *OPTIONS])
def test_it_is_the_kernel_to_the_last_bit_with_every_option(option):
    pair = Pair(OPTIONS[option] if option else PlantParameters(), 3)
    before = list(pair.state)
    pair.run(600)
    assert sum(a != b for a, b in zip(before, pair.state, strict=True)) > 20


def test_it_is_the_kernel_to_the_last_bit_under_every_failure():
    modes = [mode.id for mode in CATALOGUE]
    pair = Pair(PlantParameters(vessel_start_kg=30.0), 5)
    pair.rng.shuffle(modes)
    for first in range(0, len(modes), 6):
        together = modes[first : first + 6]
        for mode in together:
            pair.fail(mode, pair.rng.choice((0.3, 0.7, 1.0)))
        pair.run(60)
        for mode in together:
            pair.fail(mode, 0.0)


def test_it_is_the_kernel_while_a_failure_grows_and_after_it_has_grown():
    pair = Pair(PlantParameters(), 7)
    pair.fail("filter_blinded", 0.8, over_s=1.0)
    pair.run(150)
    assert pair.runs[1][2][failures.slot("filter_blinded")] == 0.8


def test_a_plant_step_reads_neither_parameters_nor_failures_any_more():
    whole = put_in._Kernel({"par": flat(PlantParameters()), "failures": failures.healthy()})
    whole.advance({"steps": 2, "step_s": 0.005})
    (step,) = (tree for key, tree in whole.made.items() if key[0] == "step_plant")
    assert [a.arg for a in step.args.args] == ["state", "outputs"]


def test_a_statement_that_it_does_not_know_is_refused():
    tree = ast.parse("while state[0] > 1.0:\n    state[0] -= 1.0")
    with pytest.raises(NotImplementedError, match=r"put_in does not know: while state\[0\]"):
        put_in._Body(put_in._Kernel({}), {}).block(tree.body)
