"""Which commands are done: each once, in its time; nothing that a broker kept, repeated or was flooded with."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from controller.reporting.message_models import CommandAsked
from controller.reporting.messages import Answer
from controller.reporting.mqtt.connection import LARGEST_BYTES
from controller.reporting.mqtt.gate import Gate, Rate, Refused

START = datetime(2026, 1, 5, 6, 0, 0, tzinfo=UTC)


class Room:
    """A gate, and a clock that is moved by hand."""

    def __init__(self) -> None:
        self.s = 0.0
        self.gate = Gate(lambda: START + timedelta(seconds=self.s), lambda: self.s)
        self.s = 100.0

    def stamp(self, after_s: float = 0.0) -> str:
        date = START + timedelta(seconds=self.s + after_s)
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
    room.gate.answered(answer)
    assert room.judge(payload) is answer
    room.s += 5.1
    assert "came after its end" in refused(room.judge(payload))


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
    assert "issued before this program was ready" in refused(room.judge(room.command(issued_s=-2.0)))
    assert "issued before this program was ready" in refused(room.judge(room.command(issued_s=0.9)))


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
    assert isinstance(room.judge(room.command(id="the-stop-1", command="stop")), CommandAsked)
    room.s += 2.0
    assert isinstance(room.judge(room.command(id="later-0001")), CommandAsked)


def test_refused_stops_do_not_use_up_the_room_of_a_good_one(room):
    for number in range(500):
        room.judge(room.command(id=f"stale-{number:04}", command="stop", issued_s=-9.0, expires_s=-1.0))
    assert isinstance(room.judge(room.command(id="the-stop-1", command="stop")), CommandAsked)


def test_ids_are_forgotten_when_their_time_is_over(room):
    for number in range(200):
        room.judge(room.command(id=f"number-{number:04}"))
        room.s += 1.0
    assert len(room.gate._seen) <= 6


def test_a_rate_gives_its_burst_and_then_so_many_a_second():
    rate = Rate(3, 2.0)
    assert [rate.takes(10.0) for _ in range(4)] == [True, True, True, False]
    assert [rate.takes(11.0) for _ in range(3)] == [True, True, False]
