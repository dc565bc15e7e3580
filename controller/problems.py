"""What is wrong with a station's files: each problem with its place, all of them in one error."""

from collections.abc import Callable, Iterable
from difflib import get_close_matches
from typing import NamedTuple, TypeVar

A = TypeVar("A")
B = TypeVar("B")


class Problem(NamedTuple):
    """One mistake in one file. Lines and columns count from 1; line 0 means the file as a whole."""

    file: str
    line: int
    column: int
    key: str
    text: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        return ": ".join(part for part in (place, self.key, self.text) if part)


class StationError(Exception):
    """The files of a station cannot be used; `problems` holds every reason, in the order of the files."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = list(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def together(first: Callable[[], A], second: Callable[[], B]) -> tuple[A, B]:
    """
    Both results, or one `StationError` with the problems of both.

    Loading one file must not hide what is wrong with the next.
    """
    try:
        one = first()
    except StationError as error:
        try:
            second()
        except StationError as more:
            raise StationError([*error.problems, *more.problems]) from None
        raise
    return one, second()


def did_you_mean(word: str, known: Iterable[str], most: int = 1) -> str:
    """
    The nearest known words, `most` at the most, as the tail of a sentence, or nothing.

    >>> did_you_mean("trp", ["trip", "wait"])
    " - did you mean 'trip'?"
    """
    near = get_close_matches(word, list(known), n=most, cutoff=0.6)
    return f" - did you mean {' or '.join(map(repr, near))}?" if near else ""


def install_with(extra: str) -> str:
    """The command that installs an extra, in the versions that the tests were run with."""
    return f".venv/bin/python -m pip install -c constraints.txt -e '.[{extra}]'"
