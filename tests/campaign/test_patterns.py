"""What may never be over time, on columns of paper; and patterns that cannot be read."""

from typing import Any

import numpy as np
import pytest

from controller.campaign.conditions import Condition, Reader
from controller.campaign.patterns import Pattern, pattern
from controller.sequence.logic import Logic
from controller.sequence.receiver import RECEIVER

READER = Reader(Logic(RECEIVER))


def broken(text: str, gap_ms: int = 0, **columns: str) -> str:
    """Where it is broken, a letter a scan; columns in letters too, by condition; a gap after the fourth scan."""
    read = pattern(text, READER.read)
    width = len(next(iter(columns.values())))
    times = 10 + 10 * np.arange(width) + gap_ms * (np.arange(width) > 3)
    table = {name: np.array([letter == "x" for letter in letters]) for name, letters in columns.items()}

    def of(condition: Condition) -> Any:
        return table[condition.text]

    return "".join("x" if wrong else "." for wrong in read.broken(times, 10, of))


def test_a_condition_alone_is_broken_at_once() -> None:
    assert broken("horn", horn="..xx.") == "..xx."


def test_for_so_long_is_broken_when_it_stood_so_long_without_a_gap() -> None:
    assert broken("horn for 20ms", horn=".xx.xxxx.") == "......xx."
    assert broken("horn for 20ms", gap_ms=500, horn="..xxxxx.") == "......x.", "power was off between"


def test_unless_looks_back_to_the_last_time_of_since() -> None:
    assert (
        broken("run unless horn since start_pb", start_pb="x..x..", horn=".x....", run="..x.xx") == "....xx"
    )
    assert broken("run unless horn since start_pb", start_pb="x...", horn="x...", run="..x.") == "..x."
    assert broken("run unless horn since start_pb", start_pb="....", horn="x...", run="..x.") == "...."


def test_unless_for_so_long_asks_for_it_whole() -> None:
    told = {"start_pb": "x.......", "run": ".....xxx"}
    assert broken("run unless horn for 20ms since start_pb", horn=".xx..xxx", **told) == ".....xx."
    assert broken("run unless horn for 20ms since start_pb", horn=".xxx....", **told) == "........"


@pytest.mark.parametrize(
    "text", ["", "horn unless run", "horn for ever", "horn for 2", "hron", "horn unless hron since run"]
)
def test_what_is_no_pattern_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        pattern(text, READER.read)


def test_conditions_of_a_pattern_are_all_told() -> None:
    read: Pattern = pattern("run unless horn since start_pb", READER.read)
    assert [c.text for c in read.conditions] == ["run", "horn", "start_pb"]
