"""The text that is compiled can be written, and is the kernel: in plain Python, without Numba."""

import sys
from types import SimpleNamespace

import pytest

from controller.image import Inputs, Outputs
from io_sim import kernel
from io_sim.compiled import kernel_text
from io_sim.constants import at_rest, flat
from io_sim.failures import healthy
from io_sim.parameters import PlantParameters

DRAW = [int(v) for v in Outputs(source_cmd=True, vent_close_cmd=True, feed_cmd=True)]


def advanced(advance):
    """The state after half a second of drawing."""
    parameters = PlantParameters()
    state, inputs = at_rest(parameters, 1), [int(v) for v in Inputs()]
    advance(state, flat(parameters), healthy(), DRAW, inputs, 100, 0.005)
    return state, inputs


def test_written_text_is_whole_and_the_same_plant(monkeypatch):
    plain = SimpleNamespace(njit=lambda **_options: lambda function: function)
    monkeypatch.setitem(sys.modules, "numba", plain)
    written = {}
    exec(compile(kernel_text(), "kernel_text", "exec"), written)

    assert advanced(written["advance"]) == advanced(kernel.advance)


def test_one_constant_name_for_two_numbers_is_refused(monkeypatch):
    monkeypatch.setattr("io_sim.flap.P_AIR_PA", 0)

    with pytest.raises(ValueError, match="two kernel constants are called P_AIR_PA"):
        kernel_text()
