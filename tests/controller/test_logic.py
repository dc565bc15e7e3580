"""The reader: what it gives, and everything that it refuses, with the words it says."""

import re
from dataclasses import replace
from enum import IntEnum
from pathlib import Path
from typing import NamedTuple

import miniature
import pytest
from miniature import (
    ALWAYS,
    FAULT,
    MINIATURE,
    REST,
    SEAL,
    SUCTION,
    Facts,
    Inputs,
    Presets,
    Step,
    percent,
)

from controller.sequence.definition import Interlock, Output, Refusal, Row, Scan, fact, memory, on_delay
from controller.sequence.expressions import NotInTheSubset, Read
from controller.sequence.keywords import IEC_KEYWORDS
from controller.sequence.logic import Logic

HALF = 0
LIMIT = 1.5
SWITCH = True
NUMBERS = (1, 2)


@pytest.fixture(scope="module")
def logic():
    return Logic(MINIATURE)


def problems(definition=MINIATURE, **changes):
    with pytest.raises(NotInTheSubset) as refused:
        Logic(replace(definition, **changes))
    return refused.value.problems


def problem_of(rule, **kwargs):
    """The one problem that a fact `odd` with this rule makes."""
    odd = fact(rule, **kwargs)
    found = problems(facts=type("Odd", (Facts,), {"odd": odd, "__module__": __name__}))
    assert len(found) == 1, found
    return found[0]


# ---- what it gives -------------------------------------------------------------------------------


def test_facts_stand_behind_all_that_they_read_of_their_scan(logic):
    places = {name: n for n, name in enumerate(logic.facts)}
    for name in logic.facts:
        for read in logic.reads(name):
            if read.group == "this" and read.name != "dt_ms":
                assert places[read.name] < places[name], (name, read)


def test_memory_and_kept_memory_come_in_the_order_of_the_facts(logic):
    assert list(logic.memory) == [n for n, f in logic.facts.items() if f.first is not None]
    assert set(logic.kept) == {"on_board", "fault_stored", "first_out"}
    assert logic.memory["start_held"] is True
    assert logic.power_up({"on_board": 1, "step": 3})._asdict() == {**logic.memory, "on_board": 1}


def test_a_fact_says_where_it_stands_and_what_it_reads(logic):
    run = logic.facts["run"]
    file, line = run.where.rsplit(":", 1)
    assert file == miniature.__file__
    assert "@memory(first=False)" in Path(file).read_text().splitlines()[int(line) - 1]
    assert run.doc.startswith("The run latch")
    assert logic.source_of("flap_proven") == "s.now.flap_closed_fb and (not s.now.flap_open_fb)"
    assert logic.reads("flap_proven") == (Read("now", "flap_closed_fb"), Read("now", "flap_open_fb"))
    assert logic.source_of("step").splitlines()[0] == "REST -> FAULT: fault_at_power_up"
    assert logic.facts["trip"].where == "effect trip"


def test_kinds_are_told_of_everything_that_can_be_read(logic):
    assert logic.kinds[Read("now", "vacuum_ua")] is int
    assert logic.kinds[Read("set", "knock_in_drop")] is bool
    assert logic.kinds[Read("was", "step")] is int
    assert logic.kinds[Read("this", "level_covered")] is bool
    assert logic.facts["level_covered_held_ms"].kind is int


def test_a_rule_further_down_replaces_one_above():
    class Later(Facts):
        ready = fact(lambda s: s.was.step == REST and s.flap_proven)
        level_covered = fact(lambda s: not s.now.level_free)  # a delay above, none here

    logic = Logic(replace(MINIATURE, facts=Later))
    assert logic.source_of("ready") == "s.was.step == REST and s.flap_proven"
    assert "level_covered_seen" not in logic.facts


def test_two_rules_on_one_line_are_told_apart():
    class Pair(Facts):
        one, two = fact(lambda s: s.now.level_free), fact(lambda s: not s.now.level_free)

    logic = Logic(replace(MINIATURE, facts=Pair))
    assert (logic.source_of("one"), logic.source_of("two")) == ("s.now.level_free", "not s.now.level_free")


