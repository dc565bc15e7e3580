"""
The pytest fixture `receiver`, and the marker that says which station it is.

    @pytest.mark.receiver("sugar_kitchen", presets={"convey": {"fill_s": 8}}, seed=2)
    def test_a_hose_that_comes_off_is_found(receiver):
        receiver.run("1s")  # no order is taken in the first scan
        receiver.start()
        receiver.run_until("convey")
        receiver.fail("inlet_hose_off")
        receiver.expect("NO_VACUUM", within="3s")

Nothing of the receiver is imported before a test asks for it.
"""

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from controller.testing.receiver import Receiver

MARKER = "receiver(station, presets, plant, seed): what the fixture `receiver` simulates"


def pytest_configure(config: pytest.Config) -> None:
    """Makes the marker known."""
    config.addinivalue_line("markers", MARKER)


@pytest.fixture
def receiver(request: pytest.FixtureRequest) -> "Receiver":
    """A simulated receiver at power-up; the example station unless the marker says otherwise."""
    from controller.testing.receiver import Receiver

    marker = request.node.get_closest_marker("receiver")
    return Receiver(*marker.args, **marker.kwargs) if marker else Receiver()
