"""What pydantic finds, in the words of a station file: what is wrong, what is allowed, the likely slip."""

from difflib import get_close_matches
from typing import Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from controller.problems import Problem, did_you_mean
from controller.strict_yaml import Loc, Parsed, dotted
from controller.units import Unit, converted, shown, split


def explain(file: str, parsed: Parsed, model: type[BaseModel], error: ErrorDetails) -> Problem:
    """One finding of pydantic in the words of a station file."""
    loc = error["loc"]
    kind = error["type"]
    if kind == "extra_forbidden":
        return Problem(file, *parsed.keys[loc], dotted(loc), _unknown(model, loc, error["input"]))
    if kind == "missing":
        place = parsed.keys.get(loc[:-1]) or parsed.values[()]
        return Problem(file, *place, dotted(loc), f"is missing: {_field(model, loc).description}")
    field = _field(model, loc)
    given = error["input"]
    text = f"is {_quoted(given)}, allowed {_allowed(field)}"
    if kind == "value_error":
        text = error["msg"].removeprefix("Value error, ")
    elif given is None:
        text = f"has no value, allowed {_allowed(field)}"
    elif kind in ("too_short", "too_long") and isinstance(given, list):
        text = f"has {len(given)} of them, allowed {_allowed(field)}"
    elif kind == "literal_error" and len(get_args(field.annotation)) > 1:
        text += did_you_mean(str(given), map(str, get_args(field.annotation)))
    elif kind in ("greater_than_equal", "less_than_equal", "literal_error", "string_pattern_mismatch"):
        text += f" ({field.description})"
    else:
        text += _slip(given, field, loc in parsed.quoted)
    return Problem(file, *parsed.values[loc], dotted(loc), text)


def _slip(given: object, field: FieldInfo, quoted: bool) -> str:
    """The likely slip of the hand behind a value of the wrong kind."""
    wants_text = field.annotation is str
    if isinstance(given, str) and not wants_text:
        if quoted and field.annotation in (int, float, bool):
            return ": leave the quotes away"
        number = given.strip().split(" ")[0]
        if number.replace(",", "", 1).isdigit() and "," in number:
            return ": write a decimal point"
        if number.replace(".", "", 1).isdigit():
            return ": the number alone, its unit stands in the key"
    if wants_text and isinstance(given, int | float):
        return f': quote it, "{_quoted(given)}"'
    if field.annotation is int and isinstance(given, float) and given.is_integer():
        return ": without a decimal point"
    return ""


def _unknown(model: type[BaseModel], loc: Loc, given: object) -> str:
    """Why a key is not known here: wrong unit, wrong group, or a slip of the hand."""
    word = str(loc[-1])
    group = _model_at(model, loc[:-1])
    here = [(loc[:-1], key) for key in group.model_fields]
    everywhere = _keys(model, ())
    homes = [dotted(where) or "the left margin" for where, key in everywhere if key == word]
    twin = _in_another_unit(word, here) or (None if homes else _in_another_unit(word, everywhere))
    if twin:
        return _retyped(word, given, dotted(twin if twin[:-1] != loc[:-1] else twin[-1:]))
    if homes:
        return f"does not belong here: put it under {' or '.join(homes)}"
    near = did_you_mean(word, group.model_fields)
    elsewhere = {key: dotted((*where, key)) for where, key in everywhere}
    cousins = get_close_matches(word, elsewhere, n=1, cutoff=0.8)
    if cousins and not near:
        near = f" - did you mean '{elsewhere[cousins[0]]}'?"
    known = ", ".join(group.model_fields)
    return f"is not a key of this file{near or (f', allowed here: {known}' if len(known) < 200 else '')}"


def _retyped(word: str, given: object, key: str) -> str:
    """The key to type instead, with the value in its unit where it can be worked out."""
    unit, other = split(word)[1], split(key)[1]
    assert unit
    assert other
    number = isinstance(given, int | float) and not isinstance(given, bool) and abs(given) < 1e15
    value = converted(given, unit, other) if number else None  # type: ignore[arg-type]
    return f"is typed in {other.name}: {key}" + (f": {value}" if value else "")


def _in_another_unit(word: str, known: list[tuple[Loc, str]]) -> Loc | None:
    """The place of the same name with another unit; one that measures the same comes first."""
    stem, unit = split(word)
    twins = [((*where, key), split(key)[1]) for where, key in known if split(key)[0] == stem and unit]
    near = [(_distance(unit, other), i) for i, (_, other) in enumerate(twins) if unit and other]
    return twins[min(near)[1]][0] if near else None


def _distance(one: Unit, other: Unit) -> int:
    pressures = ("pressure", "gauge pressure", "vacuum")
    alike = one.measures in pressures and other.measures in pressures
    return 0 if one.measures == other.measures else 1 if alike else 2


def _keys(model: type[BaseModel], loc: Loc) -> list[tuple[Loc, str]]:
    """Every key of a model and of the groups in it, with the group it stands under."""
    found = []
    for key, field in model.model_fields.items():
        found.append((loc, key))
        if isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel):
            found += _keys(field.annotation, (*loc, key))
    return found


def _model_at(model: type[BaseModel], loc: Loc) -> type[BaseModel]:
    """The model of a group; of an item of a list of groups that of all its items."""
    for part in loc:
        if isinstance(part, int):
            continue
        inner = model.model_fields[part].annotation
        if get_origin(inner) is list:
            inner = get_args(inner)[0]
        assert isinstance(inner, type)
        assert issubclass(inner, BaseModel)
        model = inner
    return model


def _field(model: type[BaseModel], loc: Loc) -> FieldInfo:
    """The field that a place belongs to; an item of a list belongs to the field that holds the list."""
    words = [part for part in loc if isinstance(part, str)]
    return _model_at(model, tuple(words[:-1])).model_fields[words[-1]]


def _allowed(field: FieldInfo) -> str:
    """What a field takes, in words, with its unit."""
    kind = field.annotation
    if type(None) in get_args(kind):  # may be left out
        kind = next(one for one in get_args(kind) if one is not type(None))
    if get_origin(kind) is Literal:
        return " or ".join(_quoted(choice).strip("'") for choice in get_args(kind))
    if kind is bool:
        return "true or false"
    if kind in (int, float):
        low, high = (_bound(field, name) for name in ("ge", "le"))
        extra = field.json_schema_extra
        unit = extra.get("unit", "") if isinstance(extra, dict) else ""
        whole = "whole numbers" if kind is int else "numbers"
        return f"{whole} {low} to {high} {unit}".rstrip() if low and high else f"{whole} {unit}".rstrip()
    if kind is str:
        longest = _bound(field, "max_length")
        return f"1 to {longest} characters" if longest else "text"
    if get_origin(kind) is list:
        return f"a list: {field.description}"
    return "keys and values, indented under it"


def _bound(field: FieldInfo, name: str) -> str:
    return next((shown(getattr(limit, name)) for limit in field.metadata if hasattr(limit, name)), "")


def _quoted(given: object) -> str:
    if isinstance(given, bool):
        return "true" if given else "false"
    if isinstance(given, int | float):
        return shown(given) if abs(given) < 1e15 else str(given)
    return (
        repr(given)[:60]
        if isinstance(given, str)
        else "a list"
        if isinstance(given, list)
        else "a group of keys"
    )