def test_rules_reach_what_the_language_offers():
    bound = 7  # a whole number of the enclosing function

    class Rich(Facts):
        lowest = fact(lambda s: min(s.now.vacuum_ua, s.dt_ms, bound) - -3)
        share = fact(
            lambda s: percent(s.now.vacuum_ua, 50) // 3 if s.step not in (*SUCTION, REST) else -s.dt_ms
        )
        named = fact(lambda s: s.was.step == Step.DRAW and s.step != s.was.step)

    logic = Logic(replace(MINIATURE, facts=Rich))
    assert logic.facts["lowest"].kind is int
    assert logic.constants["bound"] == 7


# ---- what it refuses: rules ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        (lambda s: s.now.level_fre, "`s.now.level_fre`: no such input, did you mean level_free?"),
        (lambda s: s.set.fil_ms > 1, "`s.set.fil_ms`: no such preset, did you mean fill_ms?"),
        (lambda s: s.flap_provn, "`s.flap_provn`: no such fact, did you mean flap_proven?"),
        (lambda s: s.was.nothing_like_it, "`s.was.nothing_like_it`: no such memory"),
        (lambda s: s.was.flap_proven, "`s.was.flap_proven`: flap_proven is not memory: give it @memory"),
        (lambda s: s.dt_ms and s.now.level_free, "`s.dt_ms`: a condition (true or false) is needed here"),
        (lambda s: s.now.level_free + 1, "`s.now.level_free`: a whole number is needed here"),
        (lambda s: s.now.level_free == s.dt_ms, "`s.dt_ms`: a condition (true or false) is needed here"),
        (lambda s: 1 if s.now.level_free else s.flap_proven, "`s.flap_proven`: a whole number is needed"),
        (lambda s: 0 < s.dt_ms < 9, "`0 < s.dt_ms < 9`: one comparison at a time"),
        (lambda s: s.dt_ms * 2, "`s.dt_ms * 2`: not in the subset"),
        (lambda s: s.dt_ms / 2, "`s.dt_ms / 2`: not in the subset"),
        (lambda s: s.dt_ms % 2, "`s.dt_ms % 2`: not in the subset"),
        (lambda s: s.dt_ms // HALF, "`HALF`: divide by a constant over 0"),
        (lambda s: 9 // s.dt_ms, "`s.dt_ms`: divide by a constant over 0"),
        (lambda s: s.dt_ms > 1.5, "`1.5`: not in the subset"),
        (lambda s: s.dt_ms > LIMIT, "`LIMIT`: no whole number of its module has this name"),
        (lambda s: SWITCH and s.now.level_free, "`SWITCH`: write True or False"),
        (lambda s: abs(s.dt_ms) > 1, "`abs(s.dt_ms)`: only min, max and percent may be called"),
        (lambda s: min(s.dt_ms) > 1, "`min(s.dt_ms)`: only min, max and percent may be called"),
        (lambda s: s.step in NUMBERS, "`NUMBERS`: membership is in a constant tuple of steps"),
        (lambda s: s.step in [REST], "`[REST]`: not in the subset"),
        (lambda s: s.now.level_free is True, "`s.now.level_free is True`: no such comparison"),
        (lambda s: [s.dt_ms], "`[s.dt_ms]`: not in the subset"),
        (lambda s: "text", "`'text'`: not in the subset"),
        (lambda s: s.now, "`s.now`: not in the subset"),
    ],
)
def test_rule_outside_the_subset_is_refused_by_fact_file_and_line(rule, says):
    problem = problem_of(rule)
    assert re.match(rf"{re.escape(__file__)}:{rule.__code__.co_firstlineno}: odd: ", problem), problem
    assert says in problem


def test_rule_of_several_statements_is_refused():
    def odd(s):
        x = s.dt_ms
        return x > 1

    assert problem_of(odd).endswith("not one expression that is returned (odd)")


def test_rule_with_another_argument_than_the_scan_is_refused():
    assert "a rule has one argument, the scan `s`" in problem_of(lambda scan: scan.dt_ms)


