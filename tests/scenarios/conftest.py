"""The benches as fixtures, and the sheet of all lines last."""

from collections.abc import Callable

import pytest
from bench import BENCHES, Bench, Benches

LAST = "test_every_line.py"


@pytest.fixture
def at() -> Callable[..., Bench]:
    """`at(STEP, **presets)`: a bench in the scan that entered the step."""
    return BENCHES.at


@pytest.fixture
def new() -> Callable[..., Bench]:
    """`new(**presets)`: a bench that was never powered."""
    return BENCHES.new


@pytest.fixture
def fitted() -> Callable[..., Benches]:
    """`fitted(**presets)`: the benches of a station with these options, from power-up on."""
    return BENCHES.fitted


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The sheet reads what all other scenarios have shown, so it comes after them."""
    items.sort(key=lambda item: item.path.name == LAST)
