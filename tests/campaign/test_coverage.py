import ast
import re
from pathlib import Path

import pytest
from campaign.short_run import RUNNER, outcome, scenario

from controller.campaign.coverage import coverage, joined, met
from controller.campaign.decisions import Decision, decisions, decisive
from controller.campaign.mutants import Mutant, mutants
from controller.campaign.mutation import Differences, Trial
from controller.campaign.mutation_proofs import Proofs
from controller.campaign.runner import Outcome, Runner
from controller.engines.claims import CLAIMS
from controller.sequence.made_facts import lines_of

LOGIC = RUNNER.logic
PLANTED = mutants(LOGIC)
A, B, C = 0b001, 0b010, 0b100


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("short")


# The worked example A and (B or C): the four cases TTF, FTF, TFF, TFT cover it, n + 1 for n conditions
# (Hayhurst, Veerhusen, Chilenski and Rierson, NASA/TM-2001-210876; from memory, as the field teaches it).
CASES = {"TTF": A | B, "FTF": B, "TFF": A, "TFT": A | C}


def example() -> Decision:
    tree = ast.parse("a and (b or c)", mode="eval").body
    return Decision("", tree, (ast.Name("a"), ast.Name("b"), ast.Name("c")))


def test_the_four_cases_of_the_worked_example_cover_every_condition() -> None:
    assert all(len(values) == 2 for values in decisive(example(), CASES.values()).values())


@pytest.mark.parametrize("left_out", CASES)
def test_with_one_of_the_four_left_out_a_condition_is_not_covered(left_out: str) -> None:
    seen = [case for name, case in CASES.items() if name != left_out]
    assert any(len(values) < 2 for values in decisive(example(), seen).values())


def test_every_condition_of_every_rule_is_in_a_decision_or_alone() -> None:
    facts = {decision.fact for decision in decisions(LOGIC)}
    compound = {n for n, f in LOGIC.facts.items() if isinstance(f.tree, ast.BoolOp)}
    assert compound - {"step"} <= facts


def test_a_run_covers_what_it_did_and_nothing_else(folder: Path) -> None:
    recording = outcome(folder).recording
    assert recording is not None
    seen = met(recording, RUNNER.reader.rules)
    shares = {
        s.what: s for s in coverage(LOGIC, RUNNER.reader.rules, joined([seen]), [scenario(folder).presets])
    }
    assert "FAULT" in shares["steps entered"].missing
    assert "CONVEY" not in shares["steps entered"].missing
    assert "warned_with_batch -> VENT" not in shares["rows fired"].missing
    assert "halt -> REST" in shares["rows fired"].missing
    assert shares["interlock lines acted"].met == 0
    assert 0 < shares["conditions decisive alone (MC/DC)"].met < shares["conditions at both values"].met


def test_a_mutant_stands_for_every_row_line_output_refusal_rule_and_preset() -> None:
    assert len({mutant.name for mutant in PLANTED}) == len(PLANTED)
    d = LOGIC.definition
    for kind, of in (
        ("row dropped", len(LOGIC.rows)),
        ("interlock line dropped", len(lines_of(d.interlocks))),
        ("output dropped", len(d.outputs._fields)),
        ("refusal dropped", len(d.refusals)),
    ):
        assert sum(mutant.kind == kind for mutant in PLANTED) == of
    conditional = {n for n, f in LOGIC.facts.items() if f.kind is bool and n != "step"}
    fixed = {n for n in conditional if isinstance(LOGIC.facts[n].tree, ast.Constant)}
    assert conditional - {m.fact for m in PLANTED if m.kind == "condition negated"} == fixed
    changed = {word for m in PLANTED for word in re.findall(r"s\.set\.(\w+)", m.part)}
    assert {read.name for name in LOGIC.facts for read in LOGIC.reads(name) if read.group == "set"} == changed


def test_a_mutant_without_a_difference_runs_the_same_way_and_one_with_does_not(folder: Path) -> None:
    recording = outcome(folder).recording
    assert recording is not None
    differences = Differences(LOGIC, PLANTED)
    found = differences.in_run(recording.read_by(differences.reader))
    assert 0 < len(found) < len(PLANTED)
    same = [m for m in PLANTED if m not in found][:: len(PLANTED) // 2]
    other = next(m for m in PLANTED if m.name == "row warned_with_batch -> VENT")
    assert found[other].how == "loud"
    right, _ = RUNNER.drive(scenario(folder))
    for mutant in (*same, other):
        ran, _ = Runner(mutant.logic(LOGIC), name="generated", check=False).drive(scenario(folder))
        equal = ran.moments == right.moments and ran.end_ms == right.end_ms
        assert equal == (mutant is not other), mutant.name


def test_the_logic_with_all_mistakes_runs_as_the_logic_with_the_one_that_is_chosen(folder: Path) -> None:
    some = [next(m for m in PLANTED if m.kind == kind) for kind in dict.fromkeys(m.kind for m in PLANTED)]
    loud = [m for m in PLANTED if m.name in ("row warned_with_batch -> VENT", "vented: not (s.in_step_ms >= s.set.vent_min_ms)")]
    trial = Trial(LOGIC, [*some, *loud], name="generated")
    assert trial.run(scenario(folder), 0).verdict == "passed"
    for mutant in (some[-1], *loud):
        alone = Runner(mutant.logic(LOGIC), name="generated", check=False).run(scenario(folder))
        here = trial.run(scenario(folder), mutant.number)
        assert here.judged is not None
        assert here.judged == alone.judged


def test_a_scenario_that_cannot_be_run_with_a_mistake_has_not_noticed_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mutant = next(m for m in PLANTED if m.name == "row warned_with_batch -> VENT")
    trial = Trial(LOGIC, [mutant], name="generated")
    passed = trial.run(scenario(folder), 0)
    broken = Outcome(scenario(folder), None, None, None, "a pump fell over", 0)
    monkeypatch.setattr(trial, "run", lambda _, number: broken if number else passed)
    (fate,) = trial.fates([mutant], [scenario(folder)], 4, print)
    assert not fate.noticed
    assert fate.broken_in == ("short",)


@pytest.fixture(scope="module")
def proofs() -> Proofs:
    return Proofs([claim for claim in CLAIMS if claim.name == "a stored fault is a fault after power-up"])


def planted(name: str) -> Mutant:
    return next(mutant for mutant in PLANTED if mutant.name == name)


def test_a_claim_notices_the_row_that_it_rests_on_and_no_other(proofs: Proofs) -> None:
    assert (
        proofs.failing(planted("row fault_at_power_up -> FAULT"))
        == "a stored fault is a fault after power-up"
    )
    assert not proofs.failing(planted("row opened -> DRAIN"))


def test_a_mistake_is_none_only_where_nothing_can_be_otherwise(proofs: Proofs) -> None:
    assert proofs.same(planted("warn: not (s.signal_bad_5)"))
    assert not proofs.same(planted("row fault_at_power_up -> FAULT"))
    assert not proofs.same(planted("row opened -> DRAIN"))
