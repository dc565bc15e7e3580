# ruff: noqa: N805, `s` is the scan
"""True claims are proved, planted mistakes are not, and what comes back can be read."""

from dataclasses import replace
from random import Random

import pytest
from miniature import DRAW, FAULT, HELD, LIMITS, MINIATURE, REST, SEAL, VENT, Facts, Inputs, Presets

from controller.engines.as_written import AsWritten, on_rows
from controller.engines.proof import Claim, prove, proving, shadowed_rows
from controller.engines.terms import Scans
from controller.sequence.definition import DAY_MS, Output, Row, fact, memory, percent
from controller.sequence.expressions import NotInTheSubset, Read
from controller.sequence.logic import Logic

NO_SOURCE_ON_AN_OPEN_FLAP = Claim(
    "nothing draws unless the flap is proven closed",
    when=lambda s: s.source_cmd,
    then=lambda s: s.now.flap_closed_fb and not s.now.flap_open_fb,
)
NO_RUN_AT_REST = Claim(
    "no run latch at rest or in a fault", when=lambda s: s.step in (REST, FAULT), then=lambda s: not s.run
)
BY_A_FRESH_START = Claim(
    "rest is left by a fresh start only, or by a stored fault",
    when=lambda s: s.was.step == REST and s.step != REST,
    then=lambda s: s.now.start_pb and not s.was.start_held or s.was.fault_stored,  # noqa: RUF021
)
BY_RESET_ONLY = Claim(
    "a fault is left by reset only, to rest only",
    when=lambda s: s.was.step == FAULT and s.step != FAULT,
    then=lambda s: s.step == REST and s.now.reset_pb,
)
CLOCK = Claim("the clock of the step is bounded", then=lambda s: s.step_ms >= 0 and s.step_ms <= DAY_MS)
RETRIES = Claim(
    "no more re-openings than allowed",
    then=lambda s: s.flap_retries >= 0 and s.flap_retries <= s.set.flap_retries_max,
)
STORED = Claim("a fault is remembered", then=lambda s: s.fault_stored == (s.step == FAULT))
HAS_FIRST_OUT = Claim(
    "a fault has a first-out", when=lambda s: s.step == FAULT, then=lambda s: s.first_out >= 1
)
STORED_HAS_FIRST_OUT = Claim(
    "a stored fault has one", when=lambda s: s.fault_stored, then=lambda s: s.first_out >= 1
)
TRUE = (NO_RUN_AT_REST, NO_SOURCE_ON_AN_OPEN_FLAP, BY_A_FRESH_START, BY_RESET_ONLY, CLOCK, RETRIES, STORED)


def planted(**rules):
    """The miniature with other rules of some facts."""
    return replace(MINIATURE, facts=type("Planted", (Facts,), {**rules, "__module__": __name__}))


def rows_with(old, new):
    assert old in MINIATURE.rows
    return replace(MINIATURE, rows=tuple(new if row == old else row for row in MINIATURE.rows))


def test_true_claims_are_proved():
    verdicts = prove(Logic(MINIATURE), TRUE)
    assert all(v.proved and v.possible and v.counterexample is None for v in verdicts), [*map(str, verdicts)]
    assert str(verdicts[1]) == "proved  nothing draws unless the flap is proven closed"


PLANTED = [
    (
        "the last word over the source is gone",
        replace(MINIATURE, output_lines=(Output("source_cmd", (DRAW,)), *MINIATURE.output_lines[1:])),
        NO_SOURCE_ON_AN_OPEN_FLAP,
    ),
    (
        "a trip leaves the run latch",
        planted(
            run=memory(first=False)(lambda s: (s.was.run or (s.start_edge and s.ready)) and not s.stopped)
        ),
        NO_RUN_AT_REST,
    ),
    ("start is a level, not an edge", planted(start_edge=fact(lambda s: s.now.start_pb)), BY_A_FRESH_START),
    (
        "reset goes on to suction",
        rows_with(Row((FAULT,), Facts.reset_accepted, REST), Row((FAULT,), Facts.reset_accepted, SEAL)),
        BY_RESET_ONLY,
    ),
    ("the clock runs for ever", planted(in_step_ms=fact(lambda s: s.was.step_ms + s.dt_ms)), CLOCK),
    (
        "one retry too many",
        planted(retry_left=fact(lambda s: s.was.flap_retries <= s.set.flap_retries_max)),
        RETRIES,
    ),
]


