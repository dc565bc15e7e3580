"""What facts are called: every phrase is of something there is, and can be said both ways."""

import re

import pytest

from controller.image import Inputs
from controller.sequence.expressions import Read
from controller.sequence.logic import Logic
from controller.sequence.phrases import CONTRARIES, PHRASES, VERBS, phrase, said
from controller.sequence.receiver import RECEIVER

LOGIC = Logic(RECEIVER)
VERB = re.compile(rf"\b({VERBS})\b")


def kind(name):
    """bool or int, of a fact or an input."""
    return LOGIC.facts[name].kind if name in LOGIC.facts else LOGIC.kinds[Read("now", name)]


def test_each_phrase_is_of_a_fact_or_an_input():
    assert set(PHRASES) <= {*LOGIC.facts, *Inputs._fields}


def test_a_condition_has_one_verb_so_that_its_contrary_is_clear():
    assert not {n: text for n, text in PHRASES.items() if kind(n) is bool and len(VERB.findall(text)) != 1}


def test_a_number_is_a_noun():
    assert not {n: text for n, text in PHRASES.items() if kind(n) is int and VERB.search(text)}


def test_every_guard_cause_and_last_word_is_called_by_words():
    named = [row.guard for row in RECEIVER.rows] + [i.cause for i in RECEIVER.interlocks]
    named += [n for o in RECEIVER.output_lines for n in (o.when, o.unless) if n]
    bare = {n.name for n in named if not VERB.search(phrase(n.name))}
    assert not bare


CONDITIONS = [name for name in PHRASES if kind(name) is bool]

SAID_OFF = {
    "fault_at_machine": "the fault is not one to reset at the machine",
    "with_drain": "the clean is not one with the drain",
    "open_while_cleaned": "the clean is not one with the flap open",
    "two_coils": "the flap valve is not one of two coils",
    "recovery": "the emptying is not one of a batch found on board",
    "held_on_board": "no batch is surely on board",
    "flap_open": "the flap's open switch is off",
    "closed_unsure": "the flap's closed switch is steadily on",
    "manual": "manual mode is off",
    "start_wanted": "no start is asked for",
    "asked": "no start, clean or emptying is accepted",
    "vacuum_still": "the vacuum reading has moved",
    "not_seen": "no more was dropped than the vessel explains",
    "may_be_empty": "the receiver surely holds product",
    "batch_perhaps_on_board": "the receiver is surely empty",
    "line_loaded": "the line is surely empty",
    "over_and_full": "the batch is not over, or the vessel below is not full",
    "level_ends_batch": "the batch is not ended by a full vessel below",
}


def test_the_contrary_is_another_sentence():
    for name in CONDITIONS:
        assert said(name, on=False) != said(name, on=True) == PHRASES[name]
    assert said("flap_unproven", on=False) == said("flap_proven", on=True)


@pytest.mark.parametrize("name", SAID_OFF)
def test_the_contrary_reads_as_a_sentence(name):
    assert said(name, on=False) == SAID_OFF[name]


def test_no_contrary_is_cut_or_turned_twice():
    """Forms that a mere "not" behind the verb would give."""
    wrong = re.compile(
        r"\boffe\b|not not|not no\b|not without not|is off [a-z]|^an? [^,]* not |^more |has not control|is not on$"
    )
    texts = {name: said(name, on=False) for name in CONDITIONS}
    assert not {name: text for name, text in texts.items() if wrong.search(text)}


def test_a_phrase_of_two_parts_has_its_contrary_in_words():
    """Else the second half would stay as it is: not full, and the batch ends. `asked` is a list, turned by "no"."""
    two = {name for name in CONDITIONS if re.search(r", |\band\b", PHRASES[name])} - {"asked"}
    assert two
    assert two <= set(CONTRARIES)


def test_what_may_be_is_turned_into_what_surely_is_not():
    """Of a permission "may not" is the contrary, of a possibility it is not."""
    perhaps = {name for name in CONDITIONS if re.search(r"\bmay (be|stand)\b", PHRASES[name])}
    assert perhaps
    assert all("surely" in said(name, on=False) for name in perhaps)


def test_contraries_are_kept_for_conditions_that_have_a_phrase_and_need_one():
    assert set(CONTRARIES) <= set(CONDITIONS)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("opened", "hangs shut on nothing"),  # a flap without command is passed shut
        ("clean_due", "time for the clean"),  # clean_mode 1: after the lead time, not after the emptying
        ("transit_over", "vacuum is proved in the purge"),  # delayed: called by its cause
        ("sealed", "ready to draw"),  # a vacuum-held flap is not proven before there is vacuum
        ("air_stands", "minimum stop"),
        ("starved_stands", "pause"),
        ("vacuum_at_rest", "off zero"),  # under pressure too
        ("level_unsure", "not settled"),  # its time runs after each change
    ],
)
def test_a_phrase_holds_wherever_its_fact_does(name, words):
    assert words in phrase(name)