def test_method_that_is_no_fact_is_refused():
    class Forgot(Facts):
        def odd(s):  # noqa: N805, the decorator was forgotten
            return s.now.level_free

    (problem,) = problems(facts=Forgot)
    assert problem.endswith("Forgot.odd: neither fact nor memory")


def test_fact_that_gets_no_rule_is_refused():
    class Bare(Facts):
        odd = fact[bool]()

    (problem,) = problems(facts=Bare)
    assert problem.endswith("Bare.odd: declared, but no rule and no table gives it a value")


def test_loop_is_shown_whole_and_once():
    class Loop(Facts):
        a = fact(lambda s: s.b)
        b = fact(lambda s: s.c and s.now.level_free)
        c = fact(lambda s: not s.a)

    (problem,) = problems(facts=Loop)
    assert problem.endswith("a -> b -> c -> a: a loop, one of them must read s.was")


def test_guard_that_reads_the_step_of_its_own_scan_is_a_loop():
    class Loop(Facts):
        travel_over = fact(lambda s: s.step == SEAL)

    assert any(
        "step -> travel_over -> step" in p or "travel_over -> step -> travel_over" in p
        for p in problems(facts=Loop)
    )


def test_memory_of_another_kind_than_its_first_value_is_refused():
    class Odd(Facts):
        odd = memory(first=0)(lambda s: s.now.level_free)

    (problem,) = problems(facts=Odd)
    assert problem.endswith("odd: remembers a bool, but first=0 is a int")


def test_all_problems_are_said_at_once():
    class Many(Facts):
        one = fact(lambda s: s.now.nothing)
        two = fact(lambda s: s.dt_ms * 2)
        three = fact(lambda s: s.one)  # hangs on the first, and is not a problem of its own

    assert len(problems(facts=Many)) == 2


# ---- what it refuses: names ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("at", "at: a keyword of IEC 61131-3, choose another name"),
        ("limit", "limit: a keyword of IEC 61131-3"),
        ("drop", "drop: used twice (case does not count)"),  # the step DROP
        ("fill_ms", "fill_ms: used twice"),
        ("level_free", "level_free: used twice"),
        ("Flap_Proven", "flap_proven: used twice"),
        ("memory", "memory: reserved, choose another name"),
        ("_own", "_own: reserved"),
        ("chain_open_acts", "chain_open_acts: interlock CHAIN_OPEN makes a fact of this name too"),
        ("level_high", "level_high: interlock LEVEL_HIGH makes a fact of this name too"),
        ("start_refused", "start_refused: refusals of start makes a fact of this name too"),
        ("source_cmd", "source_cmd: output source_cmd makes a fact of this name too"),
        ("warn", "warn: effect warn makes a fact of this name too"),
        ("step", "step: comes from the rows"),
    ],
)
def test_name_that_is_taken_or_means_something_elsewhere_is_refused(name, says):
    facts = type("Odd", (Facts,), {name: fact(lambda s: s.now.dust_seen), "__module__": __name__})
    assert any(says in problem for problem in problems(facts=facts))


def test_step_alone_may_be_a_keyword(logic):
    assert [n for n in logic.facts if n.upper() in IEC_KEYWORDS] == ["step"]


def test_constant_with_two_values_in_two_places_is_refused():
    zero_ua = 1

    class Other(Facts):
        odd = fact(lambda s: s.dt_ms > ZERO_UA)

    assert zero_ua == 1
    (problem,) = problems(facts=Other)
    assert problem.endswith("odd: ZERO_UA is 1 here and 4000 elsewhere")


ZERO_UA = 1

# ---- what it refuses: tables ---------------------------------------------------------------------

LEVEL = Facts.level_covered