@pytest.mark.parametrize(("mistake", "definition", "claim"), PLANTED, ids=[m for m, _, _ in PLANTED])
def test_planted_mistake_is_red(mistake, definition, claim):
    """A claim proved above fails with the mistake; the rules as written break it in the last scan shown."""
    red = {
        v.claim: v.counterexample for v in prove(Logic(definition), dict.fromkeys((NO_RUN_AT_REST, claim)))
    }
    assert red[claim] is not None
    assert red[claim].doubt == ""


# ---- kept memory -------------------------------------------------------------------------------


def test_kept_memory_is_unknown_after_power_up_but_for_what_is_proved_of_it():
    """A stored fault without a first-out cannot be, but only a claim over kept memory says so."""
    (alone,) = prove(Logic(MINIATURE), [HAS_FIRST_OUT])
    assert not alone.proved
    assert alone.counterexample.start == "after power-up"
    assert column(alone, "fault_stored")[0] == "on"
    assert column(alone, "first_out")[0] == "0"
    both = Claim(
        "fault, stored fault and first-out go together",
        then=lambda s: s.fault_stored == (s.step == FAULT) and (s.step != FAULT or s.first_out >= 1),
    )
    assert not prove(Logic(MINIATURE), [both])[0].proved  # speaks of `step` too, which is not kept
    assert [v.proved for v in prove(Logic(MINIATURE), [STORED_HAS_FIRST_OUT, HAS_FIRST_OUT])] == [True, True]


def test_claim_over_kept_memory_must_hold_of_a_machine_that_never_ran():
    class Watched(Facts):
        @memory(first=5, kept=True)
        def odd(s) -> int:
            return min(s.was.odd, 3)

    logic = Logic(replace(MINIATURE, facts=Watched))
    (verdict,) = prove(logic, [Claim("odd is small", then=lambda s: s.odd <= 3)])
    assert verdict.proved  # true of every scan, whatever was stored before it

    class Kept(Facts):
        @memory(first=5, kept=True)
        def odd(s) -> int:
            return s.was.odd

    logic = Logic(replace(MINIATURE, facts=Kept))
    (verdict,) = prove(logic, [Claim("odd is small", then=lambda s: s.odd <= 3)])
    assert verdict.counterexample.start == "before the first scan of all"


def test_what_the_first_scan_makes_true_was_not_true_before_it():
    """Nobody ran before the first run of all: what each scan makes true of kept memory says nothing there."""

    class Watched(Facts):
        @memory(first=5, kept=True)
        def odd(s) -> int:
            return min(s.was.odd, 3)

    logic = Logic(replace(MINIATURE, facts=Watched))
    small = Claim("odd is small", then=lambda s: s.odd <= 3)
    was_small = Claim("odd was small", then=lambda s: s.was.odd <= 3)
    first, second = prove(logic, [small, was_small])
    assert first.proved
    assert not second.proved
    assert column(second, "odd")[0] in ("4", "5")


def test_memory_that_is_not_kept_starts_at_its_first_value():
    class Watched(Facts):
        @memory(first=False)
        def powered(s) -> bool:
            return True

    logic = Logic(replace(MINIATURE, facts=Watched))
    fresh = [
        Claim(
            "at rest, no run",
            when=lambda s: not s.was.powered,
            then=lambda s: s.was.step == REST and not s.was.run,
        ),
        Claim("nothing on board", when=lambda s: not s.was.powered, then=lambda s: s.was.on_board == 0),
    ]
    assert [v.proved for v in prove(logic, fresh)] == [True, False]  # what is on board is kept


# ---- what comes back -----------------------------------------------------------------------------


