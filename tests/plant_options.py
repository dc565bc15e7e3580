"""Plants with other options than the medium station, and random commands and failures for them."""

import random

from controller.image import Outputs
from io_sim.failures import CATALOGUE
from io_sim.parameters import PlantParameters
from io_sim.sources import with_motor

MEDIUM = PlantParameters()
OPTIONS = {
    "blower with bypass, two coils, three groups": with_motor(MEDIUM, "blower", 0.07, 30e3, 25e3)._replace(
        source_bypass=1.0, source_check_valve=0.0, flap_valve=1.0, tank_groups=3.0
    ),
    "vane pump, counterweight, no vent": with_motor(MEDIUM, "vane_pump", 0.03, 90e3)._replace(
        flap_kind=1.0, vent_fitted=0.0, tank_elements=7.0, tank_groups=2.0
    ),
    "ejector, held by vacuum, no purge": MEDIUM._replace(flap_kind=2.0, purge_fitted=0.0),
    "blower without bypass, held by vacuum": with_motor(MEDIUM, "blower", 0.07, 30e3)._replace(
        flap_kind=2.0, source_check_valve=0.0
    ),
}


def random_run(seed: int) -> list[tuple[Outputs, list[tuple[str, float]], int]]:
    """Commands, failures struck or healed, and scans of 10 ms, for some ten seconds."""
    chance = random.Random(seed)
    moves = []
    for _ in range(12):
        outputs = Outputs(**{name: chance.random() < 0.5 for name in Outputs._fields})
        struck = [(chance.choice(CATALOGUE).id, chance.choice((0.0, 0.3, 1.0))) for _ in range(3)]
        moves.append((outputs, struck, chance.randint(5, 150)))
    return moves
