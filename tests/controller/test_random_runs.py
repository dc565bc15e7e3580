"""Random people and moods from power-up: the executors agree, everything is reached, the promises hold."""

from ast import unparse
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
import stories

from controller.engines.as_written import AsWritten, Scanned, Stepper, on_rows, on_transitions
from controller.engines.claims import CLAIMS, Watched
from controller.engines.compiled import array, compiled
from controller.engines.generated import OnRecords, interpreted
from controller.engines.proof import Claim, Prover
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER

UNREACHABLE = {
    ("powered", False): Claim("true from the first scan on", then=lambda s: s.powered),
    ("fluidise_cmd_overruled", True): Claim(
        "no line calls for fluidising with the vent shut", then=lambda s: not s.fluidise_cmd_overruled
    ),
}
"""Facts that no run can see so; each is proved below."""


def both(logic: Logic) -> Stepper:
    """The rows on a machine of `transitions` and on three lines, which agree."""
    on_machine, on_lines = on_transitions(logic), on_rows(logic)

    def step(s: Any) -> int:
        to = on_machine(s)
        assert on_lines(s) == to, s.__dict__
        return to

    return step


class Observed:
    """What the scans showed: rows fired and blocked, facts both ways, claims."""

    def __init__(self, logic: Logic) -> None:
        self.logic, self.scans = logic, 0
        self.unseen = {(n, way) for n, f in logic.facts.items() if f.kind is bool for way in (True, False)}
        self.fired, self.blocked = [0] * len(logic.rows), [0] * len(logic.rows)
        self.meant, self.broken = dict.fromkeys((c.name for c in CLAIMS), 0), []
        self._rows = [[(n, r.guard.name) for n, r in enumerate(logic.rows) if k in r.steps] for k in logic.steps]

    def look(self, s: Any) -> None:
        """At one scan, laid open."""
        self.scans += 1
        self.unseen = {(name, way) for name, way in self.unseen if getattr(s, name) != way}
        for n, guard in self._rows[s.was.step]:
            fires = getattr(s, guard)
            (self.fired if fires else self.blocked)[n] += 1
            if fires:
                break
        for claim in CLAIMS:
            if claim.when is None or claim.when(s):
                self.meant[claim.name] += 1
                if not claim.then(s):
                    self.broken.append(claim.name)


@pytest.fixture(scope="module")
def observed() -> Observed:
    """
    All scans of the programme, looked at; the executors agreed on memory, outputs and acts in each.

    As written it runs with the facts of the claims beside those of the sequence, which they leave as they are.
    """
    logic, watched = Logic(RECEIVER), Logic(replace(RECEIVER, facts=Watched))
    assert {n: unparse(watched.facts[n].tree) for n in logic.facts} == {n: unparse(f.tree) for n, f in logic.facts.items()}
    assert watched.rows == logic.rows
    written, observed = AsWritten(watched, both), Observed(watched)
    answer_of = answers(logic)
    others = [
        ("generated", OnRecords(logic, interpreted(logic))),
        ("compiled", OnRecords(logic, compiled(logic), array)),
    ]
    for seed, number, director, length in stories.PROGRAMME:
        presets, story, memory = stories.SETS[number], stories.story(seed, number, director), watched.power_up()
        inputs, dt_ms = next(story)
        for n in range(length):
            if n and n % stories.POWER_CUT_EVERY == 0:
                memory = watched.power_up({name: getattr(memory, name) for name in watched.kept})
            s = written.laid(memory, inputs, presets, dt_ms)
            answer, before = answer_of(s), logic.Memory._make([getattr(memory, name) for name in logic.memory])
            for name, executor in others:
                assert executor.scan(before, inputs, presets, dt_ms) == answer, (seed, n, name, inputs)
            observed.look(s)
            memory = watched.Memory._make([getattr(s, name) for name in watched.memory])
            inputs, dt_ms = story.send(answer.outputs)
    return observed


def answers(logic: Logic) -> Callable[[Any], Scanned]:
    """Reads off a scan laid open what an executor answers."""
    records = logic.Memory, logic.definition.outputs, logic.Acts
    acts = [f"{name}_acts" for name in logic.Acts._fields]
    names = [logic.Memory._fields, logic.definition.outputs._fields, acts]
    return lambda s: Scanned(*(
        record._make([getattr(s, name) for name in some]) for record, some in zip(records, names, strict=True)
    ))  # fmt: skip


def test_the_executors_agree_in_every_scan(observed):
    """As written on `transitions`, as written on three lines, generated, compiled: asserted as they ran."""
    assert observed.scans == sum(length for *_, length in stories.PROGRAMME)


def test_every_row_fires_and_is_blocked(observed):
    rows = observed.logic.rows
    silent = [rows[n].guard.name for n, times in enumerate(observed.fired) if not times]
    always = [rows[n].guard.name for n, times in enumerate(observed.blocked) if not times]
    assert (silent, always) == ([], [])


def test_every_line_of_the_other_tables_and_every_condition_is_seen_both_ways(observed):
    """Interlock lines, outputs, overruled outputs, refusals and all other facts are facts: each on and off."""
    assert observed.unseen == set(UNREACHABLE)


def test_what_no_run_can_see_is_proved_so():
    prover = Prover(Logic(RECEIVER), search=0, trusting=True)
    assert [str(v) for v in map(prover.verdict, UNREACHABLE.values()) if not v.proved] == []


def test_each_claim_is_reached_from_power_up_and_holds(observed):
    assert not observed.broken
    assert [name for name, times in observed.meant.items() if not times] == []