class Other(Scan[Inputs, Presets]):
    stray = fact(lambda s: s.now.level_free)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"rows": (Row((REST, 99), LEVEL, SEAL),)}, "row 1: 99 is no step"),
        ({"rows": (Row((), LEVEL, SEAL),)}, "row 1: no steps"),
        ({"rows": (Row((REST, REST), LEVEL, SEAL),)}, "row 1: REST twice"),
        ({"rows": (Row((REST,), LEVEL, 99),)}, "row 1: goes to 99, which is no step"),
        ({"rows": (Row((REST,), "run", SEAL),)}, "row 1: guard 'run' is not a fact"),
        ({"rows": (Row((REST,), Other.stray, SEAL),)}, "row 1: guard stray is not in Facts"),
        ({"rows": (Row((REST,), Facts.vacuum_pa, SEAL),)}, "`s.vacuum_pa`: a condition (true or false) is"),
        ({"interlocks": (Interlock("Odd", LEVEL, ALWAYS, None, "trip"),)}, "one word in capitals"),
        ({"interlocks": (Interlock("ODD", LEVEL, ALWAYS, None, "explode"),)}, "neither one of trip, hold"),
        (
            {"interlocks": (Interlock("ODD", LEVEL, ALWAYS, None, "trip", ("warn",)),)},
            "effect is fixed (trip)",
        ),
        (
            {"interlocks": (Interlock("ODD", LEVEL, ALWAYS, None, "supply_low_effect", ("trip",)),)},
            "supply_low_effect goes from 0 to 1, must be 0 to 0 (trip)",
        ),
        (
            {"interlocks": (Interlock("ODD", LEVEL, ALWAYS, None, "supply_low_effect", ("trip", "bang")),)},
            "interlock ODD: bang is none of trip, hold, wait, end_batch, warn",
        ),
        (
            {"interlocks": (Interlock("ODD", LEVEL, ALWAYS, "level_ms", "warn"),)},
            "`s.set.level_ms`: no such preset",
        ),
        ({"interlocks": (Interlock("ODD", LEVEL, ALWAYS, "s.odd_ms", "warn"),)}, "`s.odd_ms`: no such fact"),
        ({"interlocks": (Interlock("ODD", Facts.vacuum_pa, ALWAYS, None, "warn"),)}, "a condition (true or"),
        ({"output_lines": MINIATURE.output_lines[1:]}, "output source_cmd: has no line"),
        (
            {"output_lines": (*MINIATURE.output_lines, Output("siren", ALWAYS))},
            "output siren: no such output",
        ),
        ({"output_lines": (*MINIATURE.output_lines, Output("fault_lamp", (99,)))}, "99 is no step"),
        ({"refusals": (Refusal("start", None, "?"),)}, "refusal of start: fact None is not a fact"),
        ({"states": {"ALL": ALWAYS, "MORE": (FAULT,)}}, "step FAULT: in 2 states, must be in one"),
        ({"states": {"ALL": SUCTION}}, "step REST: in 0 states, must be in one"),
        ({"limits": {**miniature.LIMITS, "fil_ms": (0, 1)}}, "preset limits fil_ms: no such preset"),
        ({"limits": {**miniature.LIMITS, "fill_ms": (2, 1)}}, "preset limits fill_ms: low 2 over high 1"),
        ({"limits": {}}, "preset fill_ms: has no limits"),
        ({"ranges": {"vacuum": (0, 1)}}, "input range vacuum: no such input"),
        ({"fault": 99}, "fault: 99 is no step"),
    ],
)
def test_table_that_does_not_fit_is_refused(change, says):
    assert any(says in problem for problem in problems(**change)), problems(**change)


def test_steps_that_do_not_count_from_zero_are_refused():
    odd = IntEnum("Odd", "A B")
    assert any("numbered [1, 2], must be 0, 1, 2" in p for p in problems(step=odd))


def test_record_of_other_kinds_than_bool_and_int_is_refused():
    class Floats(NamedTuple):
        level: float = 0.0

    assert any("input level: must be bool or int, is <class 'float'>" in p for p in problems(inputs=Floats))


def test_on_delay_by_an_unknown_preset_is_refused():
    class Odd(Facts):
        odd = on_delay(lambda s: s.now.level_free, by="odd_ms")

    (problem,) = problems(facts=Odd)
    assert "odd: `s.set.odd_ms`: no such preset" in problem
