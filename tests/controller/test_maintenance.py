"""Maintenance counters: counted by hand on short traces, kept, reset with a name."""

import json

import pytest

from controller.maintenance import COUNTERS, Counters, Wiring, WrongReset
from controller.records import CycleRecord

SCAN_MS = 10
HOUR_SCANS = 360_000


def counters(**wiring):
    return Counters(Wiring(**wiring))


def take(found, **points):
    scans = len(next(iter(points.values())))
    return found.take({**dict.fromkeys(Wiring().points, (0,) * scans), **points}, SCAN_MS)


@pytest.mark.parametrize(
    ("point", "name"),
    [
        ("flap_open_cmd", "flap_strokes"),
        ("pulse_1_cmd", "shots_1"),
        ("pulse_2_cmd", "shots_2"),
        ("pulse_3_cmd", "shots_3"),
        ("source_cmd", "source_starts"),
    ],
)
@pytest.mark.parametrize(
    ("blocks", "times"),
    [
        ([(0, 0, 0, 0)], 0),
        ([(1, 1, 0, 0)], 1),  # at power-up every output is off
        ([(0, 1, 0, 1), (1, 1, 1, 1), (0, 0, 0, 1)], 3),
        ([(0, 0, 0, 1), (0, 0, 0, 0), (1, 1, 1, 1)], 2),
        ([(0,), (1,), (1,), (0,), (1,)], 2),  # one scan at a time, as on the rig
    ],
)
def test_each_time_an_output_comes_on_counts_once_in_one_block_or_over_many(point, name, blocks, times):
    found = counters()
    for block in blocks:
        take(found, **{point: block})
    assert found.counts[name] == times
    others = {k: v for k, v in found.counts.items() if not k.endswith("_ms") and k != name}
    assert set(others.values()) == {0}


def test_a_flap_without_command_strokes_when_it_leaves_its_closed_switch():
    found = counters(flap_has_command=False)
    take(found, flap_closed_fb=(1, 1, 0, 0))
    take(found, flap_closed_fb=(0, 1, 1, 0))
    assert found.counts["flap_strokes"] == 2


def test_hours_are_the_time_that_the_output_is_on():
    found = counters()
    take(found, source_cmd=[1] * HOUR_SCANS + [0] * HOUR_SCANS)
    assert found.counts["source_on_ms"] == found.counts["filter_on_ms"] == 3_600_000


def test_a_motor_on_bypass_runs_and_does_not_draw_through_the_filter():
    found = counters(bypass_fitted=True)
    take(found, source_cmd=(1, 1, 1, 1), bypass_close_cmd=(0, 1, 1, 0))
    assert (found.counts["source_on_ms"], found.counts["filter_on_ms"]) == (40, 20)


def test_product_air_retries_and_resumes_come_from_the_cycle_records():
    found = counters()
    blank = CycleRecord._make([None] * len(CycleRecord._fields))
    for _ in range(2):
        found.take_cycle(blank._replace(delivered_kg=8.5, air_nm3=0.25, flap_retries=1, resumes=2))
    amounts = {name: found.counts[name] for name in ("kg", "air_nm3", "flap_retries", "resumes")}
    assert amounts == {"kg": 17, "air_nm3": 0.5, "flap_retries": 2, "resumes": 4}


def test_a_counter_tells_once_that_it_reached_its_limit_and_counts_on():
    found = Counters(Wiring(), {"flap_strokes": 2})
    notes = [take(found, flap_open_cmd=(0, 1)) for _ in range(3)]
    assert [[note.id for note in block] for block in notes] == [[], ["MAINTENANCE_DUE"], []]
    assert notes[1][0].what == "flap strokes 2"
    assert found.overdue() == ["flap_strokes"]
    assert found.counts["flap_strokes"] == 3


def test_a_reset_says_who_and_why_and_the_limit_counts_anew():
    found = Counters(Wiring(), {"flap_strokes": 2})
    take(found, flap_open_cmd=(1, 0, 1, 0))
    note = found.reset("flap_strokes", "anna", "new seal")
    assert note == ("COUNTER_RESET", "flap strokes 2 -> 0", "by anna; new seal")
    assert found.overdue() == []
    assert [n.id for n in take(found, flap_open_cmd=(1, 0, 1, 0))] == ["MAINTENANCE_DUE"]


@pytest.mark.parametrize(
    ("name", "who", "why", "said"),
    [
        ("flap_strokes", "anna", "", "say who and why"),
        ("flap_strokes", " ", "new seal", "say who and why"),
        ("flap_stroke", "anna", "new seal", "did you mean 'flap_strokes'"),
    ],
)
def test_a_reset_without_name_reason_or_counter_is_refused_and_resets_nothing(name, who, why, said):
    found = counters()
    take(found, flap_open_cmd=(0, 1))
    with pytest.raises(WrongReset, match=said):
        found.reset(name, who, why)
    assert found.counts["flap_strokes"] == 1


def test_counts_survive_a_power_cycle_through_json():
    found = counters()
    take(found, flap_open_cmd=(0, 1, 0, 1), source_cmd=(1, 1, 1, 1))
    again = counters()
    again.restore(json.loads(json.dumps(found.as_document())))
    assert again.counts == found.counts
    take(again, flap_open_cmd=(0, 1, 0, 0))
    assert again.counts["flap_strokes"] == 3


@pytest.mark.parametrize(
    "wrong", [{"flaps": 3}, {"kg": -1}, {"kg": "3"}, {"kg": float("nan")}, {"kg": float("inf")}]
)
def test_what_is_no_count_is_not_restored(wrong):
    found = counters()
    with pytest.raises(ValueError, match=next(iter(wrong))):
        found.restore({"flap_strokes": 7} | wrong)
    assert found.counts["flap_strokes"] == 0


def test_every_counter_has_a_limit_and_a_work():
    assert all(counter.limit > 0 and counter.work for counter in COUNTERS)
    assert len({counter.name for counter in COUNTERS}) == len(COUNTERS)
