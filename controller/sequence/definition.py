"""
What the logic is written in: the facts of one scan, memory, and the lines of four tables.

A **fact** is one expression over `s.now` (inputs), `s.set` (presets), `s.was` (memory of the scan before),
`s.dt_ms` and other facts `s.name`. What can be read through `s.was` is **memory**; there is no other.
Rules are plain Python and run as they stand; `controller.sequence.expressions` says which Python.

    class Facts(Scan[Inputs, Presets]):
        step = fact[int]()  # forward: its rule comes from the rows, or from a class further down

        @memory(first=False)
        def run(s) -> bool:
            "The run latch."
            return (s.was.run or s.start_edge) and not s.trip

        travel_over = fact(lambda s: s.in_step_ms >= s.set.travel_ms)
        flap_lost = on_delay(lambda s: not s.flap_closed, by="flap_lost_ms")
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Any, Generic, NamedTuple, Self, TypeVar, overload

T = TypeVar("T")
InputsT = TypeVar("InputsT")
PresetsT = TypeVar("PresetsT")

DAY_MS = 86_400_000
"""Where every clock of the logic stops counting, so that it fits in 32 bits for ever."""

EFFECTS = ("trip", "hold", "wait", "end_batch", "warn")
"""What an interlock may do. Each is a fact: true while an interlock with this effect acts."""


def percent(a: int, p: int) -> int:
    """
    `p` percent of `a`, rounded down; what is negative counts as zero.

    >>> percent(1_999, 50), percent(-5, 50), percent(200, 150)
    (999, 0, 300)
    """
    return max(a, 0) * max(p, 0) // 100


class Scan(Generic[InputsT, PresetsT]):
    """`s.now` the inputs, `s.set` the presets, `s.was` the memory, `s.dt_ms` since that scan [ms]."""

    def __init__(self, was: Any, now: InputsT, preset: PresetsT, dt_ms: int) -> None:
        self.was: Self = was  # only what is memory is there
        self.now, self.set, self.dt_ms = now, preset, dt_ms


class Named:
    """Whatever a line of a table can point at."""

    name: str


class fact(Named, Generic[T]):  # noqa: N801, reads as a word of the language
    """A named value of one scan, worked out once, when first asked for."""

    def __init__(
        self,
        rule: Callable[[Any], T] | None = None,
        first: T | None = None,
        kept: bool = False,
        delay: str | None = None,
    ) -> None:
        self.rule = rule  # None: declared here, ruled by a table or further down
        self.first = first  # None: it is not remembered
        self.kept = kept
        self.delay = delay  # the rule is the cause; true once that has stood for so long

    def __set_name__(self, owner: type, name: str) -> None:
        self.name = name

    @overload
    def __get__(self, s: None, owner: type) -> "fact[T]": ...
    @overload
    def __get__(self, s: object, owner: type) -> T: ...
    def __get__(self, s: object | None, owner: type) -> "fact[T] | T":
        if s is None:
            return self
        assert self.rule is not None, f"{self.name} has no rule of its own: use an engine"
        assert self.delay is None, f"{self.name} is a delay: use an engine"
        value: T = self.rule(s)
        s.__dict__[self.name] = value
        return value


def memory(first: T, kept: bool = False) -> Callable[[Callable[[Any], T]], fact[T]]:
    """
    A fact that the next scan can read as `s.was.name`.

    Args:
        first: What it was before the first scan after power-up.
        kept: It survives power loss; `first` then counts only where nothing was ever stored.
    """
    return lambda rule: fact(rule, first, kept)


@overload
def on_delay(cause: str) -> Callable[[Callable[[Any], bool]], fact[bool]]: ...
@overload
def on_delay(cause: Callable[[Any], bool], by: str) -> fact[bool]: ...
def on_delay(
    cause: str | Callable[[Any], bool], by: str = ""
) -> fact[bool] | Callable[[Callable[[Any], bool]], fact[bool]]:
    """
    True once its cause has stood for a time: TON of IEC 61131-3. As decorator `@on_delay("preset_ms")`.

    The time is a preset, or a fact if it reads "s.name_ms"; 0 or less means at once. It is counted from
    the scan that first saw the cause. Makes the memories `<name>_seen` and `<name>_held_ms`.
    """
    if isinstance(cause, str):
        return lambda rule: fact(rule, delay=cause)
    return fact(cause, delay=by)


class Row(NamedTuple):
    """From any of `steps`, when `guard` is true, go `to`. Earlier rows win; one row a scan."""

    steps: tuple[int, ...]
    guard: Named
    to: int


class Interlock(NamedTuple):
    """
    `cause`, while the machine is in one of `steps`, has `effect`: at once, or when it stood for `delay`.

    Several lines may share a name. `delay` is a preset, or a fact if it reads "s.name_ms". `effect` is one
    of EFFECTS, or the name of a preset that is an index into `allowed`.
    """

    name: str
    cause: Named
    steps: tuple[int, ...]
    delay: str | None
    effect: str
    allowed: tuple[str, ...] = ()


class Output(NamedTuple):
    """
    Energised in `steps` while `when`, never while `unless`: the last word, over every line's own `when`.

    Several lines may share a name: any of them energises. `remembered`: readable as `s.was.<name>`.
    """

    name: str
    steps: tuple[int, ...]
    when: Named | None = None
    unless: Named | None = None
    remembered: bool = False


class Refusal(NamedTuple):
    """`command` is refused while `fact` is true, and `reason` says why to the one who asked."""

    command: str
    fact: Named
    reason: str


@dataclass(frozen=True)
class Definition:
    """One machine, whole: what every engine runs, proves, draws and lists."""

    step: type[IntEnum]  # from 0; the first is the step at power-up
    states: Mapping[str, tuple[int, ...]]  # each step in exactly one
    fault: int  # the step that keeps the first-out
    inputs: type[Any]  # NamedTuples of bool and int
    outputs: type[Any]  # of bool
    presets: type[Any]
    limits: Mapping[str, tuple[int, int]]  # of every preset: low, high
    facts: type[Scan[Any, Any]]
    interlocks: tuple[Interlock, ...]
    rows: tuple[Row, ...]
    output_lines: tuple[Output, ...]
    refusals: tuple[Refusal, ...] = ()
    ranges: Mapping[str, tuple[int, int]] = field(default_factory=dict)  # of whole-number inputs: low, high
