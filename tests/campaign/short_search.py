"""Search on the mill, interpreted and short, with and without a mistake planted in its logic."""

from controller.campaign.planted import changed
from controller.campaign.runner import Runner
from controller.campaign.search.command import Bench
from controller.campaign.search.trial import Trial
from controller.sequence.definition import Row
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import SEAL, WARNING
from controller.stations import station_folder

MILL = station_folder("buckwheat_mill")
LOGIC = Logic(RECEIVER)
HONEST = Runner(LOGIC, "generated", check=False)


def without_horn() -> Logic:
    """A start goes to work at once."""
    rows = [Row(r.steps, r.guard, SEAL) if r.to == WARNING else r for r in LOGIC.rows]
    return changed(LOGIC, {}, rows)


def bench(logic: Logic, longest_ms: int = 4_000, delivers_ms: int = 0) -> Bench:
    runner = Runner(logic, "generated", check=False)
    return Bench([Trial("buckwheat_mill", MILL, runner, longest_ms, delivers_ms)], seed=1)
