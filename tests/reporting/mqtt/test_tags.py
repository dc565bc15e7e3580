"""Tags by change, no more often than the floor; what is due and not taken gives way and is counted."""

from hypothesis import given, settings
from hypothesis import strategies as st
from reporting.mqtt.brokered import reading

from controller.reporting.mqtt.tags import Tags

WHEN = ("2026-01-05T06:00:00.000+00:00", 0)


def values(due):
    return [seen.reading.value for seen in due]


def test_a_tag_is_told_when_it_changes_and_its_newest_value_when_the_floor_has_passed():
    tags = Tags(0.5)
    tags.put([reading(1.0)], WHEN, 10.0)
    assert values(tags.take(10.0)) == [1.0]
    tags.put([reading(1.0)], WHEN, 11.0)
    assert values(tags.take(11.0)) == []
    assert tags.next_s() == float("inf")
    tags.put([reading(2.0)], WHEN, 11.0)
    assert values(tags.take(11.0)) == [2.0]
    for step in range(4):
        tags.put([reading(3.0 + step)], WHEN, 11.1 + step / 10)
    assert values(tags.take(11.4)) == []
    assert tags.next_s() == 11.5
    assert values(tags.take(11.5)) == [6.0]
    assert tags.dropped == 0  # a value between two that are told is no loss


def test_noise_within_the_deadband_is_not_told_and_a_slow_drift_is():
    """0.5 % of 16 mA is 80 uA (common practice, no source); a raw of the helper is 1 uA for 0.001."""
    tags, told = Tags(0.5, 0.5), []
    for step, value in enumerate((5.0, 5.079, 4.921, 5.05, 5.08, 5.1, 5.159, 5.16)):
        tags.put([reading(value)], WHEN, 10.0 + step)
        assert (tags.next_s() <= 10.0 + step) == (value in (5.0, 5.08, 5.16))
        told += values(tags.take(10.0 + step))
    assert told == [5.0, 5.08, 5.16]


def test_no_deadband_hides_that_a_signal_fails_is_forced_or_a_contact_moves():
    tags = Tags(0.5, 20)
    good = reading(5.0)
    contact = good._replace(tag="LS-101", kind="contact", raw=0, value=None)
    for step, found in enumerate((
        good, good._replace(signal="failed", value=None), good._replace(forced=True), contact,
        contact._replace(raw=1),
    )):  # fmt: skip
        tags.put([found], WHEN, 10.0 + step)
        assert [seen.reading for seen in tags.take(10.0 + step)] == [found]


def test_a_value_that_came_and_went_within_the_floor_is_not_told():
    tags = Tags(0.5)
    tags.put([reading(1.0)], WHEN, 10.0)
    tags.take(10.0)
    tags.put([reading(2.0)], WHEN, 10.1)
    tags.put([reading(1.0)], WHEN, 10.2)
    assert values(tags.take(11.0)) == []


def test_without_a_broker_one_value_a_floor_is_dropped_and_one_is_kept():
    tags = Tags(0.5)
    for step in range(100):
        tags.put([reading(float(step)), reading(1.0, "PT-102")], WHEN, 10.0 + step * 0.5)
    assert tags.dropped == 99
    assert values(tags.take(60.0)) == [99.0, 1.0]


def test_somebody_new_gets_all_of_them_with_the_date_of_each():
    tags = Tags(0.5)
    tags.put([reading(1.0), reading(2.0, "PT-102")], ("then", 1), 10.0)
    tags.put([reading(1.0), reading(3.0, "PT-102")], ("later", 2), 20.0)
    tags.take(20.0)
    tags.again()
    assert [(seen.reading.tag, seen.when) for seen in tags.take(20.1)] == [
        ("PT-101", ("then", 1)),
        ("PT-102", ("later", 2)),
    ]


@settings(max_examples=100)
@given(
    st.lists(
        st.tuples(st.floats(0.0, 0.4), st.sampled_from("ab"), st.integers(0, 3), st.booleans()), max_size=60
    )
)
def test_no_tag_is_told_more_often_than_the_floor_and_in_the_end_each_as_it_reads(steps):
    tags, now_s, told, last_s, now = Tags(0.5), 100.0, {}, {}, {}
    for wait_s, tag, value, takes in steps:
        now_s += wait_s
        now[tag] = reading(float(value), tag)
        tags.put(list(now.values()), WHEN, now_s)
        for seen in tags.take(now_s) if takes else ():
            assert now_s - last_s.get(seen.reading.tag, 0.0) >= 0.5
            told[seen.reading.tag], last_s[seen.reading.tag] = seen.reading, now_s
    for seen in tags.take(now_s + 1.0):
        told[seen.reading.tag] = seen.reading
    assert told == now
