import ast
from pathlib import Path

import pytest
from campaign.short_run import RUNNER, outcome, scenario

from controller.campaign.coverage import coverage, joined, met
from controller.campaign.decisions import Decision, decisions, decisive
from controller.campaign.mutants import mutants
from controller.campaign.mutation import Differences
from controller.campaign.runner import Runner
from controller.sequence.made_facts import lines_of

LOGIC = RUNNER.logic
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


def test_a_mutant_stands_for_every_row_line_output_refusal_and_rule() -> None:
    planted = mutants(LOGIC)
    assert len({mutant.name for mutant in planted}) == len(planted)
    d = LOGIC.definition
    for kind, of in (
        ("row dropped", len(LOGIC.rows)),
        ("interlock line dropped", len(lines_of(d.interlocks))),
        ("output dropped", len(d.outputs._fields)),
        ("refusal dropped", len(d.refusals)),
    ):
        assert sum(mutant.kind == kind for mutant in planted) == of
    conditional = {n for n, f in LOGIC.facts.items() if f.kind is bool and n != "step"}
    fixed = {n for n in conditional if isinstance(LOGIC.facts[n].tree, ast.Constant)}
    assert conditional - {m.fact for m in planted if m.kind == "condition negated"} == fixed


def test_a_mutant_without_a_difference_runs_the_same_way_and_one_with_does_not(folder: Path) -> None:
    done = outcome(folder)
    assert done.recording is not None
    planted = mutants(LOGIC)
    found = {m.name for m in Differences(LOGIC, RUNNER.reader.rules).in_run(done.recording, planted)}
    assert 0 < len(found) < len(planted)
    same = [m for m in planted if m.name not in found][:: len(planted) // 2]
    other = next(m for m in planted if m.name == "row warned_with_batch -> VENT")
    for mutant in (*same, other):
        ran, _ = Runner(mutant.logic(LOGIC), name="generated", check=False).drive(scenario(folder))
        assert done.driven is not None
        equal = ran.moments == done.driven.moments and ran.end_ms == done.driven.end_ms
        assert equal == (mutant is not other), mutant.name
