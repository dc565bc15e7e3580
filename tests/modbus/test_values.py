"""Numbers in registers: word order, scale, sense, and what no loop can say."""

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.modbus.places import HIGHEST_UA, Place
from controller.modbus.values import from_words, point_cells, point_value, to_words
from controller.sequence.receiver import RECEIVER

ORDERS = {
    "ABCD": (0x42F6, 0xE979),
    "CDAB": (0xE979, 0x42F6),
    "BADC": (0xF642, 0x79E9),
    "DCBA": (0x79E9, 0xF642),
}
"""123.456 is 42 F6 E9 79 in IEEE 754 binary32; the four orders are the trade's habit, no standard has them."""


@pytest.mark.parametrize("order", ORDERS)
def test_the_table_of_word_orders_holds_both_ways(order):
    assert to_words(123.456, "float32", order) == list(ORDERS[order])
    (expected,) = struct.unpack(">f", struct.pack(">f", 123.456))
    assert from_words(ORDERS[order], "float32", order) == expected
    wrong = [from_words(ORDERS[order], "float32", other) for other in ORDERS if other != order]
    assert all(abs(value - 123.456) > 100 for value in wrong), "the map says they read as nonsense"


@pytest.mark.parametrize(("number", "words"), [(-40.5, (0xC222, 0x0000)), (1.0, (0x3F80, 0x0000))])
def test_numbers_that_are_known_in_binary32(number, words):
    """IEEE 754: -40.5 = C2220000, 1.0 = 3F800000."""
    assert to_words(number, "float32", "ABCD") == list(words)
    assert from_words(words, "float32", "ABCD") == number


def test_the_order_of_one_register_is_that_of_its_two_bytes():
    assert to_words(0x1234, "uint16", "ABCD") == to_words(0x1234, "uint16", "CDAB") == [0x1234]
    assert to_words(0x1234, "uint16", "BADC") == to_words(0x1234, "uint16", "DCBA") == [0x3412]


@given(st.integers(-(2**31), 2**31 - 1), st.sampled_from(list(ORDERS)))
def test_a_whole_number_comes_back_in_every_order(number, order):
    assert from_words(to_words(number, "int32", order), "int32", order) == number


@given(
    st.integers(3_500, 21_100),
    st.sampled_from([("uint16", 1, 0), ("uint16", 10, 0), ("int16", 1.6, 4_000), ("uint16", 2 / 3, 0),
                     ("int32", 0.001, 0), ("float32", 1_000, 0), ("float32", 6.25, 4_000)]),
    st.sampled_from(list(ORDERS)),
)  # fmt: skip
def test_a_current_comes_back_within_half_a_count(current, form, order):
    kind, scale, offset = form
    place = Place("vacuum_ua", "input_register", 0, kind, scale=scale, offset=offset, word_order=order)
    assert (
        abs(point_value(place, point_cells(place, current)) - current)
        <= (0 if kind == "float32" else scale / 2) + 0.5
    )


@pytest.mark.parametrize(
    ("raw", "seen"), [(math.nan, 0), (math.inf, 0), (-math.inf, 0), (-5.0, 0), (1e9, HIGHEST_UA)]
)
def test_what_no_loop_can_say_reads_as_failed(raw, seen):
    """NAMUR NE 43: at or under 3.6 mA and at or over 21 mA the signal says that it failed."""
    place = Place("vacuum_ua", "input_register", 0, "float32", scale=1_000)
    words = struct.unpack(">2H", struct.pack(">f", raw))
    assert point_value(place, words) == seen
    assert seen <= 3_600 or seen >= 21_000


def test_no_current_is_beyond_what_the_logic_was_proved_for():
    assert RECEIVER.ranges["vacuum_ua"] == (0, HIGHEST_UA)


@pytest.mark.parametrize("invert", [False, True])
def test_a_contact_is_the_bit_of_its_register_alone(invert):
    place = Place("stop_healthy", "input_register", 0, "bool", bit=9, invert=invert)
    assert point_value(place, [0x0200]) == (not invert)
    assert point_value(place, [0xFDFF]) == invert
    assert point_cells(place, not invert) == [0x0200]
    assert point_cells(place, invert) == [0]
