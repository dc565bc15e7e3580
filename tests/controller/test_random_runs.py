"""Random people and moods from power-up: the executors agree, everything is reached, the promises hold."""

from dataclasses import replace
from typing import NamedTuple

import pytest
import stories

from controller.engines.as_written import AsWritten, on_rows, on_transitions
from controller.engines.claims import CLAIMS, Watched
from controller.engines.compiled import array, compiled
from controller.engines.generated import OnRecords, interpreted
from controller.engines.proof import Claim, Prover
from controller.image import Inputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER

UNREACHABLE = {
    ("powered", False): Claim("true from the first scan on", then=lambda s: s.powered),
    ("fluidise_cmd_overruled", True): Claim(
        "no line calls for fluidising with the vent shut", then=lambda s: not s.fluidise_cmd_overruled
    ),
}
"""Facts that no run can see so; each is proved below."""


class Told(NamedTuple):
    """One scan of a story, as every executor ran it."""

    fresh: bool  # power came before it
    goes_on: bool  # after a cut within the story: what is kept was kept
    presets: Presets
    inputs: Inputs
    dt_ms: int


@pytest.fixture(scope="module")
def told():
    """All scans of the programme; the executors agreed on memory, outputs and acts in each."""
    logic = Logic(RECEIVER)
    first, *others = [
        ("transitions", AsWritten(logic, on_transitions)),
        ("rows", AsWritten(logic, on_rows)),
        ("generated", OnRecords(logic, interpreted(logic))),
        ("compiled", OnRecords(logic, compiled(logic), array)),
    ]
    scans: list[Told] = []
    for seed, number, director, length in stories.PROGRAMME:
        presets, story, memory = stories.SETS[number], stories.story(seed, number, director), logic.power_up()
        inputs, dt_ms = next(story)
        for n in range(length):
            cut = n % stories.POWER_CUT_EVERY == 0
            if cut and n:
                memory = logic.power_up({name: getattr(memory, name) for name in logic.kept})
            answer = first[1].scan(memory, inputs, presets, dt_ms)
            for name, executor in others:
                assert executor.scan(memory, inputs, presets, dt_ms) == answer, (seed, n, name, inputs)
            scans.append(Told(cut, cut and n > 0, presets, inputs, dt_ms))
            memory = answer.memory
            inputs, dt_ms = story.send(answer.outputs)
    return scans


@pytest.fixture(scope="module")
def observed(told):
    """The scans again, with everything looked at: rows fired and blocked, facts both ways, claims."""
    logic = Logic(replace(RECEIVER, facts=Watched))
    written = AsWritten(logic, on_rows)
    memory = logic.power_up()
    seen = {name: set() for name in logic.facts}
    fired, blocked = [0] * len(logic.rows), [0] * len(logic.rows)
    meant, broken = dict.fromkeys((c.name for c in CLAIMS), 0), []
    for t in told:
        if t.fresh:
            memory = logic.power_up({n: getattr(memory, n) for n in logic.kept} if t.goes_on else None)
        s = written.laid(memory, t.inputs, t.presets, t.dt_ms)
        memory = logic.Memory._make([getattr(s, n) for n in logic.Memory._fields])
        for name in seen:
            seen[name].add(getattr(s, name) > 0)
        for n, row in enumerate(logic.rows):
            if s.was.step in row.steps:
                fires = getattr(s, row.guard.name)
                (fired if fires else blocked)[n] += 1
                if fires:
                    break
        for claim in CLAIMS:
            if claim.when is None or claim.when(s):
                meant[claim.name] += 1
                if not claim.then(s):
                    broken.append(claim.name)
    return logic, seen, fired, blocked, meant, broken


def test_the_executors_agree_in_every_scan(told):
    """As written on `transitions`, as written on three lines, generated, compiled: asserted as they ran."""
    assert len(told) == sum(length for *_, length in stories.PROGRAMME)


def test_every_row_fires_and_is_blocked(observed):
    logic, _, fired, blocked, *_ = observed
    silent = [logic.rows[n].guard.name for n, times in enumerate(fired) if not times]
    always = [logic.rows[n].guard.name for n, times in enumerate(blocked) if not times]
    assert (silent, always) == ([], [])


def test_every_line_of_the_other_tables_and_every_condition_is_seen_both_ways(observed):
    """Interlock lines, outputs, overruled outputs, refusals and all other facts are facts: each on and off."""
    logic, seen, *_ = observed
    boolean = [n for n, f in logic.facts.items() if f.kind is bool]
    missing = {(n, way) for n in boolean for way in (True, False) if way not in seen[n]}
    assert missing == set(UNREACHABLE)


def test_what_no_run_can_see_is_proved_so():
    prover = Prover(Logic(RECEIVER), search=0, trusting=True)
    assert [str(v) for v in map(prover.verdict, UNREACHABLE.values()) if not v.proved] == []


def test_each_claim_is_reached_from_power_up_and_holds(observed):
    *_, meant, broken = observed
    assert not broken
    assert [name for name, times in meant.items() if not times] == []
