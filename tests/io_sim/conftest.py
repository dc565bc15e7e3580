"""A plant without noise, and the commands that a person would give it by hand."""

import pytest

from controller.image import Outputs
from io_sim.parameters import PlantParameters
from io_sim.plant import Plant

QUIET = PlantParameters(feed_variation=0.0, transmitter_noise_ua=0.0)


@pytest.fixture
def quiet() -> PlantParameters:
    """The medium station, with a steady feed and no transmitter noise."""
    return QUIET


@pytest.fixture
def plant() -> Plant:
    return Plant(QUIET)


class Commands:
    """Sets of outputs by what they do; the plant needs no controller."""

    rest = Outputs()
    draw = Outputs(source_cmd=True, vent_close_cmd=True, feed_cmd=True)
    air_only = Outputs(source_cmd=True, vent_close_cmd=True)
    sealed = Outputs(vent_close_cmd=True)
    empty = Outputs(flap_open_cmd=True)
    pulse = Outputs(flap_open_cmd=True, pulse_1_cmd=True)


@pytest.fixture
def do() -> type[Commands]:
    return Commands
