"""What facts are called: every phrase is of something there is, and can be said both ways."""

import re

from controller.image import Inputs
from controller.sequence.expressions import Read
from controller.sequence.logic import Logic
from controller.sequence.phrases import PHRASES, VERBS, phrase, said
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


def test_the_contrary_is_said_with_not_or_without_it():
    for name, text in PHRASES.items():
        if kind(name) is bool:
            contrary = said(name, on=False)
            assert contrary != text
            assert "not not" not in contrary, name
    assert said("flap_unproven", on=False) == said("flap_proven", on=True)
