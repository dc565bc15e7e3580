"""
Read one YAML file of a station into a pydantic model, strictly, with every problem in its place.

The model says what is allowed (`StrictModel`: no extra keys, no conversion, frozen, finite numbers);
this module says where and in which words: `file:line:column: key: what is wrong, what is allowed, why`.
"""

from collections.abc import Iterable, Sequence
from contextlib import suppress
from copy import deepcopy
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from controller.findings import explain
from controller.problems import Problem, StationError, did_you_mean, together
from controller.strict_yaml import Loc, Parsed, dotted, parse

__all__ = ["Document", "Problem", "StationError", "StrictModel", "load", "load_most", "together"]


class StrictModel(BaseModel):
    """Base of all that is read from a station: nothing unknown, nothing converted, nothing changed later."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


M = TypeVar("M", bound=StrictModel)
_DEEPEST = 4
"""Groups in groups, in any file of a station."""


class Document(NamedTuple, Generic[M]):
    """A file that was read: its values, and where each stands, for checks that come later."""

    file: str
    value: M
    parsed: Parsed

    def problem(self, loc: Loc, text: str) -> Problem:
        """A problem with the value at `loc`; one that is left out counts where its group stands."""
        places = {**self.parsed.keys, **self.parsed.values}
        near = next(loc[:n] for n in range(len(loc), -1, -1) if loc[:n] in places)
        return Problem(self.file, *places[near], dotted(loc), text)


def load(path: Path, model: type[M]) -> Document[M]:
    """
    The file as a `model`.

    Raises:
        StationError: the file can't be read, or anything in it is wrong; every problem, in file order.
    """
    document, problems = load_most(path, model)
    if problems or document is None:
        raise StationError(problems)
    return document


def load_most(
    path: Path, model: type[M], rest: type[M] | None = None
) -> tuple[Document[M] | None, list[Problem]]:
    """
    The file without what is wrong in it, and every problem, in file order; None where too little is left.

    So that checks that come later tell what they find in the rest at the same time. `rest`: the model that
    this rest is to satisfy, which may ask for less.

    Raises:
        StationError: The file can't be read.
    """
    file = _name(path)
    parsed = parse(file, _text(path, file))
    problems = list(parsed.problems)
    value = None
    if parsed.data is not None:
        try:
            value = model.model_validate(parsed.data)
        except ValidationError as error:
            told = {problem[1:3] for problem in problems}  # not a second time in other words
            errors = error.errors(include_url=False)
            found = (explain(file, parsed, model, item) for item in errors)
            problems += [problem for problem in found if problem[1:3] not in told]
            value = _rest(rest or model, parsed.data, errors)
    problems.sort(key=lambda problem: problem[1:3])
    return Document(file, value, parsed) if value is not None else None, problems


def _rest(model: type[M], data: Any, errors: Sequence[Any]) -> M | None:
    """What the model makes of the data without what is wrong; a group goes with a key that it must have."""
    for _ in range(_DEEPEST):
        locs = [item["loc"][:-1] if item["type"] == "missing" else item["loc"] for item in errors]
        data = _without(data, locs)
        try:
            return model.model_validate(data)
        except ValidationError as error:
            errors = error.errors(include_url=False)
    return None


def _without(data: Any, locs: Iterable[Loc]) -> Any:
    """A copy in which the keys of these places are left out; of a list, the whole of it."""
    rest = deepcopy(data)
    for loc in locs:
        while loc and isinstance(loc[-1], int):
            loc = loc[:-1]
        node = rest
        with suppress(KeyError, IndexError, TypeError):  # it went with another
            for part in loc[:-1]:
                node = node[part]
            del node[loc[-1]]
    return rest


def _name(path: Path) -> str:
    """The path as the reader of a message would type it."""
    here = Path.cwd()
    return str(path.relative_to(here) if path.is_absolute() and path.is_relative_to(here) else path)


def _text(path: Path, file: str) -> str:
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        said = "no such file" + did_you_mean(path.name, _beside(path))
    except IsADirectoryError:
        said = "is a folder, not a file"
    except OSError as error:
        said = f"cannot be opened: {error.strerror}"
    else:
        try:
            return raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            before = error.object[: error.start]
            line, column = before.count(b"\n") + 1, error.start - before.rfind(b"\n")
            text = f"byte {raw[error.start]:#04x} is not UTF-8: save the file as UTF-8"
            raise StationError([Problem(file, line, column, "", text)]) from None
    raise StationError([Problem(file, 0, 0, "", said)])


def _beside(path: Path) -> list[str]:
    """Files that the name may stand for: those whose names are near without the ending, that all share."""
    if not path.parent.is_dir():
        return []
    return [other.name for other in path.parent.iterdir() if did_you_mean(path.stem, [other.stem])]
