"""
The nine states of IEC 62682 and every move between them, as a table written down here a second time.

Source: IEC 62682 / ISA-18.2, state transition diagram, from memory; that Active, Suppressed, OutOfService,
Shelving and Latched are separate states, and their definitions: OPC UA part 9 (alarms and conditions).
"""

from itertools import product

import pytest

from controller.alarms.states import Edge, State, after

LETTERS = dict(zip("ABCDEFGHI", State, strict=True))
NAMES = {state: letter for letter, state in LETTERS.items()}

# edge, latches, condition stands (None: whichever): where each of the nine states goes; a dot leaves it alone
#                                  ABCDEFGHI
TABLE = {
    (Edge.RAISED, None, None):    "B..BBB...",
    (Edge.CLEARED, False, None):  ".DA......",
    (Edge.CLEARED, True, None):   ".EF......",
    (Edge.AGAIN, None, None):     "..B......",
    (Edge.ACKNOWLEDGE, None, None): ".C.AF....",
    (Edge.RESET, None, None):     ".....A...",
    (Edge.SHELVE, None, None):    "GGGG...G.",
    (Edge.UNSHELVE, None, True):  "......B..",
    (Edge.UNSHELVE, None, False): "......A..",
    (Edge.SUPPRESS, None, None):  "HHHH.....",
    (Edge.RELEASE, None, True):   ".......B.",
    (Edge.RELEASE, None, False):  ".......A.",
    (Edge.TAKE_OUT, None, None):  "IIII..II.",
    (Edge.PUT_BACK, None, True):  "........B",
    (Edge.PUT_BACK, None, False): "........A",
}  # fmt: skip
CASES = [
    (edge, latches, stands, letter, then if then != "." else letter)
    for (edge, ask_latches, ask_stands), row in TABLE.items()
    for latches, stands in product((False, True), repeat=2)
    if ask_latches in (None, latches) and ask_stands in (None, stands)
    for letter, then in zip("ABCDEFGHI", row, strict=True)
]


@pytest.mark.parametrize(("edge", "latches", "stands", "before", "then"), CASES)
def test_each_edge_goes_where_the_standard_says_and_else_leaves_the_state_alone(
    edge, latches, stands, before, then
):
    assert NAMES[after(LETTERS[before], edge, latches=latches, stands=stands, quiet=False)] == then


def test_the_table_asks_every_edge_of_every_state_with_every_condition():
    assert len(CASES) == len(Edge) * 9 * 4


def test_acknowledging_never_resets_and_resetting_never_acknowledges():
    """The two mistakes that are usual: a latched alarm gone with the acknowledge, or with the reset alone."""
    latched = LETTERS["E"]
    kept = {"latches": True, "stands": False, "quiet": False}
    assert after(latched, Edge.ACKNOWLEDGE, **kept) == LETTERS["F"]
    assert after(latched, Edge.RESET, **kept) == latched


@pytest.mark.parametrize("latches", [False, True])
def test_what_is_latched_is_never_covered_and_what_is_covered_never_calls(latches):
    for letter, edge, stands in product("EF", (Edge.SHELVE, Edge.SUPPRESS, Edge.TAKE_OUT), (False, True)):
        assert after(LETTERS[letter], edge, latches=latches, stands=stands, quiet=False) == LETTERS[letter]
    for letter, edge in product("GHI", (Edge.RAISED, Edge.CLEARED, Edge.AGAIN, Edge.ACKNOWLEDGE, Edge.RESET)):
        assert after(LETTERS[letter], edge, latches=latches, stands=True, quiet=False) == LETTERS[letter]


def test_what_comes_off_the_shelf_while_a_rule_suppresses_it_is_suppressed():
    for letter, edge in (("G", Edge.UNSHELVE), ("I", Edge.PUT_BACK)):
        for stands in (False, True):
            assert NAMES[after(LETTERS[letter], edge, latches=False, stands=stands, quiet=True)] == "H"
