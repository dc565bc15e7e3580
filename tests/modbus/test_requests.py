"""A direction in as few requests as the limits allow, and none of them beside the map."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from modbus.answering import STATIONS, image, the_map

from controller.modbus.places import Place
from controller.modbus.requests import READ_MAX, WRITE_MAX, grouped

SHAPE = st.tuples(
    st.sampled_from(["coil", "holding_register"]), st.integers(0, 400), st.sampled_from(["uint16", "int32"])
)  # fmt: skip


def places_without_overlap(shapes):
    taken, places = set(), []
    for table, address, kind in shapes:
        place = Place(f"p{len(places)}", table, address, "bool" if table == "coil" else kind)
        cells = {(table, address + at) for at in range(place.size)}
        if not cells & taken:
            taken |= cells
            places.append(place)
    return places, taken


@given(st.lists(SHAPE, min_size=1, max_size=300), st.sampled_from([READ_MAX, WRITE_MAX]))
def test_requests_cover_the_places_once_and_nothing_else_within_the_limits(shapes, most):
    places, cells = places_without_overlap(shapes)
    requests = grouped(places, most)
    covered = [(one.table, one.start + at) for one in requests for at in range(one.count)]
    assert sorted(covered) == sorted(cells)
    assert all(one.count <= most[one.table] for one in requests)
    assert sorted(place.name for one in requests for place in one.places) == sorted(p.name for p in places)
    for one in requests:
        for place in one.places:
            assert one.start <= place.address <= place.address + place.size <= one.start + one.count


def test_a_run_is_cut_at_the_limit_but_not_through_a_number():
    """6.3: 125 registers; a number of two that would be cut goes into the next request whole."""
    words = [Place(f"w{at}", "holding_register", at) for at in range(124)]
    last = Place("last", "holding_register", 124, "uint32")
    assert [one.count for one in grouped([*words, last], READ_MAX)] == [124, 2]
    assert [
        one.count for one in grouped([Place(f"w{at}", "holding_register", at) for at in range(126)], READ_MAX)
    ] == [125, 1]
    assert [
        one.count for one in grouped([Place(f"c{at}", "coil", at, "bool") for at in range(2_001)], READ_MAX)
    ] == [2_000, 1]
    assert [
        one.count for one in grouped([Place(f"c{at}", "coil", at, "bool") for at in range(1_969)], WRITE_MAX)
    ] == [1_968, 1]


def test_the_life_counter_goes_last():
    places = [Place("life", "coil", 0, "bool"), Place("a", "holding_register", 5)]
    assert [one.places[0].name for one in grouped(places, WRITE_MAX, last="life")] == ["a", "life"]


@pytest.mark.parametrize(
    ("station", "requests"), [("buckwheat_mill", 3), ("sugar_kitchen", 3), ("milk_powder_hall", 2)]
)
def test_a_station_needs_as_few_requests_as_its_map_says(station, requests):
    found = the_map(station)
    asks = "controller" if found.is_client("controller") else "device"
    answers = "device" if asks == "controller" else "controller"
    reads = grouped(found.given_by(answers), READ_MAX)
    assert len(reads) + len(grouped(found.given_by(asks), WRITE_MAX)) == requests


@pytest.mark.parametrize("side", ["controller", "device"])
@pytest.mark.parametrize("station", STATIONS)
def test_the_image_comes_back_from_its_requests(station, side):
    found = the_map(station)
    values = {**image(found, side), "life": 7}
    got = {}
    for request in grouped(found.given_by(side), READ_MAX):
        got.update(request.decoded(request.encoded(values)))
    expected = values if side == "controller" or found.device_life else image(found, side)
    assert got.keys() == expected.keys()
    assert {name: got[name] for name in got if abs(got[name] - expected[name]) > 5} == {}
