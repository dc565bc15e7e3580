"""Which parts a station has: a failure of a part that is not there cannot be tried on it."""

from collections.abc import Container, Iterable

from controller.sequence.presets import Presets, limits
from controller.settings import keys
from controller.simulate.failures_asked import Asked, read
from controller.station_keys import typed
from controller.strict_yaml import dotted
from io_sim.failures import CATALOGUE, FailureMode, Needs, slot

# fmt: off
PARTS: dict[Needs, str] = {
    ("flap_kind", "driven"):                     "flap with a valve",
    ("purge_cmd", "wired"):                      "purge valve",
    ("vent_close_cmd", "wired"):                 "vent",
    ("fluidise_on_ms", ">0"):                    "fluidising air",
    ("source_kind", "ejector"):                  "ejector",
    ("source_kind", "motor"):                    "motor",
    ("bypass_fitted", "yes"):                    "bypass",
    ("vacuum_by", "transmitter", "switch"):      "instrument of the vacuum",
    ("vacuum_by", "transmitter"):                "vacuum transmitter",
    ("vacuum_by", "switch"):                     "vacuum switch",
    ("supply_by", "transmitter", "both"):        "transmitter of the supply air",
    ("supply_by", "switch", "both"):             "switch of the supply air",
    ("dp_fitted", "yes"):                        "transmitter of the filter's pressure drop",
    ("flap_feedback", "both", "closed_only"):    "closed switch of the flap",
    ("flap_feedback", "both", "open_only"):      "open switch of the flap",
    ("level_low_fitted", "yes"):                 "low level probe",
    ("receiver_full_fitted", "yes"):             "probe that tells a full receiver",
    ("run_feedback_fitted", "yes"):              "run contact",
    ("overload_fitted", "yes"):                  "overload contact",
    ("feed_low_fitted", "yes"):                  "switch of the feed hopper",
}
"""What each need of the catalogue is called."""
# fmt: on


def read_for(text: str, station: str, presets: Presets, wired: Container[str]) -> Asked:
    """
    What was typed after --fail, for a station.

    Raises:
        ValueError: It cannot be read, or is of a part that the station has not; says what there is.
    """
    asked = read(text, [mode for mode in CATALOGUE if has_part(mode, presets, wired)])
    try:
        can_fail(asked.mode, station, presets, wired)
    except ValueError as no:
        msg = f"--fail {no}"
        raise ValueError(msg) from None
    return asked


def can_fail(
    name: str, station: str, presets: Presets, wired: Container[str], beside: Iterable[str] = ()
) -> None:
    """Raises ValueError where there is no such failure mode, or the station has not the part; see `slot`."""
    mode = CATALOGUE[slot(name, beside)]
    if not has_part(mode, presets, wired):
        msg = f"{name}: {station} has {lack(mode, presets)}"
        raise ValueError(msg)


def has_part(mode: FailureMode, presets: Presets, wired: Container[str]) -> bool:
    """Whether a station has the part: its presets, or its `wired` points, are what the mode needs."""
    if not mode.needs:
        return True
    name, *values = mode.needs
    if values == ["wired"]:
        return name in wired
    value = getattr(presets, name)
    if values in ([">0"], ["yes"]):
        return bool(value > 0)
    return limits()[name].choices[value] in values


def lack(mode: FailureMode, presets: Presets) -> str:
    """
    The part that a station without it has not, and where one sees that.

    >>> from io_sim.failures import CATALOGUE
    >>> lack(next(mode for mode in CATALOGUE if mode.id == "motor_overload"), Presets())
    'no motor (source.source_kind is ejector)'
    """
    name, *values = mode.needs
    wanting = chosen(name, presets).replace(":", " is") if values != ["wired"] else f"{name} is not wired"
    return f"no {PARTS[mode.needs]} ({wanting})"


def chosen(name: str, presets: Presets) -> str:
    """
    A preset as the station file says it.

    >>> chosen("dp_fitted", Presets())
    'filter_clean.dp_fitted: false'
    """
    item = next(item for item in keys() if item.name == name)
    value = typed(item, getattr(presets, name))
    return f"{dotted(item.loc)}: {str(value).lower()}"
