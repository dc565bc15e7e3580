"""What `receiver run` is asked for, beyond what the command line tests show."""

from pathlib import Path

import pytest

from controller.live.run_ask import read_ask

CONFIGS = Path(__file__).parents[2] / "configs"


def asked(station: str, io: str | None):
    nothing = {"lasts": None, "out": None, "state": None, "connect": None, "rate": 1.0, "fifo": False, "start": False}
    return read_ask(CONFIGS / station, io=io, **nothing)


@pytest.mark.parametrize(
    ("station", "io", "watched"),
    [("buckwheat_mill", None, True), ("sugar_kitchen", None, False), ("buckwheat_mill", "simulated", False)],
)
def test_a_life_counter_that_the_map_names_is_watched(station, io, watched):
    """The device of the sugar kitchen has none; the plant in the same process needs none."""
    assert asked(station, io).station.receiver.presets.io_life_watched is watched
