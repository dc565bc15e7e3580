"""The cause-and-effect table: one line a line of the interlocks, in words and in order."""

import pytest
from miniature import ALWAYS, EMPTYING, MINIATURE, RUNNING, Step

from controller.engines.matrix import HEADING, as_markdown, matrix, steps_text
from controller.sequence.logic import Logic


@pytest.fixture(scope="module")
def logic():
    return Logic(MINIATURE)


def test_matrix_has_the_lines_of_the_interlocks_in_order(logic):
    lines = matrix(logic)
    assert [line.interlock for line in lines] == [i.name for i in MINIATURE.interlocks]
    assert lines[0] == (
        "CHAIN_OPEN",
        "chain_open: not now.chain_healthy",
        "all but IDLE, FAULT",
        "at once",
        "trip",
    )
    low = lines[2]
    assert low.effect == "supply_low_effect: trip or wait"
    assert low.delay == "supply_low_ms"
    assert "was.supply_under_limit" in low.cause
    assert next(line.delay for line in lines if line.interlock == "STEP_TOO_LONG") == "bound_ms"


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        (ALWAYS, "always"),
        (EMPTYING, "EMPTYING"),
        ((*EMPTYING, Step.SEAL), "EMPTYING, SEAL"),
        (RUNNING, "all but IDLE, FAULT"),
        ((Step.HELD,), "HOLD"),
    ],
)
def test_steps_are_said_in_few_words(logic, steps, words):
    assert steps_text(logic, steps) == words


def test_markdown_says_the_same(logic):
    lines = as_markdown(logic).splitlines()
    assert lines[1] == "| --- | --- | --- | --- | --- |"
    cells = [[c.strip() for c in line.strip("|").split(" | ")] for line in (lines[0], *lines[2:])]
    assert cells == [list(HEADING), *map(list, matrix(logic))]
