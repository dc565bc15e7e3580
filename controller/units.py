"""
The units that people type, read from the end of a key, and what one of each is in SI.

The code counts in whole Pa and ms, or in SI; a station file is typed in kPa, ms or s, litres, kg/h, mm.
A unit stands in every key, so that no number is without one and a wrong one is seen.
"""

import math
from fractions import Fraction
from typing import NamedTuple


class Unit(NamedTuple):
    """One unit: the end of the key, its name on paper, what it measures, and its size in SI."""

    suffix: str
    name: str
    measures: str
    si: Fraction


def _unit(suffix: str, name: str, measures: str, si: str) -> Unit:
    return Unit(suffix, name, measures, Fraction(si))


UNITS = (
    _unit("pa", "Pa", "pressure", "1"),
    _unit("kpa", "kPa", "pressure", "1000"),
    _unit("mbar", "mbar", "pressure", "100"),
    _unit("bar", "bar", "pressure", "100000"),
    _unit("pa_g", "Pa gauge", "gauge pressure", "1"),
    _unit("kpa_g", "kPa gauge", "gauge pressure", "1000"),
    _unit("bar_g", "bar gauge", "gauge pressure", "100000"),
    _unit("pa_v", "Pa vacuum", "vacuum", "1"),
    _unit("kpa_v", "kPa vacuum", "vacuum", "1000"),
    _unit("mbar_v", "mbar vacuum", "vacuum", "100"),
    _unit("pa_per_100ua", "Pa per 100 uA", "span", "1"),
    _unit("range_kpa", "kPa", "span", "25/4"),  # 4 to 20 mA are 160 times 100 uA
    _unit("range_bar", "bar", "span", "625"),
    _unit("ms", "ms", "time", "1/1000"),
    _unit("s", "s", "time", "1"),
    _unit("min", "min", "time", "60"),
    _unit("h", "h", "time", "3600"),
    _unit("m", "m", "length", "1"),
    _unit("mm", "mm", "length", "1/1000"),
    _unit("m2", "m2", "area", "1"),
    _unit("mm2", "mm2", "area", "1/1000000"),
    _unit("m3", "m3", "volume", "1"),
    _unit("l", "l", "volume", "1/1000"),
    _unit("m3_s", "m3/s", "volume flow", "1"),
    _unit("m3_h", "m3/h", "volume flow", "1/3600"),
    _unit("l_min", "l/min", "volume flow", "1/60000"),
    _unit("kg", "kg", "mass", "1"),
    _unit("g", "g", "mass", "1/1000"),
    _unit("kg_s", "kg/s", "mass flow", "1"),
    _unit("kg_h", "kg/h", "mass flow", "1/3600"),
    _unit("t_h", "t/h", "mass flow", "5/18"),
    _unit("kg_m3", "kg/m3", "density", "1"),
    _unit("m_s", "m/s", "velocity", "1"),
    _unit("pa_s", "Pa/s", "ramp", "1"),
    _unit("kpa_s", "kPa/s", "ramp", "1000"),
    _unit("pa_s_m", "Pa s/m", "drag", "1"),
    _unit("kpa_s_m", "kPa s/m", "drag", "1000"),
    _unit("1_s", "1/s", "cake resistance", "1"),
    _unit("m3_s_pa", "m3/(s Pa)", "conductance", "1"),
    _unit("l_s_bar", "l/(s bar)", "conductance", "1e-8"),
    _unit("n", "N", "force", "1"),
    _unit("ua", "uA", "current", "1"),
    _unit("rad", "rad", "angle", "1"),
    Unit("deg", "degrees", "angle", Fraction(math.pi) / 180),
    _unit("temperature_k", "K", "temperature", "1"),
    _unit("temperature_c", "degrees C", "temperature in C", "1"),
    _unit("percent", "%", "share", "1/100"),
)  # fmt: skip
"""Sizes: SI Brochure, 9th edition, tables 2, 4 and 8 (bar, litre, minute, hour, tonne)."""

_BY_SUFFIX = {unit.suffix: unit for unit in UNITS}


def split(key: str) -> tuple[str, Unit | None]:
    """
    The stem of a key and the unit at its end; the longest end that is a unit counts.

    >>> stem, unit = split("supply_low_kpa_g")
    >>> stem, unit.name
    ('supply_low', 'kPa gauge')
    >>> split("clean_every")
    ('clean_every', None)
    """
    words = key.split("_")
    for start in range(1, len(words)):
        unit = _BY_SUFFIX.get("_".join(words[start:]))
        if unit:
            return "_".join(words[:start]), unit
    return key, None


def converted(value: float, unit: Unit, to: Unit) -> str | None:
    """
    The value in another unit, as it would be typed; None where the two measure different things.

    >>> converted(35_000, split("x_pa")[1], split("x_kpa")[1])
    '35'
    """
    if unit.measures != to.measures:
        return None
    return shown(Fraction(str(value)) * unit.si / to.si)


def shown(value: Fraction | float) -> str:
    """
    A number as it is typed in a file: no exponent, no trailing zeros.

    >>> shown(0.25), shown(3.0), shown(Fraction(1, 3))
    ('0.25', '3', '0.333333')
    """
    text = f"{float(value):.6f}".rstrip("0").rstrip(".")
    return text if text not in ("0", "-0") or not value else repr(float(value))