def column(verdict, name):
    """The cells of one row of the table: before, scan 1, scan 2 ..."""
    return next(row[1:] for row in verdict.counterexample.table if row[0] == name)


def test_counterexample_is_a_table_of_scans_that_says_what_changes():
    (verdict,) = prove(Logic(planted(start_edge=fact(lambda s: s.now.start_pb))), [BY_A_FRESH_START])
    table = verdict.counterexample.table
    assert table[0] == ["", "before", "scan 1"]
    assert column(verdict, "step") == ["REST", "SEAL"]
    assert column(verdict, "now.start_pb") == ["", "on"]
    assert column(verdict, "start_held") == ["on", ""]
    names = [row[0] for row in table[1:]]
    assert len(names) < 30  # of 101 facts and 28 inputs and presets
    assert "knock" not in names
    text = str(verdict).splitlines()
    assert text[0] == "FAILS   rest is left by a fresh start only, or by a stored fault: after power-up"
    assert text[1].split() == ["before", "scan", "1"]


def test_way_from_power_up_is_searched_when_induction_fails():
    (verdict,) = prove(Logic(MINIATURE), [Claim("it never holds", then=lambda s: s.step != HELD)])
    assert verdict.counterexample.start == "after power-up"
    assert column(verdict, "step")[0] == "REST"
    assert column(verdict, "step")[-1] == "HELD"
    assert len(verdict.counterexample.table[0]) > 3


def test_failure_by_induction_alone_says_so():
    """True of every run, but not by induction: the sum of two clocks that only start together."""

    class Watched(Facts):
        @memory(first=0)
        def up(s) -> int:
            return s.was.up if s.was.up == 3 else s.was.down

        @memory(first=0)
        def down(s) -> int:
            return s.was.up

    logic = Logic(replace(MINIATURE, facts=Watched))
    (verdict,) = prove(logic, [Claim("up is nothing", then=lambda s: s.up == 0)], search=3)
    assert not verdict.proved
    assert verdict.counterexample.start.startswith(
        "by induction only, in some scan: within 3 scans from power-up"
    )
    assert prove(logic, [Claim("up is nothing", then=lambda s: s.up == 0, k=2)])[0].proved


def test_lemma_helps_the_claims_behind_it():
    class Watched(Facts):
        @memory(first=0)
        def rate(s) -> int:
            return s.was.rate

        @memory(first=0)
        def gauge(s) -> int:
            return s.was.gauge + s.was.rate

    logic = Logic(replace(MINIATURE, facts=Watched))
    lemma = Claim("the rate is nothing", then=lambda s: s.rate == 0)
    claim = Claim("the gauge stays empty", then=lambda s: s.gauge == 0)
    assert not prove(logic, [claim], search=2)[0].proved
    assert [v.proved for v in proving(logic, [lemma, claim])] == [True, True]


def test_left_side_that_can_never_be_true_is_said():
    claim = Claim("held at rest", when=lambda s: s.step == HELD and s.step == REST, then=lambda s: s.trip)
    (verdict,) = prove(Logic(MINIATURE), [claim])
    assert verdict.proved
    assert not verdict.possible
    assert str(verdict).endswith("(but its left side can never be true)")


def test_claim_outside_the_subset_is_refused_by_name():
    with pytest.raises(NotInTheSubset, match=r"claim odd: .* no such input"):
        prove(Logic(MINIATURE), [Claim("odd", then=lambda s: s.now.nothing_here)])


# ---- what is assumed -----------------------------------------------------------------------------


def test_presets_keep_to_their_limits_and_inputs_to_their_ranges():
    low, high = LIMITS["fill_ms"]
    within = [
        Claim("preset", then=lambda s: s.set.fill_ms >= 1_500 and s.set.fill_ms <= 600_000),
        Claim("input", then=lambda s: s.now.vacuum_ua >= 0 and s.now.vacuum_ua <= 24_000),
        Claim("dt", then=lambda s: s.dt_ms >= 1 and s.dt_ms <= 1_000),
    ]
    beyond = [
        Claim("preset", then=lambda s: s.set.fill_ms < 600_000),
        Claim("input", then=lambda s: s.now.vacuum_ua < 24_000),
        Claim("dt", then=lambda s: s.dt_ms > 1),
    ]
    assert (low, high) == (1_500, 600_000)
    logic = Logic(MINIATURE)
    assert all(v.proved for v in prove(logic, within))
    assert not any(v.proved for v in prove(logic, beyond))


