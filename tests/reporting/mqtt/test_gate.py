"""Which commands are done: each once, in its time; nothing that a broker kept, repeated or was flooded with."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.reporting.message_models import CommandAsked
from controller.reporting.messages import Answer
from controller.reporting.mqtt.connection import LARGEST_BYTES
from controller.reporting.mqtt.gate import KEPT_S, MOST_IDS, Gate, Rate, Refused

START = datetime(2026, 1, 5, 6, 0, 0, tzinfo=UTC)


class Room:
    """A gate, and a clock that is moved by hand; `set_s` later than at the start somebody has set it."""

    def __init__(self) -> None:
        self.s = self.set_s = 0.0
        self.gate = Gate(self.date, lambda: self.s)
        self.s = 100.0

    def date(self) -> datetime:
        return START + timedelta(seconds=self.s + self.set_s)

    def stamp(self, after_s: float = 0.0) -> str:
        date = self.date() + timedelta(seconds=after_s)
        return date.isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"

    def command(self, id="cmd-00001", command="start", issued_s=0.0, expires_s=5.0, **more) -> bytes:
        asked = {
            "schema": "receiver.command/1", "id": id, "command": command, "operator": "A. Miller",
            "issued_at": self.stamp(issued_s), "expires_at": self.stamp(expires_s),
        }  # fmt: skip
        return json.dumps(asked | more).encode()

    def judge(self, payload: bytes, *, retained: bool = False):
        return self.gate.judge(payload, retained=retained)


@pytest.fixture
def room():
    return Room()


def refused(verdict) -> str:
    assert isinstance(verdict, Refused)
    assert not verdict.answer.accepted
    return verdict.answer.reasons[0]


def test_a_good_command_is_done_once_and_the_same_again_gets_the_same_answer(room):
    payload = room.command()
    asked = room.judge(payload)
    assert isinstance(asked, CommandAsked)
    assert room.judge(payload) is None  # while it is being done
    answer = Answer(asked.id, "start", "A. Miller", True)
    room.gate.answered(asked, answer)
    assert room.judge(payload) is answer
    room.s += 20.0
    assert room.judge(payload) is answer


@pytest.mark.parametrize("back_s", [7.0, 3_600.0, 80_000.0])
def test_a_clock_that_is_set_back_lets_nothing_act_a_second_time(room, back_s):
    """The id is forgotten by no date: the command is in its time once more."""
    room.s = 90_000.0
    payload = room.command()
    assert isinstance(room.judge(payload), CommandAsked)
    room.s += back_s
    assert isinstance(room.judge(room.command(id="other-001", command="acknowledge")), CommandAsked)
    room.set_s = -back_s
    assert room.gate.left_s(CommandAsked.model_validate_json(payload)) == 5.0
    assert room.judge(payload) is None


@pytest.mark.parametrize("command", ["stop", "halt"])
def test_a_stop_is_let_through_after_the_clock_was_set_back_and_a_start_is_told_why_not(room, command):
    room.set_s = -3_600.0
    assert isinstance(room.judge(room.command(command=command)), CommandAsked)
    assert "06:00:03 UTC on" in refused(room.judge(room.command(id="cmd-00002")))


@pytest.mark.parametrize("command", ["stop", "halt"])
def test_a_stop_under_an_id_that_was_used_is_let_through_and_spoils_no_answer(room, command):
    start = room.command()
    asked = room.judge(start)
    answer = Answer(asked.id, "start", "A. Miller", True)
    room.gate.answered(asked, answer)
    stop = room.judge(room.command(command=command, operator="B. Other"))
    assert isinstance(stop, CommandAsked)
    room.gate.answered(stop, Answer(stop.id, command, "B. Other", True))
    assert room.judge(start) is answer


@pytest.mark.parametrize("change", [{"command": "reset"}, {"operator": "B. Other"}, {"expires_s": 6.0}])
def test_anything_else_under_an_id_that_was_used_is_refused_and_not_called_accepted(room, change):
    first = room.judge(room.command(command="acknowledge"))
    room.gate.answered(first, Answer(first.id, "acknowledge", "A. Miller", True))
    assert "another command came under it" in refused(room.judge(room.command(**change)))


NO_DATES = [
    "2026-13-45T99:99:99.000Z", "2026-02-30T06:01:40.000Z", "0000-01-01T00:00:00.000Z", "2026-01-05T06:01:60.000Z",
    "\u0662026-01-05T06:01:40.000Z",
]  # fmt: skip


@pytest.mark.parametrize("key", ["issued_at", "expires_at"])
@pytest.mark.parametrize("stamp", NO_DATES)
def test_what_has_the_form_of_a_date_and_is_none_is_refused_with_the_reason(room, key, stamp):
    assert refused(room.judge(room.command(**{key: stamp}))).startswith(f"{key}: ")


ALMOST = st.from_regex(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", fullmatch=True)
ALMOST_IDS = st.sampled_from(["cmd-00001", "cmd-00002", ""])


@given(
    st.lists(st.tuples(ALMOST_IDS, st.text(max_size=8), ALMOST, ALMOST, st.booleans()), max_size=5),
    st.binary(),
)
@settings(max_examples=300, deadline=None)
def test_whatever_comes_is_judged_and_nothing_raises(came, rubbish):
    room = Room()
    assert room.judge(rubbish) is None
    for id, operator, issued, expires, retained in came:
        payload = room.command(id=id, operator=operator, issued_at=issued, expires_at=expires)
        assert not isinstance(room.judge(payload, retained=retained), CommandAsked)


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"issued_s": -6.0, "expires_s": -0.1}, "came after its end"),
        ({"issued_s": 3.0, "expires_s": 5.0}, "was issued in the future"),
        ({"issued_s": 0.0, "expires_s": 10.1}, "by 10 s at most"),
        ({"issued_s": 0.0, "expires_s": -1.0}, "expires_at must be after issued_at"),
        ({"command": "jog"}, "command: is none of start, stop"),
        ({"recipe": 3}, "recipe: is not known here"),
    ],
)
def test_what_is_out_of_its_time_or_not_known_is_refused_with_the_reason(room, given, why):
    assert why in refused(room.judge(room.command(**given)))


def test_a_sender_whose_clock_is_a_little_fast_is_served(room):
    assert isinstance(room.judge(room.command(issued_s=1.9)), CommandAsked)


def test_a_retained_command_is_never_done_nor_its_id_used_up(room):
    payload = room.command()
    assert "was retained" in refused(room.judge(payload, retained=True))
    assert isinstance(room.judge(payload), CommandAsked)
    assert "was retained" in refused(room.judge(payload, retained=True))


def test_what_was_issued_before_this_start_is_refused_whoever_did_it_then():
    room = Room()
    room.s = 1.0  # a start a second ago; the command was done by the one before, two seconds ago
    for issued_s in (-2.0, 0.9):
        why = refused(room.judge(room.command(issued_s=issued_s)))
        assert "may have been done already: look at the state" in why
        assert "ask again" not in why  # that would be a second start
        assert why.endswith("taken are those issued from 06:00:03 UTC on")
    room.s = 3.0
    assert isinstance(room.judge(room.command()), CommandAsked)


@pytest.mark.parametrize(
    "payload", [b"", b"start", b"[]", b"\xff\xfe", b"{}", b'{"id": 7}', b"x" * (LARGEST_BYTES + 1)]
)
def test_what_names_no_id_is_dropped_without_an_answer_and_counted(room, payload):
    assert room.judge(payload) is None
    assert room.gate.unheard == 1


def test_a_megabyte_is_dropped_unread_even_if_it_is_a_command(room):
    payload = room.command()[:-1] + b', "x": "' + b"x" * 1_000_000 + b'"}'
    assert room.judge(payload) is None
    assert isinstance(room.judge(room.command()), CommandAsked)


def test_a_flood_is_done_and_answered_at_a_second_each_and_a_stop_passes_it(room):
    done = answered = 0
    for number in range(1_000):
        verdict = room.judge(room.command(id=f"flood-{number:04}"))
        done += isinstance(verdict, CommandAsked)
        answered += isinstance(verdict, Refused)
        room.s += 0.001
    assert done == 5  # at once, and not yet one more: the flood took a second
    assert answered == 5
    assert room.gate.unheard == 990
    assert isinstance(room.judge(room.command(id="the-stop-1", command="stop")), CommandAsked)
    room.s += 2.0
    assert isinstance(room.judge(room.command(id="later-0001")), CommandAsked)


def test_refused_stops_do_not_use_up_the_room_of_a_good_one(room):
    for number in range(500):
        room.judge(room.command(id=f"stale-{number:04}", command="stop", issued_s=-9.0, expires_s=-1.0))
    assert isinstance(room.judge(room.command(id="the-stop-1", command="stop")), CommandAsked)


def test_ids_are_forgotten_after_a_day_and_there_are_never_too_many(room):
    for number in range(MOST_IDS + 50):
        room.judge(room.command(id=f"number-{number:05}"))
        room.s += 1.0
    assert len(room.gate._seen) == MOST_IDS
    assert f"number-{MOST_IDS + 49:05}" in room.gate._seen
    room.s += KEPT_S
    room.judge(room.command())
    assert list(room.gate._seen) == ["cmd-00001"]


def test_an_answer_that_is_asked_for_again_and_again_is_given_a_second_each(room):
    asked = room.judge(room.command())
    room.gate.answered(asked, Answer(asked.id, "start", "A. Miller", True))
    payload = room.command()
    assert sum(room.judge(payload) is not None for _ in range(1_000)) == 5
    assert room.gate.unheard == 995


def test_a_rate_gives_its_burst_and_then_so_many_a_second():
    rate = Rate(3, 2.0)
    assert [rate.takes(10.0) for _ in range(4)] == [True, True, True, False]
    assert [rate.takes(11.0) for _ in range(3)] == [True, True, False]
