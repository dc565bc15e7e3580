"""A station that the check has nothing against, and ways to look at what it found."""

from controller.options import FREE, WIRED_WHEN
from controller.points import ALWAYS
from controller.sequence.presets import Presets
from controller.station_check.findings import Finding
from controller.station_check.report import judge
from io_sim.parameters import PlantParameters

MEDIUM = PlantParameters()
ALL = frozenset({*WIRED_WHEN, *FREE, *ALWAYS})
SOUND_PLANT = MEDIUM._replace(
    material_pick_up_m_s=12.0, line_loading_max=15.0, feed_limit_kg_s=0.45, vessel_demand_kg_h=700.0,
    material_particle_size_m=8e-5,
)  # fmt: skip
SOUND_PRESETS = Presets(
    supply_low_pa_g=520_000,
    drain_ms=5_000,
    recovery_ms=500,
    no_material_pa=6_800,
    fill_ms=17_000,
    proving_pa=1_500,
)


def named(found: tuple[Finding, ...], what: str) -> Finding:
    return next(finding for finding in found if finding.what == what)


def found(
    plant: dict[str, float], presets: dict[str, int], wired: frozenset[str] = ALL
) -> tuple[Finding, ...]:
    """What the check says of the sound station with these changes."""
    return judge(SOUND_PLANT._replace(**plant), SOUND_PRESETS._replace(**presets), wired)[1]
