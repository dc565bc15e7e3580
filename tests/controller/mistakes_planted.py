"""How a mistake is planted in the definition of the receiver."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, NamedTuple

from controller.engines.claims import Watched
from controller.sequence.definition import Definition, fact
from controller.sequence.receiver import RECEIVER


class Mistake(NamedTuple):
    """What was done wrong, how, and which claims must see it."""

    what: str
    definition: Definition
    seen_by: tuple[str, ...]


def rules(**changed: fact[Any]) -> Definition:
    """The receiver with other rules for some facts."""
    return replace(RECEIVER, facts=type("Mistaken", (Watched,), changed))


def rows(change: Callable[[Any], Any]) -> Definition:
    """The receiver with each row changed, or dropped where None is answered."""
    changed = tuple(r for r in map(change, RECEIVER.rows) if r is not None)
    return replace(RECEIVER, facts=Watched, rows=changed)


def without_row(guard: str) -> Definition:
    """The receiver without the rows of a guard."""
    return rows(lambda r: None if r.guard.name == guard else r)


def interlocks(change: Callable[[Any], Any]) -> Definition:
    """The receiver with each interlock line changed, or dropped where None is answered."""
    changed = tuple(i for i in map(change, RECEIVER.interlocks) if i is not None)
    return replace(RECEIVER, facts=Watched, interlocks=changed)


def outputs(change: Callable[[Any], Any]) -> Definition:
    """The receiver with each output line changed."""
    return replace(RECEIVER, facts=Watched, output_lines=tuple(map(change, RECEIVER.output_lines)))


def output(name: str, **changed: Any) -> Definition:
    """The receiver with the lines of one output changed."""
    return outputs(lambda o: o._replace(**changed) if o.name == name else o)


def without_refusal(cause: str) -> Definition:
    """The receiver without a reason to refuse."""
    kept = tuple(r for r in RECEIVER.refusals if r.fact.name != cause)
    return replace(RECEIVER, facts=Watched, refusals=kept)
