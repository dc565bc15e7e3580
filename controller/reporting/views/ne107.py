"""
The health of each signal and of the whole receiver, modelled on NAMUR NE 107.

The recommendation's text was not read; the five states and their numbers are those of the public OPC UA
companion model for devices (OPC 10000-100), the letters and their order F, C, S, M are from memory. It says
whether the device can be relied on, not whether somebody has to run: it is no list of alarms.
"""

from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import NamedTuple

from controller.reporting.station_now import Reading, StationNow


class Health(StrEnum):
    """The letters, the gravest last."""

    NORMAL = "N"
    MAINTENANCE_REQUIRED = "M"  # works, will not for long
    OUT_OF_SPECIFICATION = "S"  # works outside what it is made or set for
    CHECK_FUNCTION = "C"  # what it says is not the process: forced, simulated, worked on
    FAILURE = "F"

    @property
    def gravity(self) -> int:
        """The higher comes first."""
        return list(Health).index(self)

    @property
    def number(self) -> int:
        """In the enumeration of OPC 10000-100."""
        return "NFCSM".index(self)

    @property
    def words(self) -> str:
        """The name in words."""
        return self.name.lower().replace("_", " ")


FAILS = (
    "IO_LOST", "SCAN_OVERRUN", "OUTPUT_OVERRIDDEN", "STEP_TOO_LONG", "SIGNAL_BAD", "SOURCE_NOT_RUNNING",
    "SOURCE_OVERLOAD", "SOURCE_RUNS_UNCOMMANDED", "FLAP_NOT_CLOSED", "FLAP_LOST_CLOSED", "FLAP_NOT_OPEN",
    "FLAP_LOST_OPEN", "FLAP_DISAGREES", "FLAP_MOVED", "LEVEL_DISAGREES", "SHORT_CYCLE", "NO_VACUUM",
    "VACUUM_NOT_RELEASED",
)  # fmt: skip
"""A part or a signal of the receiver does not do what it is there for."""

OUTSIDE = (
    "FLAP_SLOW", "SUPPLY_AIR_LOST", "SUPPLY_AIR_LOW", "SUPPLY_WEAK", "VACUUM_TOO_HIGH", "VACUUM_IN_IDLE",
    "FILTER_DP_HIGH", "FILTER_DP_LOW", "PULSE_TANK_WEAK",
)  # fmt: skip
"""It works outside the range it is set for."""

WEARS = ("LEVEL_CHATTERS", "FILL_TIME_OVER", "CLEANING_WEAK")
"""It works, and wants work soon; so do the counters over their limit."""

OF_OTHERS = (
    "SAFETY_CHAIN_OPEN", "SOURCE_NOT_READY", "LEVEL_HIGH", "LEVEL_NEVER_CLEARS", "LEVEL_NOT_SEEN",
    "BATCH_HELD", "RECEIVER_OVERFULL", "FILL_TOO_FAST", "LINE_BLOCKED", "NO_MATERIAL",
)  # fmt: skip
"""Of the process or of people: the device is well."""

_OF = {
    **dict.fromkeys(FAILS, Health.FAILURE),
    **dict.fromkeys(OUTSIDE, Health.OUT_OF_SPECIFICATION),
    **dict.fromkeys(WEARS, Health.MAINTENANCE_REQUIRED),
}
_SIGNALS = {
    "failed": Health.FAILURE,
    "old": Health.FAILURE,
    "unknown": Health.FAILURE,
    "doubtful": Health.OUT_OF_SPECIFICATION,
    "good": Health.NORMAL,
}


class DeviceStatus(NamedTuple):
    """The gravest of what is found, and all that is as grave."""

    health: Health
    because: tuple[str, ...]


def signal_health(reading: Reading, *, simulated: bool) -> Health:
    """
    Of one point.

    >>> frozen = Reading("PT-101", "vacuum_ua", "body vacuum", "4-20 mA", "failed", 0, None, "kPa vacuum")
    >>> signal_health(frozen, simulated=True), signal_health(frozen._replace(signal="good"), simulated=True)
    (<Health.FAILURE: 'F'>, <Health.CHECK_FUNCTION: 'C'>)
    """
    own = _SIGNALS[reading.signal]
    return _gravest([own, Health.CHECK_FUNCTION] if simulated or reading.forced else [own])


def device_status(now: StationNow, readings: Sequence[Reading], *, simulated: bool) -> DeviceStatus:
    """Of the whole receiver, from its signals, what acts, what is forced and what is worn."""
    found = [(signal_health(reading, simulated=False), reading.tag) for reading in readings]
    found += [(Health.CHECK_FUNCTION, name) for name in (*now.forced, *now.failures)]
    if now.manual:
        found.append((Health.CHECK_FUNCTION, "manual mode"))
    if simulated:
        found.append((Health.CHECK_FUNCTION, "simulated"))
    acts = dict.fromkeys((*now.acting, *([now.told] if now.state == "FAULT" and now.told else [])))
    found += [(_OF.get(name, Health.NORMAL), name) for name in acts]
    found += [(Health.MAINTENANCE_REQUIRED, name) for name in now.due]
    gravest = _gravest(health for health, _ in found)
    if gravest is Health.NORMAL:
        return DeviceStatus(gravest, ())
    return DeviceStatus(gravest, tuple(dict.fromkeys(name for health, name in found if health is gravest)))


def _gravest(found: Iterable[Health]) -> Health:
    return max(found, key=lambda health: health.gravity, default=Health.NORMAL)
