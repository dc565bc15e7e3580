"""The channel alone: whatever is full, ended or started again, what was taken in is there once and in order."""

from audit.test_audit import deed
from hypothesis import given
from hypothesis import strategies as st
from test_journal import cycle, event

from controller.reporter.lines import read, read_record
from controller.reporter.unacknowledged import Unacknowledged

ROOM = 12


def told(number):
    return event()._replace(what=str(number))


class Writer:
    """Takes lines as the reporter does: on the disk with a commit; a kill loses all that was not."""

    def __init__(self):
        self.disk, self.waits = [], []

    def hear(self, lines):
        for raw in lines.splitlines():
            came = read_record(*read(raw))
            if came.number > len(self.disk) + len(self.waits):
                assert came.number == len(self.disk) + len(self.waits) + 1, "a hole"
                self.waits.append(int(came.record.what))

    def commit(self):
        self.disk += self.waits
        self.waits = []
        return len(self.disk)


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("put"), st.integers(1, 8)),
        st.tuples(st.just("send"), st.integers(1, 2_000)),
        st.tuples(st.sampled_from(["commit", "acknowledge", "killed after the commit", "killed", "restart"])),
    ),
    max_size=60,
)


def step(kind, values, waiting, writer, put, sent):
    """What a step does; what it sends may be lost on the way by the next."""
    if kind == "put":
        for _ in range(values[0]):
            number = put["tried"] = put["tried"] + 1
            if waiting.put(told(number)):
                put["in"].append(number)
    elif kind == "send":
        sent.append(waiting.next_lines(values[0]))
    elif kind == "commit":
        writer.hear(b"".join(sent))
        sent.clear()
        writer.commit()
    elif kind == "acknowledge":
        waiting.taken(len(writer.disk))
    else:
        if kind == "killed after the commit":
            writer.hear(b"".join(sent))
            writer.commit()
        sent.clear()
        writer.waits.clear()
        if kind != "killed":
            waiting.taken(len(writer.disk))
        waiting.again()


@given(STEPS)
def test_no_order_of_full_killed_and_restarted_loses_doubles_or_swaps_a_record(steps):
    waiting, writer, put, sent = Unacknowledged(ROOM), Writer(), {"tried": 0, "in": []}, []
    for kind, *values in steps:
        step(kind, values, waiting, writer, put, sent)
        assert len(waiting) <= ROOM
        assert writer.disk == put["in"][: len(writer.disk)]
        assert waiting.acknowledged <= len(writer.disk)
        assert waiting.acknowledged + len(waiting) == len(put["in"])
        assert waiting.refused == put["tried"] - len(put["in"])
    step("restart", (), waiting, writer, put, sent)
    while lines := waiting.next_lines(500):
        writer.hear(lines)
    waiting.taken(writer.commit())
    assert writer.disk == put["in"]
    assert len(waiting) == 0


def test_what_finds_no_room_is_counted_and_there_is_room_again_when_half_is_gone():
    waiting = Unacknowledged(4)
    assert [waiting.put(told(number)._replace(priority=1)) for number in range(6)] == [True] * 4 + [False] * 2
    assert (waiting.refused, waiting.has_room) == (2, False)
    waiting.taken(1)
    assert not waiting.has_room
    waiting.taken(2)
    assert waiting.has_room
    assert waiting.put(told(7))
    assert waiting.newest == 5


def test_the_last_quarter_is_for_what_people_did_and_what_is_to_be_looked_at():
    waiting, matters = Unacknowledged(8), (deed(), cycle(1), event(priority=1), event(priority=3))
    assert [waiting.put(told(number)) for number in range(7)] == [True] * 6 + [False]
    for record in matters[:2]:
        assert waiting.put(record)
    assert not any(waiting.put(record) for record in matters)
    waiting.taken(2)
    assert not waiting.put(told(8))
    assert [waiting.put(record) for record in matters[2:]] == [True] * 2


def test_a_piece_of_the_queue_is_as_long_as_asked_for_but_one_line_at_least():
    waiting = Unacknowledged()
    for number in range(10):
        waiting.put(told(number))
    length = len(waiting.next_lines(1))
    assert len(waiting.next_lines(3 * length)) == 3 * length
    assert waiting.next_lines(10**6).count(b"\n") == 6
    assert waiting.next_lines(10**6) == b""
