"""
The sheet of all lines: every row, interlock, output and refusal seen true and seen false, through inputs.

It reads what the benches of the whole session have run (`bench.SEEN`), so it comes last and asks for the
whole folder. What inputs cannot reach stands here by name, with the reason; should a later scenario reach
it after all, the sheet goes red until the name is taken off.
"""

from collections.abc import Iterator
from functools import cache, reduce
from operator import and_, or_

import pytest
from bench import BENCHES, SEEN

from controller.sequence.made_facts import lines_of
from controller.sequence.receiver import RECEIVER
from controller.sequence.steps import Step

LOGIC = BENCHES.works.logic
PLACES = {n: k for k, n in enumerate(BENCHES.works.names)}
ASKED = {"start": "start_wanted", "reset": "reset_edge"}  # the others are requests of the shell
WAS, IS = PLACES["was_step"], PLACES["step"]

LEAVES_FIRST = (
    "FLAP_LOST_CLOSED counts from the same scan and leaves the step in the scan in which the last word would speak; "
    "for the source shown in test_planted_mistakes with that trip disarmed"
)
STEP_BOUND = (
    "while scans come on time each step ends by its other rows; shown in test_step_bounds with those taken away, "
    "and in the random stories with late scans"
)
UNREACHED = {
    "output source_cmd line 0 overruled": LEAVES_FIRST,
    "output bypass_close_cmd line 3 overruled": LEAVES_FIRST,
    "output source_cmd line 1 overruled": "a motor on bypass is started only when rested, and it acts on no body",
    "output flap_open_cmd line 6 overruled": "a flap open in filter clean is given already, and nothing withdraws it",
    "output flap_open_cmd line 7 overruled": "a flap frozen open is given already, and nothing withdraws it",
    **dict.fromkeys(
        (f"output pulse_{n}_cmd line {11 + 3 * n} overruled" for n in (1, 2, 3)),
        "the pulse of a re-opening is called with the flap proven open only, and for its time only",
    ),
    "output fluidise_cmd line 22 overruled": "the vent is open all through drain",
    "output fluidise_cmd line 23 overruled": "by hand one output at a time: the vent is open while this one is held",
    "condition fluidise_cmd_overruled true": "the two above",
    "condition powered false": "true in every scan; what is read is that it was false before the first",
    "interlock step_too_long (STEP_TOO_LONG, step_over_bound) acted": STEP_BOUND,
    "condition step_too_long true": STEP_BOUND,
    "condition step_too_long_acts true": STEP_BOUND,
}


@cache
def seen() -> tuple[bytes, ...]:
    return tuple(SEEN)


def rows() -> Iterator[tuple[str, bool]]:
    """Of each row and step that it leaves: fired, and looked at without firing."""
    for step in Step:
        told = [t for t in seen() if t[WAS] == step]
        places = [PLACES[r.guard.name] for r in LOGIC.rows_from(step)]
        first = [next((p for p in places if t[p]), -1) for t in told]
        for row, place in zip(LOGIC.rows_from(step), places, strict=True):
            what = f"row {row.guard.name} from {step.name}"
            yield (
                f"{what} fired",
                any(f == place and t[IS] == row.to for f, t in zip(first, told, strict=True)),
            )
            yield f"{what} blocked", any(not t[place] for t in told)


def interlocks() -> Iterator[tuple[str, bool]]:
    """Of each line: acted; its cause absent; held back by its delay; held back outside its steps."""
    for line in lines_of(RECEIVER.interlocks):
        fact, cause, steps = PLACES[line.fact], PLACES[line.interlock.cause.name], line.interlock.steps
        what = f"interlock {line.fact} ({line.interlock.name}, {line.interlock.cause.name})"
        yield f"{what} acted", any(t[fact] for t in seen())
        yield f"{what} without cause", any(not t[cause] and t[WAS] in steps for t in seen())
        if line.interlock.delay:
            yield f"{what} under its delay", any(t[cause] and t[WAS] in steps and not t[fact] for t in seen())


def outputs() -> Iterator[tuple[str, bool]]:
    """Of each line: energised by its own steps, not wanted there, overruled by the last word."""
    for n, line in enumerate(RECEIVER.output_lines):
        out = PLACES[line.name]
        what = f"output {line.name} line {n}"
        here = [t for t in seen() if t[IS] in line.steps]
        when = PLACES[line.when.name] if line.when else None
        unless = PLACES[line.unless.name] if line.unless else None
        yield f"{what} energised", any(t[out] for t in here)
        yield f"{what} off elsewhere", any(not t[out] for t in seen())
        if when is not None:
            yield f"{what} not wanted", any(not t[when] and not t[out] for t in here)
        if unless is not None:
            yield (
                f"{what} overruled",
                any(t[unless] and not t[out] and (when is None or t[when]) for t in here),
            )


def refusals() -> Iterator[tuple[str, bool]]:
    """Of each line: the command given while the reason stands, and given while it does not."""
    for line in RECEIVER.refusals:
        asked, why = PLACES[ASKED.get(line.command, f"{line.command}_request")], PLACES[line.fact.name]
        what = f"refusal {line.command} {line.fact.name}"
        yield f"{what} refused", any(t[asked] and t[why] for t in seen())
        yield f"{what} not in the way", any(t[asked] and not t[why] for t in seen())


def conditions() -> Iterator[tuple[str, bool]]:
    """Of every condition of the scan: seen true, seen false."""
    told = [int.from_bytes(t, "little") for t in seen()]
    true, always = (
        reduce(both, told, first).to_bytes(len(PLACES), "little") for both, first in ((or_, 0), (and_, -1))
    )
    for name, k in PLACES.items():
        if k not in (WAS, IS):
            yield f"condition {name} true", bool(true[k])
            yield f"condition {name} false", not always[k]


SHEETS = {f.__name__: f for f in (rows, interlocks, outputs, refusals, conditions)}


@cache
def sheet_of(name: str) -> tuple[tuple[str, bool], ...]:
    return tuple(SHEETS[name]())


@pytest.mark.parametrize("sheet", SHEETS)
def test_every_line_was_seen_at_work_and_seen_held_back(request, sheet):
    """Each line of the tables both ways, but those that no input reaches and that are named with a reason."""
    here = request.path.parent
    collected = {item.path for item in request.session.items}
    if not set(here.glob("test_*.py")) <= collected:
        pytest.skip("reads what the whole folder has shown: run all of tests/scenarios")
    missing = {what for what, was_seen in sheet_of(sheet) if not was_seen}
    excused = {what for what, _ in sheet_of(sheet) if what in UNREACHED}
    assert missing - excused == set(), "never seen"
    assert excused - missing == set(), "seen after all: take it off UNREACHED"


def test_every_excuse_names_a_line_that_exists():
    lines = {what for sheet in SHEETS for what, _ in sheet_of(sheet)}
    assert set(UNREACHED) <= lines
