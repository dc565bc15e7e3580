"""The promises of the sequence: proved as it stands, and each seen red on a planted mistake."""

from contextlib import suppress
from dataclasses import replace

import mistakes
import pytest

from controller.engines.claims import CLAIMS, Watched
from controller.engines.proof import Prover, prove, shadowed_rows
from controller.sequence.expressions import NotInTheSubset
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER

NAMES = [c.name for c in CLAIMS]


@pytest.fixture(scope="module")
def watched():
    return Logic(replace(RECEIVER, facts=Watched))


def test_each_claim_is_proved_for_all_inputs_presets_and_histories(watched):
    verdicts = prove(watched, CLAIMS)
    failed = [str(v) for v in verdicts if not v.proved]
    assert not failed, "\n".join(failed)
    assert not [v.claim.name for v in verdicts if not v.possible], "the left side can never be true"


@pytest.mark.parametrize("mistake", mistakes.MISTAKES, ids=lambda m: m.what.replace(" ", "_"))
def test_a_planted_mistake_turns_its_claims_red(mistake):
    """The other claims are given to the prover unproved: that can only hide a mistake, never show one."""
    prover = Prover(Logic(mistake.definition), search=0, trusting=True)
    for claim in CLAIMS:
        if claim.name in mistake.seen_by:
            assert not prover.verdict(claim).proved, f"{claim.name} does not see that {mistake.what}"
        else:
            with suppress(NotInTheSubset):  # it speaks of a line that the mistake took away
                prover.assume(claim)


def test_each_claim_was_seen_red():
    seen = {name for m in mistakes.MISTAKES for name in m.seen_by}
    assert seen <= set(NAMES)
    assert set(NAMES) - seen == set(mistakes.UNPLANTABLE)


def test_a_step_that_is_not_there_is_refused():
    """Why the claim about known steps cannot be seen red: the reader does not let the mistake in."""
    row = RECEIVER.rows[-1]._replace(to=99)
    with pytest.raises(NotInTheSubset, match="99"):
        Logic(replace(RECEIVER, rows=(*RECEIVER.rows, row)))


def test_no_row_stands_in_the_shadow_of_the_rows_above_it():
    assert shadowed_rows(Logic(RECEIVER)) == []
