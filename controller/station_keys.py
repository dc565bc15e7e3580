"""
How the values of the code are typed in a station's files: one key, one unit, one field each.

Presets and plant parameters are declared once, as a NamedTuple with `Annotated` limits. The keys, units,
limits and defaults of the files, and so the JSON Schemas, are made from that declaration:

- `_pa`, `_pa_g`, `_pa_v` are typed in kPa; m3 in litres, kg/s in kg/h, K in degrees C, rad in degrees;
- `_ms` stays ms, but a time that may be a minute or longer is typed in s (process, not reflex);
- metres are typed in mm where a metre is the most allowed, square metres in mm2 up to 100 cm2;
- a transmitter's Pa per 100 uA is typed as its range, the reading at 20 mA;
- a choice is typed as its word.
"""

from collections.abc import Iterable, Mapping
from fractions import Fraction
from functools import partial
from typing import Annotated, Any, Literal, NamedTuple, Protocol

from pydantic import AfterValidator, Field, create_model
from pydantic.config import JsonDict

from controller.station_file import StrictModel
from controller.strict_yaml import Loc
from controller.units import UNITS, Unit, shown, split


class Limits(Protocol):
    """What a declaration says of one value: its range in code units, why, and the words of a choice."""

    @property
    def low(self) -> float: ...
    @property
    def high(self) -> float: ...
    @property
    def why(self) -> str: ...
    @property
    def choices(self) -> tuple[str, ...]: ...


class Key(NamedTuple):
    """One value: `name` in the code, `loc` in the file; code value = typed value x times + plus."""

    name: str
    loc: Loc
    unit: str
    times: Fraction
    plus: Fraction
    kind: type
    limits: Limits
    default: float


_UNITS = {unit.suffix: unit for unit in UNITS}
_TYPED = {
    "pa": "kpa", "pa_g": "kpa_g", "pa_v": "kpa_v", "pa_per_100ua": "range_kpa", "pa_s": "kpa_s",
    "pa_s_m": "kpa_s_m", "m3": "l", "kg_s": "kg_h", "m3_s_pa": "l_s_bar", "rad": "deg",
    "temperature_k": "temperature_c",
}  # fmt: skip
_TYPED_BY_SIZE = {  # by the most allowed: below the bound the first unit, from there on the second
    "ms": (60_000, "ms", "s"),
    "m": (1.001, "mm", "m"),
    "m2": (0.0101, "mm2", "m2"),
}


def key(name: str, group: str, *, kind: type, limits: Limits, default: float, drop: str = "") -> Key:
    """How people type the value `name`; `drop` is a leading word that the group already says."""
    stem, unit = split(name)
    typed = _typed(unit, limits.high) if unit else None
    word = f"{stem}_{typed.suffix}" if typed else name
    times = typed.si / unit.si if typed and unit else Fraction(1)
    plus = Fraction("273.15") if typed and typed.suffix == "temperature_c" else Fraction(0)
    loc = (group, word.removeprefix(drop))
    return Key(name, loc, typed.name if typed else "", times, plus, kind, limits, default)


def _typed(unit: Unit, high: float) -> Unit:
    if unit.suffix in _TYPED_BY_SIZE:
        bound, small, large = _TYPED_BY_SIZE[unit.suffix]
        return _UNITS[small if high < bound else large]
    return _UNITS[_TYPED.get(unit.suffix, unit.suffix)]


def typed(item: Key, value: float) -> bool | int | float | str:
    """A value of the code as it is typed in the file."""
    if item.limits.choices:
        return item.limits.choices[round(value - item.limits.low)]
    if item.kind is bool:
        return bool(value)
    number = (Fraction(str(value)) - item.plus) / item.times
    return int(number) if number.denominator == 1 else float(shown(number))


def code_value(item: Key, given: Any) -> int | float:
    """
    A typed value as the code counts it.

    Raises:
        ValueError: the code counts in whole units and this is not one.
    """
    if item.limits.choices:
        return item.limits.low + item.limits.choices.index(given)
    if item.kind is bool:
        return bool(given)
    exact = Fraction(str(given)) * item.times + item.plus
    if item.kind is float:
        return float(exact)
    if exact.denominator != 1:
        step = shown(1 / item.times)
        msg = f"is {shown(given)}, which is {shown(exact)} to the program: only steps of {step} {item.unit}"
        raise ValueError(msg)
    return int(exact)


def typed_values(settings: StrictModel, keys: Iterable[Key]) -> dict[str, Any]:
    """What the file says, by the names of the code; a value that was left out is not in it."""
    groups = ((item, str(item.loc[-1]), getattr(settings, str(item.loc[0]))) for item in keys)
    return {
        item.name: code_value(item, getattr(group, word))
        for item, word, group in groups
        if word in group.model_fields_set
    }


def group_model(name: str, items: Iterable[Key], why: str, **more: tuple[Any, Any]) -> tuple[Any, Any]:
    """A group of keys, and more fields, as a field of the model of a file; all of it may be left out."""
    fields: dict[str, Any] = {str(item.loc[-1]): _field(item) for item in items} | more
    model = create_model(name, __base__=StrictModel, __doc__=why, **fields)
    return model, Field(default_factory=model, description=why)


def file_model(name: str, why: str, groups: Mapping[str, tuple[Any, Any]]) -> type[StrictModel]:
    """The model of a whole file, from its groups."""
    fields: dict[str, Any] = dict(groups)
    return create_model(name, __base__=StrictModel, __doc__=why, **fields)


def _field(item: Key) -> tuple[Any, Any]:
    default = typed(item, item.default)
    why = item.limits.why
    if item.limits.choices:
        return Literal[item.limits.choices], Field(default=default, description=why)
    if item.kind is bool:
        return bool, Field(default=default, description=why)
    low, high = (typed(item, limit) for limit in (item.limits.low, item.limits.high))
    unit: JsonDict = {"unit": item.unit}
    field = Field(default=default, ge=low, le=high, description=why, json_schema_extra=unit)
    if item.kind is int and item.times == 1:
        return int, field
    return Annotated[float, AfterValidator(partial(_in_whole_units, item))], field


def _in_whole_units(item: Key, given: float) -> float:
    code_value(item, given)
    return given
