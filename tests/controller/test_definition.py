"""The language itself: rules are plain Python, worked out once a scan."""

from typing import NamedTuple

import pytest
from miniature import Facts, Inputs, Presets

from controller.sequence.definition import Scan, fact, memory, on_delay, percent


class Now(NamedTuple):
    level: int = 0


def test_rule_runs_once_a_scan_and_only_when_asked():
    asked = []

    class Few(Scan[Now, Now]):
        doubled = fact(lambda s: asked.append(s.now.level) or s.now.level + s.now.level)
        never = fact(lambda s: 1 // 0)

    s = Few(None, Now(3), Now(), 10)
    assert (s.doubled, s.doubled) == (6, 6)
    assert asked == [3]


def test_memory_reads_the_scan_before():
    class Few(Scan[Now, Now]):
        @memory(first=0, kept=True)
        def sum_ms(s) -> int:  # noqa: N805, `s` is the scan
            return s.was.sum_ms + s.dt_ms

    class Was(NamedTuple):
        sum_ms: int = 5

    assert Few(Was(), Now(), Now(), 10).sum_ms == 15
    assert (Few.sum_ms.first, Few.sum_ms.kept, Few.sum_ms.name) == (0, True, "sum_ms")


def test_fact_that_a_table_makes_cannot_be_asked_without_an_engine():
    s = Facts(None, Inputs(), Presets(), 10)
    with pytest.raises(AssertionError, match="trip has no rule of its own: use an engine"):
        _ = s.trip
    with pytest.raises(AssertionError, match="level_covered is a delay: use an engine"):
        _ = s.level_covered


def test_on_delay_is_said_in_two_ways():
    class Few(Scan[Now, Now]):
        @on_delay("travel_ms")
        def late(s) -> bool:  # noqa: N805
            return s.now.level > 1

        later = on_delay(lambda s: s.now.level > 2, by="s.limit_ms")

    assert (Few.late.delay, Few.later.delay) == ("travel_ms", "s.limit_ms")
    assert Few.late.first is None


@pytest.mark.parametrize(
    ("a", "p", "share"), [(0, 50, 0), (1, 50, 0), (2, 50, 1), (199, 150, 298), (-1, 50, 0), (9, -1, 0)]
)
def test_percent_rounds_down_and_takes_what_is_negative_for_nothing(a, p, share):
    assert percent(a, p) == share