def test_percent_and_division_are_bounded_in_the_proof():
    logic = Logic(MINIATURE)
    claims = [
        Claim("scaled", then=lambda s: s.vacuum_pa >= 0 and s.vacuum_pa <= 125_000),
        Claim("more of the same is not less", when=lambda s: s.now.vacuum_ua >= 4_000 + 1_000,
              then=lambda s: s.vacuum_pa >= percent(1_000, s.set.vacuum_pa_per_100ua)),
        Claim("divided", then=lambda s: s.vacuum_mean_pa <= max(s.vacuum_sum_pa, 0)),
    ]  # fmt: skip
    assert all(v.proved for v in prove(logic, claims))
    (red,) = prove(logic, [Claim("too tight", then=lambda s: s.vacuum_pa < 125_000)])
    assert red.counterexample.doubt == ""  # exact, though the proof takes percent for any value in its bounds
    assert column(red, "vacuum_pa") == ["", "125,000"]


def test_whole_numbers_divide_downwards_in_the_proof_as_in_python():
    class Watched(Facts):
        third = fact(lambda s: (s.dt_ms - 500) // 3)

    logic = Logic(replace(MINIATURE, facts=Watched))
    exact = Claim("", when=lambda s: s.dt_ms == 499, then=lambda s: s.third == -1)
    assert prove(logic, [exact])[0].proved


def test_a_scan_in_the_solver_is_the_scan_as_written():
    """Every fact of random scans, the percentages made exact: the terms say what the rules say."""
    import z3

    logic, random = Logic(MINIATURE), Random(1)
    kinds = {n: f.kind for n, f in logic.facts.items()}
    engine = AsWritten(logic, on_rows)
    for _ in range(20):
        memory = {n: any_value(random, kinds[n], (0, len(logic.steps) - 1)) for n in logic.memory}
        scans, solver = Scans(logic, memory), z3.Solver()
        presets = {n: any_value(random, type(getattr(Presets(), n)), LIMITS[n]) for n in Presets._fields}
        inputs = {n: any_value(random, type(v), (0, 24_000)) for n, v in Inputs()._asdict().items()}
        for group, values in (("set", presets), ("now", inputs), ("this", {"dt_ms": 10})):
            for name, value in values.items():
                solver.add(scans.read(0, Read(group, name)) == value)
        terms = {n: scans.read(0, Read("this", n)) for n in logic.facts}
        assert solver.check() == z3.sat
        assert solver.check(*next(scans.exactly(solver.model()))) == z3.sat
        model = solver.model()
        found = {n: str(model.eval(t, model_completion=True)) for n, t in terms.items()}
        facts = engine.all_facts(logic.Memory(**memory), Inputs(**inputs), Presets(**presets), 10)
        assert found == {n: str(kinds[n](v)) for n, v in facts.items()}


def any_value(random, kind, limits):
    return random.random() < 0.5 if kind is bool else random.randint(*limits)


# ---- rows ----------------------------------------------------------------------------------------


def test_row_that_an_earlier_one_always_beats_is_found():
    assert shadowed_rows(Logic(MINIATURE)) == []
    behind = Row((SEAL, VENT), Facts.flap_proven, REST)
    definition = replace(MINIATURE, rows=(*MINIATURE.rows, behind))
    assert shadowed_rows(Logic(definition)) == [(17, "SEAL")]


def test_records_of_the_miniature_are_within_their_limits():
    assert all(low <= getattr(Presets(), n) <= high for n, (low, high) in LIMITS.items())
    assert Inputs().vacuum_ua == 4_000
